"""A switch unit that lists what is closed."""

from __future__ import annotations

from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.loads.closed_list import ClosedListSwitch
from tests.simulator.benches import describe
from tests.simulator.talk import Talk


def switch() -> Talk:
    bench = PhysicalBench(describe())
    return Talk(Conversation(ClosedListSwitch(bench, lambda: 0.0, bench.description).device))


def test_it_lists_the_relays_that_are_closed() -> None:
    unit = switch()
    unit.tell("ROUT:CLOS (@101,103)")
    assert unit.ask("ROUT:CLOS:STAT?") == "(@101,103)"
    unit.tell("ROUT:OPEN (@103)")
    assert unit.ask("ROUT:CLOS:STAT?") == "(@101)"
    unit.tell("*RST")
    assert unit.ask("ROUT:CLOS:STAT?") == "(@)"
    assert unit.errors() == []


def test_it_neither_tells_of_one_relay_nor_opens_all() -> None:
    unit = switch()
    unit.tell("ROUT:CLOS? (@101)", "ROUT:OPEN:ALL")
    assert unit.errors() == [-113, -113]
