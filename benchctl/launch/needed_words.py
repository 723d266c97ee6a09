"""Which commands of the driver files some sequences need."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from benchctl.documents.reader import load_sequence
from benchctl.documents.sequence_file.power_steps import MeasureBurst, Soak
from benchctl.documents.sequence_file.sequence import in_order
from benchctl.documents.sequence_file.signal_steps import MeasureIntermodulation, MeasureSquare
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.instruments.exercise.findings import Finding, Verdict
from benchctl.launch.exercise import Exercised

# What steps need of the generator in addition to what any tone needs -> the words; none does without the first.
_EXTRA_WORDS: Mapping[str, tuple[str, ...]] = {
    "bursts": ("burst_on", "burst_start", "burst_off", "trigger_burst"),
    "square waves": ("square_on", "square_off"),
    "two tones": ("two_tones_on", "two_tones_off"),
}
# Limits are watched in every sequence.
_WATCHERS = frozenset({"supply", "thermometer"})


@dataclass(frozen=True)
class NeededWords:
    """What some sequences need.

    Attributes:
        roles: the instruments.
        signals: what any of their steps sends beside steady tones.
    """

    roles: frozenset[str]
    signals: frozenset[str]

    @classmethod
    def of(cls, sequences: Iterable[str]) -> NeededWords:
        """What these sequences need together.

        Raises:
            DocumentError: one of them is wrong.
            UsageError: there is no such sequence.
        """
        steps = [step for name in sequences for step, _ in in_order(load_sequence(name).steps)]
        roles = {role for step in steps for role in step.roles}
        return cls(_WATCHERS | roles, frozenset(filter(None, map(_sends, steps))))

    def marked(self, exercised: Exercised) -> Exercised:
        """The same, with each word marked that is not needed, and with a failure for each that is needed and lacks."""
        known = tuple(replace(each, is_needed=self._needs(exercised.role, each.word)) for each in exercised.findings)
        lacking = tuple(
            Finding(word, None, Verdict.UNSUPPORTED, "the driver file says that the instrument lacks this")
            for word in exercised.lacks
            if word in _FIRST_WORDS and self._needs(exercised.role, word)
        )
        return replace(exercised, findings=known + lacking)

    def _needs(self, role: str, word: str) -> bool:
        if role not in self.roles:
            return False
        extra = next((signal for signal, words in _EXTRA_WORDS.items() if word in words), None)
        return role != "generator" or extra is None or extra in self.signals


_FIRST_WORDS = frozenset(words[0] for words in _EXTRA_WORDS.values())


def _sends(step: StepBase) -> str | None:
    """What a step sends beside a steady tone."""
    match step:
        case Soak():
            return "bursts" if step.cycles is not None or step.crest_factor_ratio is not None else None
        case MeasureBurst():
            return "bursts"
        case MeasureSquare():
            return "square waves"
        case MeasureIntermodulation():
            return "two tones"
        case _:
            return None
