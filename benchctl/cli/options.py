"""Options that several commands share."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from typing import Any

import click

bench_option = click.option(
    "--bench", "-b", required=True, metavar="BENCH", help="Bench file: a path or a shipped name."
)
amplifier_option = click.option(
    "--amplifier", "-a", required=True, metavar="AMPLIFIER", help="Amplifier file: a path or a shipped name."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Machine-readable output.")
unattended_option = click.option(
    "--unattended", is_flag=True, help="Nobody is present: refuse every step that needs hands."
)


def reason(_context: click.Context, _option: click.Parameter, written: str | None) -> str:
    """The reason why a person goes on. It is read in the run folder, so it must not be empty."""
    if written is not None and not any(map(str.isalnum, written)):
        raise click.BadParameter("no reason is given; write why the run may go on, such as 'the resistors are in oil'")
    return (written or "").strip()


accept_option = click.option(
    "--accept",
    "accepted",
    callback=reason,
    metavar="REASON",
    help="Go on in spite of preflight's warnings; the reason is kept with the run. Hazards are refused all the same.",
)

accept_changes_option = click.option(
    "--accept",
    "accepted",
    callback=reason,
    metavar="REASON",
    help="Go on although inputs were changed after the run began; the reason and the change are kept with the run.",
)


def _settings(_context: click.Context, _option: click.Parameter, written: tuple[str, ...]) -> dict[str, str]:
    pairs = [setting.partition("=") for setting in written]
    for name, equals, value in pairs:
        if not (name and equals and value):
            raise click.BadParameter(f"'{name}{equals}{value}' sets nothing; write for example supply=13.8V")
    return {name.strip(): value.strip() for name, _, value in pairs}


set_option = click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="NAME=VALUE",
    callback=_settings,
    help="Set a parameter that the sequence declares, such as supply=13.8V.",
)


def of_a_run(command: Callable[..., int]) -> Callable[..., int]:
    """The three documents of a run and the parameters set for it, as `documents`."""

    @functools.wraps(command)
    def with_documents(sequence: str, bench: str, amplifier: str, settings: Mapping[str, str], **others: Any) -> int:
        from benchctl.launch.run import Documents  # noqa: PLC0415 - heavy, and other commands share these options

        return command(documents=Documents(sequence, bench, amplifier, settings), **others)

    argument = click.argument("sequence", metavar="SEQUENCE")
    return argument(bench_option(amplifier_option(set_option(with_documents))))
