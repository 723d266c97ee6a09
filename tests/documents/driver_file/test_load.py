"""Driver files of loads: what could not be told, or whose answer nobody could take, is refused at its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl import library
from benchctl.documents.driver_file.load import ElectronicLoadDriver
from benchctl.documents.reader import load_driver
from tests.documents.conftest import ProblemsOf


def text_of(name: str, *changes: tuple[str, str]) -> str:
    text = library.find("drivers", f"load/{name}").read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return text


@pytest.mark.parametrize(
    ("name", "old", "new", "message"),
    [
        ("closed_list", "as: closed", "as: list", "unknown form of answer 'list'"),
        ("closed_list", ", as: closed", "", "the question does not say which relays are meant; put '{relays}'"),
        ("closed_list", '"ROUT:CLOS (@{relays})"', '"ROUT:CLOS (@101)"', "the value '{relays}' or '{relay}'"),
        ("relay_letters", "field: relay", "field: reley", "'reley' is no field; give its number from 1, or channel"),
        ("relay_text", "{relay}", "{relay:.2f}", "'{relay}' takes no format"),
        ("relay_text", "commands:\n", "commands:\n  prepare: relay on {relay}\n", "unknown value 'relay'"),
        ("bit_mask", "{closed_mask:02x}", "{closed_mask:.2f}", "'{closed_mask}' takes no format, or one such as"),
        ("three_ranges", "ranges: {CRL: 4 ohm, CRM: 40 ohm, CRH: 4 kohm}\n", "", "'{range}' is used, and there are no"),
        ("three_ranges", '"MODE {range}", ', "", "no command uses '{range}'"),
        ("three_ranges", "CRL: 4 ohm", "'CRL;LOAD ON': 4 ohm", "a word of letters and digits"),
        (
            "three_ranges",
            'prepare: "LOAD OFF"',
            'prepare: "LOAD ON"',
            "switches something on, and is sent before a run",
        ),
    ],
)
def test_a_driver_that_could_not_work_is_refused(
    name: str, old: str, new: str, message: str, problems_of: ProblemsOf
) -> None:
    told = problems_of(text_of(name, (old, new)), "driver")
    assert any(message in problem for problem in told), told


@pytest.mark.parametrize(("ohm", "word"), [(0.5, "CRL"), (4.0, "CRL"), (4.001, "CRM"), (40.0, "CRM"), (1000.0, "CRH")])
def test_the_lowest_range_that_reaches_is_chosen(ohm: float, word: str) -> None:
    driver = load_driver("load/three_ranges")
    assert isinstance(driver, ElectronicLoadDriver)
    assert driver.range_for(ohm) == word
    assert driver.range_for(5000.0) == ""


def test_a_board_that_says_nothing_has_no_question(tmp_path: Path) -> None:
    file = tmp_path / "mine.yaml"
    file.write_text(text_of("closed_list", ('{ask: "ROUT:CLOS:STAT?", as: closed}', "none")))
    driver = load_driver(file)
    assert not getattr(driver.commands, "get_closed")  # noqa: B009 - the commands of any driver
