"""The relays of the bank: what each was told, and where its contact is. A contact moves some time after its coil was
told, and bounces when it closes.

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

    Args:
        bounce_s: how long a contact bounces at most.
        true_errors: what chance decides.
        operate_s: from the command until the contact first moves.

    Attributes:
        closed: told to close; this is also what they answer.
        made: contacts that touch at this instant.
        stuck: a fault: neither coil nor contact moves.
        next_bounce_s: when a contact next moves by itself; infinity while all rest.
    """

    def __init__(self, bounce_s: float, true_errors: TrueErrors, operate_s: float = 0.0) -> None:
        self.closed: set[int] = set()
        self.made: set[int] = set()
        self.stuck: frozenset[int] = frozenset()
        self.next_bounce_s = math.inf
        self._bounce_s = bounce_s
        self._operate_s = operate_s
        self._truth = true_errors
        self._chances: dict[int, Random] = {}
        self._bounces: list[tuple[float, int]] = []

    def close(self, relay: int, now_s: float) -> bool:
        """Close it, unless it is stuck or closed; True if its contact moved at once. It will bounce."""
        if relay in self.stuck or relay in self.closed:
            return False
        self.closed.add(relay)
        if relay in self.made:  # it was told to open, and has not done so yet
            self._expect(self._moves_of_others(relay))
            return False
        touches_s = now_s + self._operate_s
        moves = [(touches_s + after_s, relay) for after_s in self._bounces_of(relay)]
        return self._move(relay, touches_s, now_s, moves)

    def open(self, relay: int, now_s: float) -> bool:
        """Open it, unless it is stuck or open; True if its contact moved at once."""
        if relay in self.stuck or relay not in self.closed:
            return False
        self.closed.discard(relay)
        if relay not in self.made:
            self._expect(self._moves_of_others(relay))
            return self._operate_s == 0
        return self._move(relay, now_s + self._operate_s, now_s, [])

    def _move(self, relay: int, moves_s: float, now_s: float, then: list[tuple[float, int]]) -> bool:
        """Let the contact move at a time, and again as `then` says; True if that time is now."""
        at_once = moves_s <= now_s
        if at_once:
            self.made ^= {relay}
        self._expect(self._moves_of_others(relay) + ([] if at_once else [(moves_s, relay)]) + then)
        return at_once

    def _moves_of_others(self, relay: int) -> list[tuple[float, int]]:
        return [move for move in self._bounces if move[1] != relay]

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
