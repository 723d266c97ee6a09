"""What is told to a person never keeps the bench on: a terminal may stand still for as long as it likes."""

from __future__ import annotations

import threading

from benchctl.guard.herald import Herald


class Paused:
    """A terminal that stands still until it is let go."""

    def __init__(self) -> None:
        self.let_go = threading.Event()
        self.told: list[str] = []

    def stopping(self, text: str) -> None:
        self.let_go.wait(30.0)
        self.told.append(text)

    def alarm(self, text: str) -> None:
        self.told.append(text)

    def relief(self, text: str) -> None:
        self.told.append(text)


def test_whoever_tells_does_not_wait_and_everything_is_told_in_order() -> None:
    paused = Paused()
    herald = Herald(paused, waits=False)
    herald.tell(lambda listener: listener.stopping, "stopping")
    herald.tell(lambda listener: listener.alarm, "alarm")
    assert paused.told == []
    herald.finish()  # no longer than a terminal that works needs
    assert paused.told == []
    paused.let_go.set()
    herald.finish()
    assert paused.told == ["stopping", "alarm"]


def test_in_a_dry_run_what_is_told_is_told_at_once() -> None:
    paused = Paused()
    Herald(paused, waits=True).tell(lambda listener: listener.alarm, "alarm")
    assert paused.told == ["alarm"]


def test_where_nobody_listens_nothing_happens() -> None:
    herald = Herald(None, waits=False)
    herald.tell(lambda listener: listener.alarm, "alarm")
    herald.finish()
