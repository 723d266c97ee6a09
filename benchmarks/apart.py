"""Simulated instruments in a separate process, so that, like real ones, they do not slow their client down."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection

from benchmarks.rig import simulated_bench, switch_on

LOOK_S = 0.0005
PATIENCE_S = 5.0


class Apart:
    """Controls the bench in the other process; each method returns once it is done there."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self.addresses: dict[str, str] = pipe.recv()

    def feed(self, voltage_v: float) -> None:
        """Switch the supply's output on, at a voltage."""
        self._pipe.send(("feed", voltage_v))
        self._pipe.recv()

    def seconds_until_off(self, voltage_v: float) -> float:
        """Let the supply rise to a voltage, and say how long the generator's output then stays on."""
        self._pipe.send(("rise", voltage_v))
        seconds = float(self._pipe.recv())
        if seconds >= PATIENCE_S:
            raise RuntimeError("nobody switched the generator off")
        return seconds

    def end(self) -> None:
        """Close it."""
        self._pipe.send(("end", 0.0))


@contextmanager
def bench_apart() -> Iterator[Apart]:
    """A simulated bench in real time in another process."""
    spawn = multiprocessing.get_context("spawn")
    ours, theirs = spawn.Pipe()
    process = spawn.Process(target=_serve, args=(theirs,), daemon=True)
    process.start()
    theirs.close()  # so that its end is seen here
    apart = Apart(ours)
    try:
        yield apart
    finally:
        apart.end()
        process.join(PATIENCE_S)


def _serve(pipe: Connection) -> None:
    with simulated_bench() as (simulated, addresses, _):
        pipe.send(addresses)
        while (order := pipe.recv())[0] != "end":
            what, voltage_v = order
            begin_s = time.perf_counter()
            switch_on(simulated, voltage_v)
            drive = simulated.physical_bench.connections.drive
            while what == "rise" and drive.output_on and time.perf_counter() - begin_s < PATIENCE_S:
                time.sleep(LOOK_S)
            pipe.send(time.perf_counter() - begin_s)
