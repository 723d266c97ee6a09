"""How a plain setting becomes a command and its question."""

from __future__ import annotations

from typing import NamedTuple

from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.device.parameters import Parameter
from benchctl.simulator.instruments.generators.desk import Desk


class Adder(NamedTuple):
    """Adds commands for `outputs` outputs to a tree."""

    tree: CommandTree
    desk: Desk
    outputs: int = 1

    @property
    def source(self) -> str:
        """The node of the output's signal, which may be left out."""
        return f"[SOURce<1:{self.outputs}>]"

    def node(self, name: str) -> str:
        """A node that chooses the output."""
        return f"{name}<1:{self.outputs}>"

    def setting(self, pattern: str, field: str, parameter: Parameter, times: float = 1.0) -> None:
        """A command that sets a field of the panel to its number divided by `times`, or to its word; and its
        question."""
        desk = self.desk
        scaled = times != 1.0
        self.tree.add(
            pattern,
            set=lambda call: desk.change(call, **{field: call.values[0] / times if scaled else call.values[0]}),
            query=lambda call: getattr(desk.panel(call), field) * times if scaled else getattr(desk.panel(call), field),
            parameters=[parameter],
        )
