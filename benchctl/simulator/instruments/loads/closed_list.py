"""A switch unit that says which relays are closed as one list: `ROUT:CLOS:STAT?` answers `(@101,103)`."""

from __future__ import annotations

from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.device.parameters import ChannelList
from benchctl.simulator.instruments.loads.channel_list import ChannelListSwitch


class ClosedListSwitch(ChannelListSwitch):
    """It closes and opens relays of a channel list. It does not know the state of a single relay, nor how to open
    all of them at once."""

    model = "Switch unit"

    def add_commands(self, tree: CommandTree) -> None:
        """ROUTe:CLOSe, OPEN and CLOSe:STATe?."""
        channels = [ChannelList(self._coils.numbers)]
        tree.add("ROUTe:CLOSe", set=self._close, parameters=channels)
        tree.add("ROUTe:OPEN", set=self._open, parameters=channels)
        tree.add("ROUTe:CLOSe:STATe", query=lambda _: self._closed_list())
