"""Faults of the bench as they happen: when each begins, whether it goes on, and what it does to the hardware.

Time and chance come from outside and from the seed, and faults are looked at whenever an instrument is spoken to; so
the same conversation meets the same faults each time.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence

from benchctl.documents.bench_file.faults import (
    ClockJump,
    ExchangeFault,
    FaultBase,
    NoTrigger,
    OffBy,
    OneChannelForAll,
    OutputStuck,
    RelayStuck,
    SensorFellOff,
    SensorOpen,
    SensorStuck,
    SupplyDrift,
    Swapped,
    WrongByFactor,
)
from benchctl.simulator.hardware.connections import Connections
from benchctl.simulator.hardware.supply_outputs import SupplyOutput
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.model.description import BenchDescription


class ArmedFault:
    """One fault of the bench file: not begun, going on, or over."""

    def __init__(self, fault: FaultBase, chance: random.Random) -> None:
        self.fault = fault
        self.chance = chance
        self._began_s: float | None = None
        self._strikes_left: int | None = None
        self._may_begin = True

    @property
    def is_on(self) -> bool:
        """Whether it goes on."""
        return self._began_s is not None

    def look(self, now_s: float, exchanges: int, *, own: bool) -> bool:
        """End or begin it at an exchange; `exchanges` counts those of its instrument, `own` says that this is one of
        them.

        Returns:
            Whether it began just now.
        """
        if self._began_s is not None and self._is_over(now_s, self._began_s):
            self._began_s = None
        if self.is_on or not self._may_begin or not self._begins(now_s, exchanges, own):
            return False
        self._began_s, self._strikes_left = now_s, self.fault.strikes
        self._may_begin = self.fault.probability is not None
        return True

    def strike(self) -> None:
        """Count an exchange that it changed; after the last one it is over."""
        if self._strikes_left is not None:
            self._strikes_left -= 1
            if self._strikes_left == 0:
                self._began_s = None

    def lasts_s(self, now_s: float) -> float:
        """How long it has gone on."""
        return 0.0 if self._began_s is None else now_s - self._began_s

    def _is_over(self, now_s: float, began_s: float) -> bool:
        return self.fault.for_s is not None and now_s - began_s >= self.fault.for_s

    def _begins(self, now_s: float, exchanges: int, own: bool) -> bool:
        fault = self.fault
        if fault.at_s is not None:
            return now_s >= fault.at_s
        if fault.exchange is not None:
            return exchanges >= fault.exchange
        return own and self.chance.random() < (fault.probability or 0.0)


class FaultDesk:
    """All faults of a bench. The caller must hold the bench's lock."""

    def __init__(self, description: BenchDescription, connections: Connections, now: Now) -> None:
        seed = description.bench.seed
        faults = [
            ArmedFault(fault, random.Random(f"{seed}/fault {index}"))
            for index, fault in enumerate(description.bench.faults)
        ]
        self._on_links = [armed for armed in faults if isinstance(armed.fault, ExchangeFault)]
        self._on_bench = [armed for armed in faults if armed not in self._on_links]
        self._connections = connections
        self._supply_outputs = _outputs_by_name(description, connections)
        self._now = now
        self._jumped_s = self._latest_s = 0.0
        self._exchanges: Counter[str] = Counter()
        self.struck: Counter[str] = Counter()
        """how often each fault struck, such as `supply: no answer`"""

    def now(self) -> float:
        """The instruments' time, which never runs backwards."""
        self._latest_s = max(self._latest_s, self._now() + self._jumped_s)
        return self._latest_s

    def hear(self, role: str) -> list[ArmedFault]:
        """An exchange with an instrument: bring every fault up to date; returns those that act on its link now."""
        self._exchanges[role] += 1
        for armed in (*self._on_bench, *self._on_links):
            self._look(armed, role)
        if self._on_bench:
            self._mark_connections()
        return [armed for armed in self._on_links if armed.is_on and armed.fault.instrument == role]

    def count(self, armed: ArmedFault) -> None:
        """Note that a fault struck."""
        armed.strike()
        self._note(armed)

    def _look(self, armed: ArmedFault, role: str) -> None:
        whose = armed.fault.instrument
        exchanges = self._exchanges.total() if whose is None else self._exchanges[whose]
        began = armed.look(self._now(), exchanges, own=whose in {None, role})
        if began and armed in self._on_bench:
            self._note(armed)
            if isinstance(armed.fault, ClockJump):
                self._jumped_s += armed.fault.by_s

    def _note(self, armed: ArmedFault) -> None:
        self.struck[f"{armed.fault.instrument or 'bench'}: {armed.fault.kind}"] += 1

    # -- what is broken on the bench ---------------------------------------------------------------------------

    def _mark_connections(self) -> None:
        on = [armed.fault for armed in self._on_bench if armed.is_on]
        stuck = {fault.output for fault in on if isinstance(fault, OutputStuck) and fault.instrument == "supply"}
        for name, output in self._supply_outputs.items():
            output.stuck = name in stuck
        connections = self._connections
        connections.drive.stuck = connections.second_drive.stuck = any(
            isinstance(fault, OutputStuck) and fault.instrument == "generator" for fault in on
        )
        connections.relays.stuck = frozenset(fault.relay for fault in on if isinstance(fault, RelayStuck))
        faults = connections.faults
        faults.open_sensors = frozenset(fault.sensor for fault in on if isinstance(fault, SensorOpen))
        connections.sensors.stick(fault.sensor for fault in on if isinstance(fault, SensorStuck))
        faults.wrong = {(fault.instrument, fault.of): fault.factor for fault in on if isinstance(fault, WrongByFactor)}
        faults.offsets = {fault.of: fault.by for fault in on if isinstance(fault, OffBy)}
        faults.fallen_sensors = frozenset(fault.sensor for fault in on if isinstance(fault, SensorFellOff))
        faults.has_trigger = not any(isinstance(fault, NoTrigger) for fault in on)
        faults.swap(
            [(fault.instrument, fault.between[0], fault.between[1]) for fault in on if isinstance(fault, Swapped)]
        )
        faults.one_channel = next((fault.channel for fault in on if isinstance(fault, OneChannelForAll)), None)
        connections.main_output.drift_v = sum(self._drift_v(armed) for armed in self._on_bench)

    def _drift_v(self, armed: ArmedFault) -> float:
        fault = armed.fault
        if not isinstance(fault, SupplyDrift) or not armed.is_on:
            return 0.0
        return fault.by_v * min(armed.lasts_s(self._now()) / fault.over_s, 1.0)


def _outputs_by_name(description: BenchDescription, connections: Connections) -> dict[str, SupplyOutput]:
    outputs: Sequence[tuple[str, int]] = ()
    if description.supply is not None:
        outputs = [(each.name, each.number) for each in description.supply.outputs]
    return {name: connections.outputs[number] for name, number in outputs}
