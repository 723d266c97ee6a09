"""The outputs of a generator with their panels, which every group of words reads and changes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from benchctl.scpi.device.headers import Call
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.instruments.generators.panel import VPP_PER_UNIT, Panel
from benchctl.simulator.instruments.generators.playing import Player
from benchctl.simulator.model.description import GeneratorDescription

LOWEST_FREQUENCY_HZ = 1e-3


class Desk:
    """Panels by output, from 1.

    Args:
        players: one for each output.
        now: the time.
        factor: a fault that makes the level wrong.
        step_vpp: the level is set in multiples of this; 0 for as fine as it is written.
    """

    def __init__(
        self,
        players: Sequence[Player],
        description: GeneratorDescription,
        now: Callable[[], float],
        factor: Callable[[], float],
        step_vpp: float = 0.0,
    ) -> None:
        self._players = tuple(players)
        self._now = now
        self._factor = factor
        self.step_vpp = step_vpp
        self.panels = tuple(Panel() for _ in players)
        self.highest_vpp = description.highest_level_v * VPP_PER_UNIT["VRMS"]
        self.highest_frequency_hz = description.highest_frequency_hz

    def use(self, panels: Sequence[Panel]) -> None:
        """Use these panels instead of the present ones, with every output off; what plays begins anew."""
        self.panels = tuple(panels)
        for player, panel in zip(self._players, self.panels, strict=True):
            player.drive.switch(False)
            player.stop()
            player.follow(panel, self._now(), self._factor())

    def panel(self, call: Call) -> Panel:
        """The panel of the output that a command is for."""
        return self.panels[_output(call) - 1]

    def change(self, call: Call, **changes: Any) -> None:
        """Change some of one output's settings.

        Raises:
            ScpiError: they do not fit together; nothing has changed then.
        """
        self.replace(call, replace(self.panel(call), **changes))

    def replace(self, call: Call, panel: Panel) -> None:
        """Use another panel for one output; raises as `change`."""
        panel.check(self.highest_vpp)
        output = _output(call)
        self.panels = (*self.panels[: output - 1], panel, *self.panels[output:])
        self._players[output - 1].follow(panel, self._now(), self._factor())

    def set_level(self, call: Call, number: float, unit: str = "") -> None:
        """Set the level as the display shows it."""
        self.replace(call, self.panel(call).with_shown(number, unit).in_steps(self.step_vpp))

    def switch(self, call: Call, *, on: bool) -> None:
        """Connect or disconnect an output."""
        self._players[_output(call) - 1].drive.switch(on)

    def is_on(self, call: Call) -> bool:
        """Whether an output is connected."""
        return self._players[_output(call) - 1].drive.output_on

    def trigger(self) -> None:
        """One burst at every output that waits for the bus.

        Raises:
            ScpiError: none does.
        """
        waiting = [
            player
            for player, panel in zip(self._players, self.panels, strict=True)
            if panel.trigger_source == "BUS" and player.trigger(self._now())
        ]
        if not waiting:
            raise ScpiError(-211, "nothing waits for a trigger by the bus")


def _output(call: Call) -> int:
    return call.suffixes[0] if call.suffixes else 1
