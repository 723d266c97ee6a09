"""One value of a bench that should stay the same from run to run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

Kind = Literal["gain", "figure", "zero"]


@dataclass(frozen=True)
class Reference:
    """What it is a value of. `what` is said to people; `unit` is the one that people say it in, empty of a ratio.

    `of` are the instruments by their identity, so that another serial number begins another series. `rests` is the
    quantity of `measure.agreement.reliance` whose figures would be wrong with it; empty where there is none of that
    kind. `where`: of a figure, the conditions and the step that gives it.
    """

    kind: Kind
    what: str
    unit: str
    of: str
    rests: str = ""
    where: str = ""


@dataclass(frozen=True)
class ReferenceValue:
    """`allowed`: how far it may be off by what the bench file states, expanded (k = 2) or as a limit of error. `phase`
    says what was calibrated when, and which values the bench file gave: where it changes, limits begin anew."""

    reference: Reference
    value: float
    allowed: float
    phase: str


@dataclass(frozen=True)
class Dated:
    """A value with the run that gave it."""

    began: datetime
    run: str
    given: ReferenceValue
