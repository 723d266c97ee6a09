"""One part of the safe state, in the words of its instrument.

Plain text, so that it can be handed to another process; and nothing but the standard library, so that the guardian,
which is that process, is up at once.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SafePart:
    """What brings one output into the safe state, and what confirms it.

    Attributes:
        instrument: its name in the bench file.
        address: its VISA address.
        what: the part of the safe state, such as "output off".
        commands: the messages that bring it about, in order.
        question: the messages that ask for confirmation; the last one is answered.
        switches: how many switches the answer tells of, separated by commas.
    """

    instrument: str
    address: str
    what: str
    commands: tuple[str, ...]
    question: tuple[str, ...]
    switches: int = 1

    def is_confirmed_by(self, answer: str) -> bool:
        """Whether the answer says, of as many switches as were asked about, that each is off."""
        states = answer.split(",")
        return len(states) == self.switches and not any(is_on(state) for state in states)


def is_on(answer: str) -> bool:
    """Whether an answer to OUTP? and the like means on; SCPI answers 0 or 1, some instruments OFF or ON."""
    return answer.strip().upper() not in {"0", "+0", "OFF"}
