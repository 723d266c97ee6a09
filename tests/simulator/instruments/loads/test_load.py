"""Relay bank and electronic load."""

from __future__ import annotations

import pytest

from benchctl.simulator.model.description import LoadDescription, RemoteLead
from tests.simulator.benches import describe
from tests.simulator.talk import Room


def test_relays_close_open_and_say_so() -> None:
    room = Room()
    room.load.tell("ROUT:CLOS (@101,104)")
    assert room.load.ask("ROUT:CLOS? (@101,102,103,104)") == "1,0,0,1"
    assert room.load.ask("ROUT:OPEN? (@101:104)") == "0,1,1,0"
    assert room.load.ask("ROUT:CLOS:STAT?") == "(@101,104)"
    room.load.tell("ROUT:OPEN (@101)")
    assert room.physical_bench.connections.loads.conductances_s() == pytest.approx((0.0, 0.5), rel=1e-3)
    room.load.tell("ROUT:OPEN:ALL")
    assert room.physical_bench.connections.loads.conductances_s() == (0.0, 0.0)
    assert room.load.errors() == []


@pytest.mark.parametrize(("command", "error"), [("ROUT:CLOS (@999)", -222), ("ROUT:CLOS 101", -128)])
def test_a_relay_that_is_not_there_is_an_error(command: str, error: int) -> None:
    room = Room()
    room.load.tell(command)
    assert room.load.errors() == [error]


def test_a_relay_of_the_bank_can_carry_the_remote_lead() -> None:
    room = Room(describe(remote=RemoteLead("relay", relay=110)))
    room.supply.tell("VOLT 14.4;:CURR 90;:OUTP ON")
    room.wait(3.0)
    assert float(room.supply.ask("MEAS:CURR?")) < 0.05
    room.load.tell("ROUT:CLOS (@110)")
    room.wait(3.0)
    assert float(room.supply.ask("MEAS:CURR?")) > 1.0


def test_an_electronic_load_is_what_it_is_set_to_once_its_input_is_on() -> None:
    room = Room(describe(load=LoadDescription("electronic", channels=("A",))))
    room.load.tell("FUNC RES", "RES 4 OHM")
    assert room.physical_bench.connections.loads.conductances_s() == (0.0, 0.0)
    room.load.tell("INP ON")
    assert room.load.ask("RES?;:INP?") == "4.00000000E+00;1"
    assert room.physical_bench.connections.loads.conductances_s() == pytest.approx((0.25, 0.0))
    room.load.tell("RES 0.01")
    assert room.load.errors() == [-222]
