"""Answers from a recording, by question and not by order: guard and run interleave otherwise each time.

A recording is divided by its commands, the messages that have no question mark: after each, other answers may come. A
question is answered as it was after the same commands to the same instrument, asked by the same side, the first time as
the first time and so on; asked once more than then, as the last time. A question that was not asked there is answered
as it was before, or else after.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Mapping, Sequence

from benchctl import errors
from benchctl.errors import LinkError, NoAnswer
from benchctl.instruments.links.link import Interrupt
from benchctl.instruments.links.recording_link import who_talks
from benchctl.instruments.links.settings import LinkSettings
from benchctl.instruments.links.traffic import Exchange

_ERRORS: dict[str, type[LinkError]] = {
    name: getattr(errors, name) for name in ("NotConnected", "ConnectionLost", "NoAnswer")
}


class RecordedInstrument:
    """All that one instrument was told and has answered."""

    def __init__(self, exchanges: Sequence[Exchange]) -> None:
        self._lock = threading.Lock()
        self._commands = [each.sent for each in exchanges if "?" not in each.sent]
        self._at = 0
        # (side, question) -> stretch between two commands -> the answers in it, in order.
        self._answers: dict[tuple[str, str], dict[int, list[Exchange]]] = defaultdict(lambda: defaultdict(list))
        self._asked: dict[tuple[str, str, int], int] = defaultdict(int)
        self._to_commands: dict[int, Exchange] = {}
        stretch = 0
        for each in exchanges:
            if "?" in each.sent:
                self._answers[each.who, each.sent][stretch].append(each)
            else:
                stretch += 1
                self._to_commands[stretch] = each

    def answer(self, text: str, who: str) -> Exchange | None:
        """What was answered to a message; None if it was never sent."""
        with self._lock:
            return self._answer_to_question(text, who) if "?" in text else self._follow(text)

    def _follow(self, command: str) -> Exchange | None:
        """Go on to the next place where this command was given; one that was not given then changes nothing."""
        try:
            self._at = self._commands.index(command, self._at) + 1
        except ValueError:
            return None
        return self._to_commands[self._at]

    def _answer_to_question(self, question: str, who: str) -> Exchange | None:
        key = next((key for key in ((who, question), *self._others(who, question)) if key in self._answers), None)
        if key is None:
            return None
        stretches = self._answers[key]
        stretch = _nearest(list(stretches), self._at)
        number = self._asked[(*key, stretch)]
        self._asked[(*key, stretch)] += 1
        return stretches[stretch][min(number, len(stretches[stretch]) - 1)]

    def _others(self, who: str, question: str) -> list[tuple[str, str]]:
        return [key for key in self._answers if key[1] == question and key[0] != who]


def _nearest(stretches: Sequence[int], at: int) -> int:
    """This stretch, or the last before it, or else the first behind it."""
    before = [each for each in stretches if each <= at]
    return max(before) if before else min(stretches)


class Replay:
    """The instruments of a recording; `open_link` takes the place of links to real ones."""

    def __init__(
        self, exchanges: Sequence[Exchange], role_at: Mapping[str, str], marks_ends: Mapping[str, bool]
    ) -> None:
        self._role_at = role_at
        self._marks_ends = marks_ends
        self._instruments = {
            role: RecordedInstrument([each for each in exchanges if each.role == role])
            for role in {each.role for each in exchanges} | set(role_at.values())
        }

    def open_link(self, address: str, settings: LinkSettings) -> ReplayLink:
        """A link to what was recorded of the instrument at an address."""
        role = self._role_at[address]
        return ReplayLink(self._instruments[role], settings, marks_ends=self._marks_ends.get(role, False))


class ReplayLink:
    """A link whose answers are recorded ones."""

    def __init__(self, instrument: RecordedInstrument, settings: LinkSettings, *, marks_ends: bool) -> None:
        self._instrument = instrument
        self._end = settings.ends.sent
        self._waiting: list[Exchange] = []
        self.marks_ends = marks_ends

    def send(self, data: bytes) -> None:
        """Look up what was answered."""
        text = data.removesuffix(self._end).decode("ascii", "backslashreplace")
        found = self._instrument.answer(text, who_talks())
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
