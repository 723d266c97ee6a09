"""What every simulated instrument is, whatever it speaks: a `Speaker` that the server gives to clients."""

from __future__ import annotations

from typing import Protocol

from benchctl.scpi.device.speaker import Speaker


class SimulatedInstrument(Protocol):
    """One instrument of a simulated bench."""

    @property
    def device(self) -> Speaker:
        """Its side of the links."""
