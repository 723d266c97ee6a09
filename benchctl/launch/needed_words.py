"""Which commands of the driver files some sequences need."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from benchctl.documents.reader import load_sequence
from benchctl.documents.sequence_file.power_steps import MeasureBurst, Soak
from benchctl.documents.sequence_file.sequence import in_order
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.instruments.exercise.findings import Finding, Verdict
from benchctl.launch.exercise import Exercised

# What bursts need of the generator in addition to what any tone needs.
_BURST_WORDS = frozenset({"burst_on", "burst_start", "burst_off", "trigger_burst"})
# Limits are watched in every sequence.
_WATCHERS = frozenset({"supply", "thermometer"})


@dataclass(frozen=True)
class NeededWords:
    """What some sequences need.

    Attributes:
        roles: the instruments.
        bursts: whether any of their steps sends bursts.
    """

    roles: frozenset[str]
    bursts: bool

    @classmethod
    def of(cls, sequences: Iterable[str]) -> NeededWords:
        """What these sequences need together.

        Raises:
            DocumentError: one of them is wrong.
            UsageError: there is no such sequence.
        """
        steps = [step for name in sequences for step, _ in in_order(load_sequence(name).steps)]
        roles = {role for step in steps for role in step.roles}
        return cls(_WATCHERS | roles, any(map(_sends_bursts, steps)))

    def marked(self, exercised: Exercised) -> Exercised:
        """The same, with each word marked that is not needed, and with a failure for each that is needed and lacks."""
        known = tuple(replace(each, is_needed=self._needs(exercised.role, each.word)) for each in exercised.findings)
        lacking = tuple(
            Finding(word, None, Verdict.UNSUPPORTED, "the driver file says that the instrument lacks this")
            for word in exercised.lacks
            if word == "burst_on" and self._needs(exercised.role, word)
        )
        return replace(exercised, findings=known + lacking)

    def _needs(self, role: str, word: str) -> bool:
        if role not in self.roles:
            return False
        return self.bursts or role != "generator" or word not in _BURST_WORDS


def _sends_bursts(step: StepBase) -> bool:
    if isinstance(step, Soak):
        return step.cycles is not None or step.crest_factor_ratio is not None
    return isinstance(step, MeasureBurst)
