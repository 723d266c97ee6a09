"""The coils of a relay bank, whatever words drive them: which relays there are, and which are told to close."""

from __future__ import annotations

from collections.abc import Iterable

from benchctl.simulator.hardware.physical_bench import PhysicalBench


class Coils:
    """The relays that something on the bench is wired to, by number."""

    def __init__(self, physical_bench: PhysicalBench) -> None:
        description = physical_bench.description
        assert description.load is not None
        numbers = {resistor.relay for resistor in description.load.resistors}
        if description.remote is not None and description.remote.by == "relay":
            numbers.add(description.remote.relay)
        numbers.update(description.input_relays.values())
        self.numbers = tuple(sorted(numbers))
        self._physical_bench = physical_bench

    @property
    def closed(self) -> list[int]:
        """The relays that are closed, in order."""
        return sorted(self._physical_bench.connections.closed_relays)

    def close(self, relays: Iterable[int]) -> None:
        """Close these relays and leave the others as they are."""
        for relay in relays:
            self._physical_bench.connections.close_relay(relay, self._physical_bench.time_s)

    def open(self, relays: Iterable[int]) -> None:
        """Open these relays and leave the others as they are."""
        for relay in relays:
            self._physical_bench.connections.open_relay(relay, self._physical_bench.time_s)

    def open_all(self) -> None:
        """Open every relay."""
        self.open(self.numbers)

    def set_to(self, relays: Iterable[int]) -> None:
        """Close these relays and open all others.

        First it opens, then it closes; otherwise two resistors would be in parallel for an instant.
        """
        wanted = frozenset(relays)
        self.open(relay for relay in self.numbers if relay not in wanted)
        self.close(sorted(wanted))
