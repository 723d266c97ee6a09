"""What the safe state says to an instrument and asks of it, past the interlock and the exchanges of the run."""

from __future__ import annotations

import logging
import time

from benchctl.errors import ConnectionLost, InstrumentError, LinkError, NoAnswer
from benchctl.instruments.links.connection import Connection
from benchctl.instruments.turn import Turn

_traffic = logging.getLogger("benchctl.traffic")

# The safe state waits at most this long for the thread that talks, whose read ends within a twentieth of it.
GIVE_WAY_S = 1.0
# An instrument that acknowledges or echoes a message does so within this time, or the safe state goes on.
NOTE_S = 0.3


def never() -> None:
    """The safe state never waits for permission."""


class UrgentTalk:
    """The safe state's way over an instrument's link.

    Args:
        name: the instrument's name in the bench file, for the log of the traffic.
        connection: its link, which the run uses too.
        talk: whose turn it is to talk.
        timeout_s: how long an answer may take.
    """

    def __init__(self, name: str, connection: Connection, talk: Turn, timeout_s: float) -> None:
        self._name = name
        self._connection = connection
        self._talk = talk
        self._timeout_s = timeout_s

    def command(self, text: str) -> None:
        """Write in spite of another thread's waiting read; if the link is dead, on a new one."""
        self._await_note()
        try:
            self._connection.look_alive()
            self._connection.write(text, never, is_question=False)
        except LinkError:
            self._connection.open_link(never)
            self._connection.write(text, never, is_question=False)

    def command_quietly(self, text: str) -> None:
        """Write on leaving; where that fails, only the log of the traffic says so."""
        try:
            self._connection.write(text, never, is_question=False)
        except LinkError as error:
            _traffic.debug("%s: %s was not sent: %s", self._name, text, error)

    def ask(self, text: str) -> str:
        """Ask once the thread that talks now has given way. If an answer may still come, or the link is dead, the
        question is asked over a new link."""
        with self._talk.taken_at_once(GIVE_WAY_S) as may_talk:
            if not may_talk:
                raise NoAnswer("another question is still under way")
            return self._ask_on_sound_link(text)

    def _ask_on_sound_link(self, text: str) -> str:
        had_answered = self._connection.is_in_step()
        if not had_answered:
            self._connection.open_link(never)
        try:
            return self._ask_once(text)
        except ConnectionLost:  # often the peer had closed before the question, and answers on a new link
            if not had_answered:
                raise
        self._connection.open_link(never)
        return self._ask_once(text)

    def _ask_once(self, text: str) -> str:
        self._await_note()
        self._connection.is_dirty = True
        self._connection.write(text, never)
        answer = self._connection.read_text(time.monotonic() + self._timeout_s, never)
        self._connection.is_dirty = False
        return answer

    def _await_note(self) -> None:
        """An instrument that takes note of each message wants the next one only then; but off goes first."""
        if not self._connection.expects:
            return
        with self._talk.taken_if_free() as is_ours:
            if is_ours:
                self._take_note()

    def _take_note(self) -> None:
        try:
            self._connection.attend(time.monotonic() + NOTE_S, never)
        except InstrumentError as error:
            _traffic.debug("%s: %s", self._name, error)
