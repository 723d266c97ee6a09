"""An electronic load with three ranges of resistance."""

from __future__ import annotations

import pytest

from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.loads.three_ranges import ThreeRangeLoad
from benchctl.simulator.model.description import LoadDescription
from tests.simulator.benches import describe
from tests.simulator.talk import Talk

LOAD = LoadDescription("electronic", channels=("A",))


class Bench:
    def __init__(self) -> None:
        self.physical_bench = PhysicalBench(describe(load=LOAD))
        self.load = Talk(Conversation(ThreeRangeLoad(self.physical_bench, lambda: 0.0, LOAD).device))

    @property
    def conductances_s(self) -> tuple[float, ...]:
        return self.physical_bench.connections.loads.conductances_s()


def test_it_is_what_it_is_set_to_in_its_range() -> None:
    bench = Bench()
    bench.load.tell("MODE CRL", "RES:STAT:L1 4", "LOAD ON")
    assert bench.load.ask("RES:STAT:L1?;:LOAD?;:MODE?") == "4.00000000E+00;1;CRL"
    assert bench.conductances_s == pytest.approx((0.25, 0.0))
    bench.load.tell("LOAD OFF")
    assert bench.conductances_s == (0.0, 0.0)
    assert bench.load.errors() == []


def test_a_resistance_beyond_its_range_is_refused() -> None:
    bench = Bench()
    bench.load.tell("MODE CRL", "RES:STAT:L1 8")
    assert bench.load.errors() == [-222]
    bench.load.tell("MODE CRM", "RES:STAT:L1 8")
    assert bench.load.errors() == []


def test_another_range_switches_it_off() -> None:
    bench = Bench()
    bench.load.tell("MODE CRM", "RES:STAT:L1 8", "LOAD ON", "MODE CRL")
    assert bench.load.ask("LOAD?") == "0"
    assert bench.conductances_s == (0.0, 0.0)
