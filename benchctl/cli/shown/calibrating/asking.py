"""Questions to the person who calibrates: each answer is checked at once, and asked again where it is wrong."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click
from pydantic import TypeAdapter

from benchctl.cli.questions import Written
from benchctl.documents.model.fields import PositiveAmperes, Tolerance
from benchctl.measure.uncertainty import Accuracy

SKIP = "skip"


def tell(text: str) -> None:
    """A sentence, or several."""
    click.echo(text)


def choose(question: str, choices: Sequence[str], offered: str) -> str:
    """One of some words."""
    answer: str = click.prompt(question, type=click.Choice(list(choices)), default=offered)
    return answer


def value_of(question: str, kind: Any, offered: str | None = None) -> float:
    """A quantity, with its unit."""
    written: str = click.prompt(question, type=Written(kind), default=offered)
    return float(TypeAdapter(kind).validate_python(written))


def value_or_none(question: str, kind: Any) -> float | None:
    """A quantity, or nothing."""
    while True:
        written: str = click.prompt(f"{question} (Enter: none)", default="", show_default=False)
        if not written.strip():
            return None
        try:
            Written(kind).convert(written, None, None)
        except click.UsageError as error:
            click.echo(f"Error: {error.message}")
            continue
        return float(TypeAdapter(kind).validate_python(written))


def done(request: str, *, may_skip: bool = False) -> bool:
    """Ask for something to be done by hand; whether it was."""
    tell(request)
    if not may_skip:
        click.prompt("Press Enter when it is done", default="", show_default=False)
        return True
    return click.prompt(f"Press Enter when it is done, or type '{SKIP}'", default="", show_default=False) != SKIP


def accuracy_of(meter: str, offered: str) -> Accuracy:
    """Of a meter that a person reads, at the readings that it is used for."""
    return Accuracy(
        reading=value_of(f"Limit of error of the {meter} there, as a part of the reading", Tolerance, offered)
    )


def current_of_meter() -> float:
    """What a multimeter sends through what it measures."""
    question = "Current that the multimeter sends through the resistor in this range, by its manual"
    return value_of(question, PositiveAmperes, "1 mA")
