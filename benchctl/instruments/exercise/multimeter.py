"""Every word of a multimeter's driver file: each quantity is read at a point, or wherever its leads are."""

from __future__ import annotations

import math
from typing import Any

from benchctl.instruments.exercise.exercise import Exercise, Plan
from benchctl.instruments.exercise.findings import Verdict
from benchctl.instruments.multimeter import Multimeter


class MultimeterExercise(Exercise):
    """Nothing of it can be energised."""

    @property
    def _multimeter(self) -> Multimeter:
        assert isinstance(self._role, Multimeter)
        return self._role

    def plan(self) -> Plan:
        return Plan(
            ("multimeter: resets it, and measures at each of its points once, with everything on the bench off.",)
        )

    def any_place(self) -> dict[str, Any]:
        return self._multimeter.values_for(next(iter(self._multimeter.points)))

    def make_off(self) -> bool:
        return True

    def make_off_again(self) -> None:
        """There is nothing to switch off."""

    def walk(self) -> None:
        for name, point in self._multimeter.points.items():
            word = f"measure_{point.measures.replace(' ', '_')}"
            got = self.talk.number(word, **self._multimeter.values_for(name))
            if got is None:
                continue
            if math.isfinite(got):
                self.talk.note(word, Verdict.WORKS)
            else:
                text = f"'{name}' gives no reading: an overload, or leads and sensors that are open"
                self.talk.note(word, Verdict.ACCEPTED, text)
