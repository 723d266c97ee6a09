"""Answers from a recording, by question and not by order: guard and run interleave otherwise each time.

A recording is divided into stretches by the run's commands, the messages without a question mark, to any instrument:
after each, other answers may come. A question is answered as it was in the same stretch, asked by the same side, the
first time as the first time and so on; asked more often than then, as the last time. A question that was not asked in
that stretch is answered as it was before, or else after; but never from beyond a command to this instrument where
anybody asked it on this side of the command, for the instrument had other settings there.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from itertools import accumulate

from benchctl import errors
from benchctl.errors import LinkError, NoAnswer
from benchctl.instruments.links.link import Interrupt
from benchctl.instruments.links.recordings.recording_link import RUN, who_talks
from benchctl.instruments.links.recordings.traffic import Exchange
from benchctl.instruments.links.settings import LinkSettings

_ERRORS: dict[str, type[LinkError]] = {
    name: getattr(errors, name) for name in ("NotConnected", "ConnectionLost", "NoAnswer")
}
# Whose instrument, which side asks, and what.
_Key = tuple[str, str, str]


def _is_question(text: str) -> bool:
    return "?" in text


class RecordedTraffic:
    """All that the instruments of a bench were told and have answered, and how far the run has come in it again."""

    def __init__(self, exchanges: Sequence[Exchange]) -> None:
        self._lock = threading.Lock()
        self._commands: list[Exchange] = []  # of the run
        self._at = 0  # how many of them were given again
        self._answers: dict[_Key, dict[int, list[Exchange]]] = defaultdict(lambda: defaultdict(list))
        self._asked: dict[tuple[_Key, int], int] = defaultdict(int)
        # By role: the number of commands that it was given among the first 0, 1, 2 and so on of all.
        self._told: dict[str, list[int]] = {}
        for each in exchanges:
            if each.who == RUN and not _is_question(each.sent):
                self._commands.append(each)
            else:
                self._answers[each.role, each.who, each.sent][len(self._commands)].append(each)
        for role in {each.role for each in exchanges}:
            self._told[role] = [0, *accumulate(command.role == role for command in self._commands)]

    def answer(self, role: str, text: str, who: str) -> Exchange | None:
        """What was answered to a message; None if it was never sent."""
        with self._lock:
            if who == RUN and not _is_question(text):
                return self._follow(role, text)
            return self._answer_again(role, text, who)

    def _follow(self, role: str, command: str) -> Exchange | None:
        """Go on to the next place where this command was given; one that was not given then changes nothing."""
        for place in range(self._at, len(self._commands)):
            found = self._commands[place]
            if (found.role, found.sent) == (role, command):
                self._at = place + 1
                return found
        return None

    def _answer_again(self, role: str, text: str, who: str) -> Exchange | None:
        keys = [key for key in self._answers if (key[0], key[2]) == (role, text)]
        places = [(key, stretch) for key in keys for stretch in self._answers[key]]
        if not places:
            return None
        key, stretch = min(places, key=lambda place: self._strangeness(place, who))
        number = self._asked[key, stretch]
        self._asked[key, stretch] += 1
        answers = self._answers[key][stretch]
        return answers[min(number, len(answers) - 1)]

    def _strangeness(self, place: tuple[_Key, int], who: str) -> tuple[bool, bool, bool, int]:
        """The least for the answer that fits best: of the same settings, the same side, before, and near."""
        (role, side, _), stretch = place
        told = self._told[role]
        return told[stretch] != told[self._at], side != who, stretch > self._at, abs(stretch - self._at)


class Replay:
    """The instruments of a recording.

    Args:
        exchanges: all that was recorded.
        role_at: whose instrument is at an address.
        marks_ends: by role, whether its link marked the ends of messages itself.
        now: the time of the run that is given the answers again.
    """

    def __init__(
        self,
        exchanges: Sequence[Exchange],
        role_at: Mapping[str, str],
        marks_ends: Mapping[str, bool],
        now: Callable[[], float] = lambda: 0.0,
    ) -> None:
        self._traffic = RecordedTraffic(exchanges)
        self._role_at = role_at
        self._marks_ends = marks_ends
        self._now = now
        self._over_s: dict[str, float] = {}

    def open_link(self, address: str, settings: LinkSettings) -> ReplayLink:
        """A link to what was recorded of the instrument at an address; it takes the place of one to a real one."""
        role = self._role_at[address]
        return ReplayLink(self, role, settings.ends.sent, marks_ends=self._marks_ends.get(role, False))

    def answer(self, role: str, text: str) -> Exchange | None:
        """What was answered to a message; None if it was never sent."""
        found = self._traffic.answer(role, text, who_talks())
        if found is not None:
            self._over_s[role] = found.time_s + found.took_s
        return found

    def owed_s(self, role: str) -> float:
        """How long it is until the time at which the answer that was given last had come in the recording: so the run's
        clock goes as it went then."""
        return max(0.0, self._over_s.pop(role, 0.0) - self._now())


class ReplayLink:
    """A link whose answers are recorded ones."""

    def __init__(self, replay: Replay, role: str, end: bytes, *, marks_ends: bool) -> None:
        self._replay = replay
        self._role = role
        self._end = end
        self._waiting: list[Exchange] = []
        self.marks_ends = marks_ends

    def send(self, data: bytes) -> None:
        """Look up what was answered."""
        text = data.removesuffix(self._end).decode("ascii", "backslashreplace")
        found = self._replay.answer(self._role, text)
        if found is not None and (found.got or found.error):
            self._waiting.append(found)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:  # noqa: ARG002 - it knows at once
        """The recorded answer, or the error in which waiting for it ended."""
        interrupt()
        if not self._waiting:
            raise NoAnswer("no answer in time")
        found = self._waiting.pop(0)
        if found.got:
            return found.got
        raise _ERRORS.get(found.error, NoAnswer)(found.message)

    def drain(self) -> None:
        """Nothing more is on its way."""
        self._waiting.clear()

    def has_waiting(self) -> bool:
        """Whether an answer was not read."""
        return bool(self._waiting)

    def close(self) -> None:
        """Nothing holds it."""
