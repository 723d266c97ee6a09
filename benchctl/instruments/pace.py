"""How long an instrument takes to answer, as its last answers showed."""

from __future__ import annotations

import statistics
from collections import deque

REMEMBERED = 15
"""So many answers give a median that a single late one does not move."""

QUICK_S = 0.02
"""An instrument that answers within this is not slow; what a busy computer adds does not count."""


class MeasuredPace:
    """Takes the time of each answer, and tells the usual one."""

    def __init__(self) -> None:
        self._last: deque[float] = deque(maxlen=REMEMBERED)

    def note(self, seconds: float) -> None:
        """An answer took so long."""
        self._last.append(seconds)

    @property
    def question_s(self) -> float:
        """How long a question usually takes; 0 for an instrument that is not slow, or was not asked yet."""
        usual_s = statistics.median(self._last) if self._last else 0.0
        return usual_s if usual_s > QUICK_S else 0.0
