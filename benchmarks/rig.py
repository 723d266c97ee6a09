"""The workshop's bench, simulated, behind loopback sockets in real time, with benchctl's own roles on it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from benchctl.clock import RealClock
from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.instruments.bench import Bench, open_bench
from benchctl.instruments.interlock import Interlock
from benchctl.launch.simulated.description import describe
from benchctl.simulator.bench import SimulatedBench

BENCH, AMPLIFIER = "workshop", "hx2150"
SUPPLY_V = 14.4
AWAKE_AFTER_S = 2.5


@dataclass(frozen=True)
class Rig:
    """A simulated bench and the roles that talk to it."""

    simulated: SimulatedBench
    bench: Bench
    clock: RealClock
    interlock: Interlock

    def wake(self) -> None:
        """Wake the amplifier, connect 4 ohm to both channels, and play a tone near full power."""
        switch_on(self.simulated, SUPPLY_V)
        self.clock.sleep(AWAKE_AFTER_S)
        play(self.bench)


def switch_on(simulated: SimulatedBench, voltage_v: float) -> None:
    """Switch the supply on at a voltage and the remote turn-on lead on, directly in the simulation."""
    main, remote = (simulated.physical_bench.connections.outputs[number] for number in (1, 2))
    with simulated.physical_bench.lock:
        main.voltage_v, main.limit_a, main.on = voltage_v, 110.0, True
        remote.voltage_v, remote.limit_a, remote.on = 12.0, 0.5, True


def play(bench: Bench) -> None:
    """Connect 4 ohm to both channels, and play a tone near full power."""
    bench.load.connect(4.0)
    bench.generator.set_frequency(1000.0)
    bench.generator.set_level(0.8)
    bench.generator.output_on()


@contextmanager
def simulated_bench() -> Iterator[tuple[SimulatedBench, dict[str, str], RealClock]]:
    """The simulated instruments, their addresses by role, and their clock."""
    clock = RealClock()
    with SimulatedBench(describe(load_bench(BENCH), load_amplifier(AMPLIFIER)), clock.now) as simulated:
        served = simulated.start()
        yield simulated, {role: f"TCPIP::{host}::{port}::SOCKET" for role, (host, port) in served.items()}, clock


@contextmanager
def rig() -> Iterator[Rig]:
    """A simulated bench with every role connected."""
    with simulated_bench() as (simulated, addresses, clock):
        interlock = Interlock(clock)
        with open_bench(load_bench(BENCH), addresses, interlock, clock.sleep) as bench:
            bench.oscilloscope.prepare()
            yield Rig(simulated, bench, clock, interlock)
