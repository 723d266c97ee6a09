"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

_F = TypeVar("_F", bound=Callable[..., Any])

bench_option = click.option(
    "--bench", "-b", required=True, metavar="BENCH", help="Bench file: a path or a shipped name."
)
amplifier_option = click.option(
    "--amplifier", "-a", required=True, metavar="AMPLIFIER", help="Amplifier file: a path or a shipped name."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Machine-readable output.")
sequence_argument = click.argument("sequence", metavar="SEQUENCE")
unattended_option = click.option(
    "--unattended", is_flag=True, help="Nobody is there: refuse every step that needs hands."
)


def of_a_run(command: _F) -> _F:
    """The three documents of a run."""
    return sequence_argument(bench_option(amplifier_option(command)))
