"""Bursts that the run begins keep their distance, and what keeps one from beginning is told."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from benchctl.clock import VirtualClock
from benchctl.errors import LinkError
from benchctl.runner.acting.rhythm import Rhythm


class Slow:
    """A generator whose link takes so long for each trigger, or fails."""

    def __init__(self, clock: VirtualClock, takes_s: Sequence[float]) -> None:
        self.clock = clock
        self.takes_s = list(takes_s)
        self.began_s: list[float] = []

    def trigger_burst(self) -> None:
        takes_s = self.takes_s.pop(0)
        if takes_s < 0:
            raise LinkError("the link is gone")
        self.clock.sleep(takes_s)
        self.began_s.append(self.clock.now())


def played(takes_s: Sequence[float], for_s: float) -> tuple[Slow, Rhythm]:
    """Bursts every 0.5 s for a while, with a clock of their own."""
    clock = VirtualClock()
    with clock.take_part():
        slow = Slow(clock, takes_s)
        rhythm = Rhythm(slow, clock, 0.5)  # type: ignore[arg-type]
        rhythm.start()
        clock.sleep(for_s)
        rhythm.stop()
    return slow, rhythm


def test_one_begins_at_once_and_the_others_a_period_apart() -> None:
    slow, rhythm = played([0.0] * 9, 1.9)
    assert slow.began_s == pytest.approx([0.0, 0.5, 1.0, 1.5])
    assert rhythm.late_s == pytest.approx(0.0, abs=1e-12)


def test_a_late_one_brings_the_next_no_nearer() -> None:
    """Or a record of one period would hold a part of the next burst."""
    slow, rhythm = played([0.0, 0.12, 0.0, 0.0], 1.9)
    assert slow.began_s == pytest.approx([0.0, 0.62, 1.12, 1.62])
    assert rhythm.late_s == pytest.approx(0.12)


def test_a_trigger_that_fails_ends_the_rhythm_and_is_raised() -> None:
    with pytest.raises(LinkError, match="the link is gone"):
        played([0.0, -1.0], 1.9)
