"""The threads that carry out a safe state, and what they ask."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from benchctl.instruments.safe_part import Asked, OffReading
from benchctl.scpi.answer_form import AnswerForm

DEADLINE_S = 30.0


def off_reading(question: str, zero_a: float) -> OffReading:
    """What shows that no current flows: a question that is answered with volts, then amperes."""
    voltage, current = (AnswerForm(quantity=unit, field=field, fields=2) for field, unit in ((1, "V"), (2, "A")))
    return OffReading(Asked((question,), current), zero_a, voltage)


@contextmanager
def all_end() -> Iterator[None]:
    """Every thread of a safe state that is begun in here ends in here, whoever still waits for its part."""
    before = set(threading.enumerate())
    yield
    for thread in set(threading.enumerate()) - before:
        if thread.name.startswith("safe state"):
            thread.join(DEADLINE_S)
            assert not thread.is_alive()
