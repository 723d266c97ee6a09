"""What came of trying the words of a driver file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

# So many messages are kept with a word; what went wrong is always among the last.
_MOST_KEPT = 12


class Verdict(Enum):
    """How a word does; the value is what a person reads. Each outweighs those before it: what has worked once works,
    unless it has failed."""

    NOT_TRIED = "not tried"
    ACCEPTED = "accepted, not confirmed"
    WORKS = "works"
    WRONG = "wrong answer"
    ERROR = "error"
    UNSUPPORTED = "not supported"

    @property
    def weight(self) -> int:
        """0 for what the others outweigh."""
        return list(Verdict).index(self)

    @property
    def is_failure(self) -> bool:
        """Whether the word does not do what the driver file says."""
        return self in {Verdict.WRONG, Verdict.ERROR, Verdict.UNSUPPORTED}


@dataclass(frozen=True)
class Said:
    """One message: the bytes to the instrument, the bytes from it, and how long that took."""

    sent: bytes
    answer: bytes = b""
    took_s: float = 0.0


@dataclass(frozen=True)
class Finding:
    """One word of a driver file.

    Attributes:
        word: its key under `commands`.
        line: of the driver file; None where the file leaves it to the default.
        verdict: how it does.
        text: what was found, where it does not simply work.
        offer: what to write instead, where that is known.
        advice: what a person may look for.
        suspects: further words that may be at fault instead, with their lines.
        said: the messages both ways.
        is_needed: whether the sequences that were named need it.
    """

    word: str
    line: int | None
    verdict: Verdict
    text: str = ""
    offer: str = ""
    advice: str = ""
    suspects: tuple[tuple[str, int | None], ...] = ()
    said: tuple[Said, ...] = ()
    is_needed: bool = True

    @property
    def slowest_s(self) -> float | None:
        """How long its slowest question took; None where it asks nothing."""
        return max((said.took_s for said in self.said if said.answer), default=None)


@dataclass
class Findings:
    """Those of one instrument, by word, in the order in which they were first tried."""

    lines: Mapping[str, int | None]
    by_word: dict[str, Finding] = field(default_factory=dict)

    def heard(self, word: str, said: Sequence[Said]) -> None:
        """These messages of this word passed."""
        before = self._of(word)
        self.by_word[word] = replace(before, said=(*before.said, *said)[-_MOST_KEPT:])

    def note(
        self, word: str, verdict: Verdict, text: str = "", *, offer: str = "", advice: str = "",
        suspects: Iterable[str] = (), line: int | None = None,
    ) -> None:  # fmt: skip
        """This word did so; what weighs most stays, and of equals the first."""
        before = self._of(word)
        if word in self._noted and verdict.weight <= before.verdict.weight:
            return
        self._noted.add(word)
        also = tuple((each, self.lines[each]) for each in suspects if each in self.lines)
        self.by_word[word] = replace(
            before, verdict=verdict, text=text, offer=offer, advice=advice, suspects=also, line=line or before.line
        )

    def has_failed(self, *words: str) -> bool:
        """Whether one of these words is known not to work."""
        return any(word in self.by_word and self.by_word[word].verdict.is_failure for word in words)

    @property
    def every(self) -> tuple[Finding, ...]:
        """All of them."""
        return tuple(self.by_word.values())

    def __post_init__(self) -> None:
        self._noted: set[str] = set()

    def _of(self, word: str) -> Finding:
        return self.by_word.get(word) or Finding(word, self.lines.get(word), Verdict.ACCEPTED)
