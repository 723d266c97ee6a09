"""A switch unit that says which relays are closed as one list: `ROUT:CLOS:STAT?` answers `(@101,103)`."""

from __future__ import annotations

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import ChannelList
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.loads.coils import Coils
from benchctl.simulator.model.description import BenchDescription


class ClosedListSwitch(Instrument[frozenset[int]]):
    """It closes and opens relays of a channel list. It does not know the state of a single relay, nor how to open
    all of them at once."""

    model = "Switch unit"

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

    def add_commands(self, tree: CommandTree) -> None:
        """ROUTe:CLOSe, OPEN and CLOSe:STATe?."""
        channels = [ChannelList(self._coils.numbers)]
        tree.add("ROUTe:CLOSe", set=self._close, parameters=channels)
        tree.add("ROUTe:OPEN", set=self._open, parameters=channels)
        tree.add("ROUTe:CLOSe:STATe", query=lambda _: self._listed())

    def _close(self, call: Call) -> None:
        self._coils.close(call.values[0])

    def _open(self, call: Call) -> None:
        self._coils.open(call.values[0])

    def _listed(self) -> str:
        return "(@{})".format(",".join(str(relay) for relay in self._coils.closed))
