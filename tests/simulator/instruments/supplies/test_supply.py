"""The supply's commands."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.imperfections import Imperfections
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.documents.bench_file.supply_imperfections import SupplyImperfections
from tests.simulator.talk import Room


@pytest.fixture
def room() -> Room:
    """A fresh bench."""
    return Room()


def test_each_output_keeps_its_own_settings(room: Room) -> None:
    room.supply.tell("INST:NSEL 1;:VOLT 14.4;:CURR 90", "INST:SEL OUT2;:VOLT 12;:CURR 0.5")
    assert room.supply.ask("INST:NSEL 1;:VOLT?;CURR?") == "1.44000000E+01;9.00000000E+01"
    assert room.supply.ask("INST:NSEL 2;:VOLT?;CURR?") == "1.20000000E+01;5.00000000E-01"
    assert room.supply.ask("INST:CAT?") == '"OUT1","OUT2"'


@pytest.mark.parametrize(
    ("command", "error"),
    [("VOLT 20.1", -222), ("CURR 121", -222), ("INST:NSEL 3", -222), ("VOLT:PROT 30", -222), ("INST:SEL OUT9", -224)],
)
def test_what_an_output_cannot_give_is_refused(room: Room, command: str, error: int) -> None:
    room.supply.tell(command)
    assert room.supply.errors() == [error]


def test_limits_are_those_of_the_chosen_output(room: Room) -> None:
    assert float(room.supply.ask("INST:NSEL 1;:CURR? MAX")) == 120.0
    assert float(room.supply.ask("INST:NSEL 2;:CURR? MAX")) == 1.0


def test_it_reads_back_voltage_current_and_power(room: Room) -> None:
    room.power_on(101, 102)
    volts, amperes, watts = map(float, room.supply.ask("INST:NSEL 1;:MEAS:VOLT?;CURR?;POW?").split(";"))
    assert volts == pytest.approx(14.4, abs=0.003)
    assert amperes == pytest.approx(1.65, abs=0.05)
    assert watts == pytest.approx(volts * amperes, rel=0.02)


def test_a_coarse_supply_shows_whole_steps_only() -> None:
    """The nearest whole multiple of 0.1 V and of 0.1 A."""
    coarse = SupplyImperfections.model_validate({"voltage_step": "0.1 V", "current_step": "0.1 A"})
    fine_room, room = Room(), Room(bench=BenchSimulation(imperfections=Imperfections(supply=coarse)))
    shown = []
    for each in (fine_room, room):
        each.power_on(101, 102)
        shown.append([float(each.supply.ask(f"INST:NSEL 1;:MEAS:{what}?")) for what in ("VOLT", "CURR")])
    assert shown[1] == pytest.approx([round(10.0 * value) / 10.0 for value in shown[0]])


def test_the_read_back_of_a_burst_train_depends_on_when_one_asks(room: Room) -> None:
    """A mean over 20 ms, as in real supplies; the mean over whole repetitions lies between."""
    room.power_on(101, 102)
    room.burst(0.8, 20)
    readings = []
    for _ in range(50):
        room.wait(0.01)
        readings.append(float(room.supply.ask("INST:NSEL 1;:MEAS:CURR?")))
    assert max(readings) > 3 * min(readings)


def test_over_voltage_protection_trips_and_must_be_cleared(room: Room) -> None:
    room.supply.tell("VOLT 14.4;:CURR 90;:OUTP ON;:VOLT:PROT 13")
    room.wait(0.12)
    assert room.supply.ask("VOLT:PROT:TRIP?;:OUTP?") == "0;1", "it has not risen so far yet"
    room.wait(0.02)
    assert room.supply.ask("VOLT:PROT:TRIP?;:OUTP?") == "1;0"
    assert room.supply.ask("STAT:QUES:COND?") == "1"
    room.supply.tell("OUTP ON")
    assert room.supply.errors() == [-221]
    room.supply.tell("VOLT:PROT MAX;:OUTP:PROT:CLE;:OUTP ON")
    assert room.supply.ask("VOLT:PROT:TRIP?;:OUTP?;:SYST:ERR?") == '0;1;0,"No error"'


def test_over_current_protection_trips_on_a_loud_tone(room: Room) -> None:
    room.power_on(103, 104)
    room.supply.tell("INST:NSEL 1;:CURR:PROT 40;:CURR:PROT:STAT ON")
    room.play(0.9)
    room.wait(0.5)
    assert room.supply.ask("CURR:PROT:TRIP?;:OUTP?") == "1;0"
    assert float(room.supply.ask("MEAS:CURR?")) == pytest.approx(0.0, abs=0.05)


def test_past_its_limit_it_gives_constant_current_and_its_voltage_folds(room: Room) -> None:
    room.power_on(103, 104)
    room.supply.tell("INST:NSEL 1;:CURR 25")
    room.play(0.9)
    room.wait(0.04)
    volts, amperes = map(float, room.supply.ask("MEAS:VOLT?;CURR?").split(";"))
    assert amperes == pytest.approx(25.0, abs=0.05)
    assert volts < 14.0


ALL_OUTPUTS = "INST:NSEL 1;:OUTP?;:INST:NSEL 2;:OUTP?"


def watched_room(room: Room, delay_s: float) -> None:
    room.power_on()
    room.supply.tell(f"OUTP:PROT:WDOG:DEL {delay_s};:OUTP:PROT:WDOG ON")


def test_a_watchdog_that_is_fed_leaves_the_outputs_on(room: Room) -> None:
    watched_room(room, 2.0)
    for _ in range(5):
        room.wait(1.9)
        room.supply.tell("OUTP:PROT:WDOG:RES")
    assert room.supply.ask(f"{ALL_OUTPUTS};:OUTP:PROT:WDOG:TRIP?") == "1;1;0"


def test_a_watchdog_that_is_not_fed_switches_every_output_off_when_its_time_is_up(room: Room) -> None:
    watched_room(room, 2.0)
    room.wait(1.99)
    assert room.supply.ask(ALL_OUTPUTS) == "1;1"
    room.wait(0.02)
    assert room.supply.ask(f"{ALL_OUTPUTS};:OUTP:PROT:WDOG:TRIP?") == "0;0;1"
    room.wait(1.0)
    assert float(room.supply.ask("INST:NSEL 1;:MEAS:VOLT?")) < 1.0


def test_nobody_need_ask_for_the_watchdog_to_bite_when_it_is_due(room: Room) -> None:
    """The amplifier has been without supply since then, not since the first question."""
    watched_room(room, 2.0)
    room.wait(60.0)
    assert room.supply.ask(ALL_OUTPUTS) == "0;0"
    assert room.physical_bench.connections.main_output.changed_s == pytest.approx(4.0)


def test_outputs_that_the_watchdog_switched_off_stay_off_until_each_is_cleared(room: Room) -> None:
    watched_room(room, 2.0)
    room.wait(3.0)
    room.supply.tell("OUTP:PROT:WDOG:RES", "INST:NSEL 1;:OUTP ON")
    assert room.supply.errors() == [-221]
    room.supply.tell("OUTP:PROT:CLE;:INST:NSEL 2;:OUTP:PROT:CLE", "INST:NSEL 1;:OUTP ON")
    assert room.supply.ask("INST:NSEL 1;:OUTP?;:OUTP:PROT:WDOG:TRIP?") == "1;0"


@pytest.mark.parametrize("message", ["OUTP:PROT:WDOG OFF", "*RST"])
def test_a_watchdog_that_is_told_to_stop_never_bites(message: str, room: Room) -> None:
    watched_room(room, 2.0)
    room.supply.tell(message)
    room.wait(60.0)
    assert room.supply.ask("OUTP:PROT:WDOG?;:OUTP:PROT:WDOG:TRIP?") == "0;0"


@pytest.mark.parametrize("seconds", [0.5, 3601])
def test_a_watchdog_waits_no_shorter_and_no_longer_than_it_can(seconds: float, room: Room) -> None:
    room.supply.tell(f"OUTP:PROT:WDOG:DEL {seconds}")
    assert room.supply.errors() == [-222]


def test_reset_switches_every_output_off(room: Room) -> None:
    room.power_on()
    room.supply.tell("*RST")
    assert room.supply.ask("INST:NSEL 1;:OUTP?;:INST:NSEL 2;:OUTP?") == "0;0"


def test_the_remote_output_feeds_only_the_turn_on_lead(room: Room) -> None:
    room.power_on()
    assert float(room.supply.ask("INST:NSEL 2;:MEAS:VOLT?")) == pytest.approx(12.0, abs=0.003)
    assert float(room.supply.ask("INST:NSEL 2;:MEAS:CURR?")) == pytest.approx(0.0026, abs=0.02)
