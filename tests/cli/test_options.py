"""Options that several commands share: what they take, and what they refuse."""

from __future__ import annotations

from typing import Any

import click
import pytest
from click.testing import CliRunner

from benchctl.cli.options import Watching, watched


def told(*arguments: str) -> Any:
    """What a command is given for these arguments, or click's complaint."""
    given: list[Watching] = []

    @click.command()
    @watched
    def command(watching: Watching) -> int:
        given.append(watching)
        return 0

    done = CliRunner().invoke(command, list(arguments), standalone_mode=False, env={"BENCHCTL_AT_END": ""})
    return given[0] if given else str(done.exception)


@pytest.mark.parametrize(
    ("written", "place"),
    [
        ("192.0.2.7", ("192.0.2.7", 0)),
        ("192.0.2.7:8137", ("192.0.2.7", 8137)),
        ("::1", ("::1", 0)),
        ("[::1]:8137", ("::1", 8137)),
        ("bench-2.example:80", ("bench-2.example", 80)),
    ],
)
def test_an_address_for_the_page_asks_for_the_page_too(written: str, place: tuple[str, int]) -> None:
    watching = told("--watch-address", written)
    assert (watching.page, watching.address, watching.port) == (True, *place)


def test_without_a_word_about_it_nobody_else_is_told_and_the_page_is_of_this_computer_alone() -> None:
    assert told() == Watching(page=False, address="127.0.0.1", port=0, at_end=())
    assert told("--watch") == Watching(page=True, address="127.0.0.1", port=0, at_end=())


@pytest.mark.parametrize("port", ["x", "0", "65536", "-1"])
def test_a_port_that_is_none_is_refused_with_an_example(port: str) -> None:
    assert "192.0.2.7:8080" in told("--watch-address", f"127.0.0.1:{port}")


def test_a_program_is_split_into_its_arguments_and_a_quotation_mark_that_is_left_open_is_told() -> None:
    assert told("--at-end", "notify 'a b' $HOME").at_end == ("notify", "a b", "$HOME"), "no shell sees it"
    assert "cannot be split" in told("--at-end", "notify 'a")
