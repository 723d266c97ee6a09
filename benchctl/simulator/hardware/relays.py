"""The relays of the bank: what each was told, and where its contact is. Contacts bounce when they close.

A contact that opens does not touch again (hardly any data sheet of a normally open relay states a release bounce).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from random import Random

from benchctl.simulator.model.true_errors import TrueErrors

FEWEST_BOUNCES, MOST_BOUNCES = 2, 5
"""How often a contact opens again before it rests (common practice)."""

SHORTEST_PART = 0.5
"""No bounce is shorter than this part of the longest."""


class Relays:
    """All of them, by number.

    Attributes:
        closed: told to close; this is also what they answer.
        made: contacts that touch at this instant.
        stuck: a fault: neither coil nor contact moves.
        next_bounce_s: when a contact next moves by itself; infinity while all rest.
    """

    def __init__(self, bounce_s: float, true_errors: TrueErrors) -> None:
        self.closed: set[int] = set()
        self.made: set[int] = set()
        self.stuck: frozenset[int] = frozenset()
        self.next_bounce_s = math.inf
        self._bounce_s = bounce_s
        self._truth = true_errors
        self._chances: dict[int, Random] = {}
        self._bounces: list[tuple[float, int]] = []

    def close(self, relay: int, now_s: float) -> bool:
        """Close it, unless it is stuck or closed; True if its contact moved. It will bounce."""
        if relay in self.stuck or relay in self.closed:
            return False
        self.closed.add(relay)
        self.made.add(relay)
        self._expect(self._bounces + [(now_s + after_s, relay) for after_s in self._bounces_of(relay)])
        return True

    def open(self, relay: int) -> bool:
        """Open it, unless it is stuck or open; True if it was closed."""
        if relay in self.stuck or relay not in self.closed:
            return False
        self.closed.discard(relay)
        self.made.discard(relay)
        self._expect([bounce for bounce in self._bounces if bounce[1] != relay])
        return True

    def bounce(self, now_s: float) -> Iterator[int]:
        """Move the contacts that are due by `now_s`, one by one; yields which."""
        while self.next_bounce_s <= now_s:
            _, relay = self._bounces[0]
            self._expect(self._bounces[1:])
            self.made ^= {relay}
            yield relay

    def _expect(self, bounces: list[tuple[float, int]]) -> None:
        self._bounces = sorted(bounces)
        self.next_bounce_s = self._bounces[0][0] if self._bounces else math.inf

    def _bounces_of(self, relay: int) -> list[float]:
        """The times, from its first touch on, at which it opens, touches, opens, ... and finally touches."""
        if self._bounce_s == 0:
            return []
        chance = self._chances.setdefault(relay, self._truth.stream(f"relay {relay}"))
        lasts_s = self._bounce_s * chance.uniform(SHORTEST_PART, 1.0)
        count = chance.randint(FEWEST_BOUNCES, MOST_BOUNCES)
        return [*sorted(chance.uniform(0.0, lasts_s) for _ in range(2 * count - 1)), lasts_s]
