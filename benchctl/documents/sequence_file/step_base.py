"""What every step of a sequence has, and the checks that several share."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from benchctl.documents.model.fields import ParameterName, Ratio, Whole, bounded, counted
from benchctl.documents.model.model_base import Part
from benchctl.documents.text.words import describe

CycleCount = Annotated[Whole, counted(at_least=1, at_most=10_000, example=8)]
# Between bursts the amplifier rests at this fraction of the test level; at 0 dB there would be no burst.
RestLevel = Annotated[Ratio, bounded("dB", at_least=1e-4, below=1)]
# What becomes of the run when the amplifier's own protection silences it.
OnProtection = Literal["go on", "end the run"]
ON_PROTECTION = "what to do if the amplifier's own protection mutes it"
# What becomes of the run when a wait has taken as long as it may.
OnTimeout = Literal["end the run", "go on"]
# What becomes of the run when an instrument was switched off and on.
AfterPowerCycle = Literal["end the run", "repeat the step"]
State = Literal["power", "load", "frequency"]


def _read_driven(value: Any) -> Any:
    if value in ("all", "each"):
        return value
    if isinstance(value, list | tuple) and value and all(isinstance(name, str) for name in value):
        return tuple(str(name) for name in value)
    raise ValueError(f"{describe(value)} will not do; write `all`, `each`, or a list of channels such as `[A]`")


# Which of the amplifier's inputs have a signal.
DrivenInputs = Annotated[
    str | tuple[str, ...],
    BeforeValidator(_read_driven),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": ["all", "each"]},
                {"type": "array", "items": {"type": "string"}, "minItems": 1, "uniqueItems": True},
            ],
            "examples": ["each", ["A"]],
        }
    ),
]
DRIVEN = (
    "which inputs have a signal: `all` of them, `each` alone in turn (the step is performed once for each channel), or "
    "the channels of a list, such as `[A]`"
)

# Given where the amplifier falls silent by itself, or turns itself down, while it is driven.
PROTECTION_FIGURES = (
    "protection_level",
    "protection_time",
    "protection_power",
    "protection_output",
    "protection_temperature",
    "protection_supply_voltage",
    "protection_supply_current",
)
FOLD_BACK_FIGURES = ("fold_back_time", "fold_back_gain", "fold_back_power", "fold_back_temperature")


class StepBase(Part):
    """What every step has: its kind, which is the key it is written under."""

    UNWRITTEN: ClassVar[frozenset[str]] = frozenset({"kind"})
    ROLES: ClassVar[tuple[str, ...]] = ()  # of the instruments that it needs
    STATE: ClassVar[tuple[State, ...]] = ()  # what must have been set before
    AT_TIMES: ClassVar[tuple[str, ...]] = ()  # figures that it gives beside those that `expect` can name

    kind: str

    @property
    def roles(self) -> tuple[str, ...]:
        """Of the instruments that this step needs, as it is set."""
        return self.ROLES


class Named(StepBase):
    """A step that gives figures, which criteria of later steps may be told from."""

    name: ParameterName | None = Field(
        default=None,
        description="a name, by which the criteria of later steps tell its figures, such as `within 5 % of cold_idle`",
        examples=["cold_idle"],
    )


class Driven(StepBase):
    """A step that drives the amplifier into its load and looks at its outputs."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope", "load", "supply")
    STATE: ClassVar[tuple[State, ...]] = ("power", "load")
