"""A simulated instrument at the end of a serial line: a pseudo-terminal with a thread behind it."""

from __future__ import annotations

import os
import select
import threading
import tty
from types import TracebackType

from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.model.description import BenchDescription
from benchctl.simulator.network.raw_link import RawLink


class SerialLine:
    """The instrument in one role of a simulated bench, whose time stands still.

    Attributes:
        address: its VISA address.
        heard: the bytes that came, in the pieces in which they came.
    """

    def __init__(self, description: BenchDescription, role: str) -> None:
        self.bench = SimulatedBench(description, lambda: 0.0)
        self.heard: list[bytes] = []
        device = self.bench.devices[role]
        raw_link = RawLink(description.simulated(role), lambda: 0.0)
        self._dialogue = raw_link.open(lambda: Conversation(device))
        self._ours, self._theirs = os.openpty()
        tty.setraw(self._theirs)
        self.address = f"ASRL{os.ttyname(self._theirs)}::INSTR"
        self._stop, self._stopper = os.pipe()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def __enter__(self) -> SerialLine:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        os.write(self._stopper, b".")
        self._thread.join()
        for descriptor in (self._ours, self._theirs, self._stop, self._stopper):
            os.close(descriptor)
        self.bench.close()

    def _serve(self) -> None:
        while True:
            ready, _, _ = select.select([self._ours, self._stop], [], [])
            if self._stop in ready:
                return
            data = os.read(self._ours, 4096)
            self.heard.append(data)
            self._dialogue.receive(data)
            answer = self._dialogue.collect()
            while answer:
                answer = answer[os.write(self._ours, answer) :]
