"""What a diagnosis is made of."""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.fit.unseen import Unseen


@dataclass(frozen=True)
class Named:
    """One thing that aged or failed.

    Attributes:
        cause: such as `reservoir` or `half wave`; a key of `ADVICE`.
        channel: '' where it is the whole amplifier.
        sentence: with figures.
        times: by how many times its uncertainty it is off; infinite of what hardly any error of a bench could make.
        against: what it was held against, in words.
        also: what goes with it, in sentences.
        confused: what looks like it in such a run, '' where nothing is known to.
        decides: the one further measurement that tells them apart.
    """

    cause: str
    channel: str
    sentence: str
    times: float
    against: tuple[str, ...]
    also: tuple[str, ...] = ()
    confused: str = ""
    decides: str = ""


@dataclass(frozen=True)
class Diagnosis:
    """All of it, the strongest evidence first.

    Attributes:
        named: what aged or failed.
        small: changes beyond the uncertainty of both runs that are too small to be a sign of age.
        perhaps: larger ones, but not so far beyond that chance is ruled out among so many.
        unchanged: what was held against something, and no change was seen.
        alone: what this run tells, but nothing was there to hold it against.
        hidden: what the causes that are named keep from being seen.
        untold: what this run does not tell, with the reason; `hidden` is a part of it.
    """

    named: tuple[Named, ...]
    small: tuple[str, ...]
    perhaps: tuple[str, ...]
    unchanged: tuple[str, ...]
    alone: tuple[str, ...]
    hidden: tuple[Unseen, ...]
    untold: tuple[Unseen, ...]

    @property
    def first_sentence(self) -> str:
        """What a person reads if they read one sentence."""
        if self.named:
            more = len(self.named) - 1
            return self.named[0].sentence + (f"; and {more} more" if more else "")
        untold = ", ".join(each.words for each in self.untold) or "nothing"
        if self.unchanged:
            return f"nothing that aged was seen; untold: {untold}"
        return f"nothing that failed was seen, and there is no earlier run to see ageing by; untold: {untold}"
