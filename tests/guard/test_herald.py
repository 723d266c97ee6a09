"""What is told to a person never keeps the bench on: a terminal may stand still for as long as it likes."""

from __future__ import annotations

import threading

import pytest

from benchctl.guard import herald as module
from benchctl.guard.herald import Herald

LONG_S = 600.0  # whoever waits for it does not come back


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


def test_whoever_tells_does_not_wait_and_everything_is_told_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    paused = Paused()
    herald = Herald(paused, waits=False)
    herald.tell(lambda listener: listener.stopping, "stopping")
    herald.tell(lambda listener: listener.alarm, "alarm")
    assert paused.told == []
    herald.finish()  # no longer than a terminal that works needs
    assert paused.told == []
    paused.let_go.set()
    monkeypatch.setattr(module, "LAST_WORDS_S", LONG_S)  # and it ends as soon as all is told
    herald.finish()
    assert paused.told == ["stopping", "alarm"]


def test_in_a_dry_run_what_is_told_is_told_at_once_and_nothing_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LAST_WORDS_S", LONG_S)
    before = threading.active_count()
    paused = Paused()
    herald = Herald(paused, waits=True)
    herald.tell(lambda listener: listener.alarm, "alarm")
    assert paused.told == ["alarm"]
    assert threading.active_count() == before
    herald.finish()


def test_where_nobody_listens_nothing_happens(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LAST_WORDS_S", LONG_S)
    herald = Herald(None, waits=False)
    herald.tell(lambda listener: listener.alarm, "alarm")
    herald.finish()
