"""A bank of relays that closes and opens those of a SCPI channel list."""

from __future__ import annotations

from benchctl.scpi.device.headers import Call
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.loads.coils import Coils
from benchctl.simulator.model.description import BenchDescription


class ChannelListSwitch(Instrument[frozenset[int]]):
    """The only thing to save is which relays are closed. A recall first opens relays and then closes others; otherwise
    two resistors would be in parallel for an instant."""

    def __init__(self, physical_bench: PhysicalBench, now: Now, _: BenchDescription) -> None:
        self._coils = Coils(physical_bench)
        super().__init__(physical_bench, now)

    def defaults(self) -> frozenset[int]:
        """Every relay open."""
        return frozenset()

    def snapshot(self) -> frozenset[int]:
        """The closed relays."""
        return frozenset(self._coils.closed)

    def restore(self, settings: frozenset[int]) -> None:
        """Open the others, then close these."""
        self._coils.set_to(settings)

    def _close(self, call: Call) -> None:
        self._coils.close(call.values[0])

    def _open(self, call: Call) -> None:
        self._coils.open(call.values[0])

    def _closed_list(self) -> str:
        return "(@{})".format(",".join(map(str, self._coils.closed)))
