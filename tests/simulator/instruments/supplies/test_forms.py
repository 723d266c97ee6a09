"""What the simulated supplies understand and answer, form by form."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchctl.errors import UsageError
from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.supplies.forms import DIALECTS, FORMS
from benchctl.simulator.model.description import RemoteLead, SupplyDescription, SupplyOutputDescription
from tests.simulator.benches import describe
from tests.simulator.talk import Talk

MAIN = SupplyOutputDescription("main", 1, 20.0, 120.0)
REMOTE = SupplyOutputDescription("remote", 2, 20.0, 1.0)
UNDEFINED = -113
"""SCPI-99 21.8: Undefined header."""


class Corner:
    """A simulated supply with its amplifier, and a clock that the test sets."""

    def __init__(self, form: str, *outputs: SupplyOutputDescription) -> None:
        self.now_s = 0.0
        supply = SupplyDescription(outputs or (MAIN,))
        self.bench = PhysicalBench(replace(describe(), supply=supply, remote=RemoteLead("hand")))
        self.supply = FORMS[form](self.bench, lambda: self.now_s, supply)
        self.talk = Talk(Conversation(self.supply.device))

    def wait(self, seconds: float) -> None:
        self.now_s += seconds


def test_a_channel_list_says_which_output() -> None:
    corner = Corner("channel_list", MAIN, REMOTE)
    corner.talk.tell("VOLT 14.4,(@1)", "VOLT 12,(@2)", "CURR 60,(@1)", "OUTP ON,(@1)")
    corner.wait(1.0)
    assert corner.talk.ask("VOLT? (@1,2)") == "14.400,12.000"
    assert corner.talk.ask("OUTP? (@1:2)") == "1,0"
    assert float(corner.talk.ask("MEAS:VOLT? (@1)")) == pytest.approx(14.4, abs=0.01)
    corner.talk.tell("VOLT 14.4")
    assert corner.talk.errors() == [-109], "nothing is meant without a list"


def test_a_channel_word_says_which_output() -> None:
    corner = Corner("channel_word", MAIN, REMOTE)
    corner.talk.tell("VOLT CH1,14.4", "CURR CH1,60", "OUTP CH1,ON")
    corner.wait(1.0)
    assert corner.talk.ask("OUTP? CH1") == "ON"
    assert corner.talk.ask("OUTP? CH2") == "OFF"
    assert float(corner.talk.ask("MEAS:VOLT? CH1")) == pytest.approx(14.4, abs=0.01)
    corner.talk.tell("VOLT CH3,1")
    assert corner.talk.errors() == [-224]


def test_an_output_may_be_chosen_by_a_word() -> None:
    corner = Corner("chosen_by_word", MAIN, REMOTE)
    corner.talk.tell("INST CH2", "VOLT 12", "INST CH1", "VOLT 14.4")
    assert corner.talk.ask("INST CH2;VOLT?") == "12.000"
    assert corner.talk.ask("INST?") == "CH2"


def test_a_supply_with_one_output_knows_no_word_for_it() -> None:
    corner = Corner("one_output")
    corner.talk.tell("INST CH1", "VOLT 14.4")
    assert corner.talk.errors() == [UNDEFINED]
    assert corner.talk.ask("VOLT?") == "14.400"


def test_a_form_with_one_output_does_not_serve_two() -> None:
    with pytest.raises(UsageError, match="has one output, and the bench file gives it 2"):
        Corner("one_output", MAIN, REMOTE)


def test_voltage_and_current_may_come_together_only() -> None:
    corner = Corner("apply")
    corner.talk.tell("APPL CH1,14.4,60")
    assert corner.talk.ask("APPL? CH1") == "14.400,60.000"
    corner.talk.tell("VOLT CH1,14.4")
    assert corner.talk.errors() == [UNDEFINED]


def test_a_semicolon_may_not_be_understood() -> None:
    corner = Corner("two_questions")
    corner.talk.tell("VOLT 14.4", "MEAS:VOLT?;:MEAS:CURR?")
    assert corner.talk.ask("SYST:ERR?").startswith("-101,")
    assert corner.talk.ask("VOLT?") == "14.400"


def test_one_question_may_answer_volts_amperes_and_watts() -> None:
    corner = Corner("everything_at_once")
    corner.talk.tell("VOLT CH1,14.4", "CURR CH1,60", "OUTP CH1,ON")
    corner.wait(1.0)
    volts, amperes, watts = map(float, corner.talk.ask("MEAS:ALL? CH1").split(","))
    assert volts == pytest.approx(14.4, abs=0.01)
    assert watts == pytest.approx(volts * amperes, abs=0.001)
    assert corner.talk.ask("MEAS:VOLT? CH1") == ""


def test_coarse_settings_are_rounded_to_hundredths() -> None:
    corner = Corner("coarse")
    corner.talk.tell("VOLT 14.404", "CURR 60.006")
    assert (corner.talk.ask("VOLT?"), corner.talk.ask("CURR?")) == ("14.40", "60.01")


def test_a_protection_may_be_set_that_cannot_be_asked() -> None:
    corner = Corner("protection_unread")
    corner.talk.tell("VOLT:PROT 16,(@1)")
    assert corner.talk.errors() == []
    assert corner.bench.connections.main_output.overvoltage_v == pytest.approx(16.0)
    assert corner.talk.ask("VOLT:PROT? (@1)") == ""
    assert corner.talk.errors() == [UNDEFINED]


@pytest.mark.parametrize(("sent", "kept"), [("16.2", "16.0"), ("16.3", "16.5")])
def test_a_protection_in_steps_keeps_another_level_than_was_sent(sent: str, kept: str) -> None:
    corner = Corner("protection_in_steps")
    corner.talk.tell(f"VOLT:PROT {sent},(@1)")
    assert corner.talk.ask("VOLT:PROT? (@1)") == kept


def test_a_supply_may_have_nothing_but_its_current_limit() -> None:
    corner = Corner("limit_only")
    corner.talk.tell("VOLT:PROT 16", "CURR:PROT 60", "OUTP:PROT:CLE")
    assert corner.talk.errors() == [UNDEFINED] * 3
    corner.talk.tell("VOLT 20", "CURR 60", "OUTP ON")
    corner.wait(1.0)
    assert corner.talk.ask("OUTP?") == "1", "no level is passed where there is none"


def tripped(form: str, volts: str, on: str) -> Corner:
    """A supply whose output has tripped over its voltage."""
    corner = Corner(form)
    protect = volts.replace("VOLT", "VOLT:PROT")
    corner.talk.tell(volts.format("14.4"), protect.format("10"), on)
    corner.wait(1.0)
    return corner


def test_a_trip_shows_in_the_questionable_register() -> None:
    corner = tripped("trip_in_register", "VOLT {},(@1)", "OUTP ON,(@1)")
    assert corner.talk.ask("STAT:QUES:COND?") == "1", "bit 0 is voltage (SCPI-99 20.3)"
    assert corner.talk.ask("VOLT:PROT:TRIP? (@1)") == ""


def test_a_trip_may_show_only_by_the_output_being_off_until_it_is_switched_off_and_on() -> None:
    corner = tripped("trip_unseen", "VOLT CH1,{}", "OUTP CH1,ON")
    assert corner.talk.ask("OUTP? CH1") == "OFF"
    assert corner.talk.ask("STAT:QUES:COND?") == "0"
    corner.talk.tell("OUTP CH1,ON")
    assert corner.talk.errors() == [-221]
    corner.talk.tell("VOLT:PROT CH1,18", "OUTP CH1,OFF", "OUTP CH1,ON")
    corner.wait(1.0)
    assert corner.talk.ask("OUTP? CH1") == "ON"


@pytest.mark.parametrize(("delay", "on"), [("0", "0"), ("0.5", "1")])
def test_a_short_over_current_trips_unless_the_protection_waits(delay: str, on: str) -> None:
    """The inrush of a start."""
    corner = Corner("protection_delay")
    corner.talk.tell("VOLT 14.4,(@1)", "CURR 60,(@1)", "CURR:PROT 5,(@1)", "CURR:PROT:STAT ON,(@1)")
    corner.talk.tell(f"CURR:PROT:DEL {delay},(@1)", "OUTP ON,(@1)")
    corner.wait(3.0)
    assert corner.talk.ask("OUTP? (@1)") == on


def test_remote_sense_is_chosen_while_the_output_is_off() -> None:
    corner = Corner("remote_sense")
    corner.talk.tell("VOLT:SENS EXT,(@1)")
    assert corner.talk.ask("VOLT:SENS? (@1)") == "EXT"
    corner.talk.tell("OUTP ON,(@1)", "VOLT:SENS INT,(@1)")
    assert corner.talk.errors() == [-221]
    assert corner.bench.connections.main_output.source().path_ohm == 0.0, "the voltage is held behind the lead"


def test_zero_may_mean_on() -> None:
    corner = Corner("zero_is_on")
    corner.talk.tell("VOLT 14.4,(@1)", "CURR 60,(@1)", "OUTP:STAN 0,(@1)")
    corner.wait(1.0)
    assert corner.talk.ask("OUTP:STAN? (@1)") == "0"
    assert float(corner.talk.ask("MEAS:VOLT? (@1)")) == pytest.approx(14.4, abs=0.01)
    corner.talk.tell("OUTP:STAN 1,(@1)")
    assert corner.talk.ask("OUTP:STAN? (@1)") == "1"
    assert not corner.bench.connections.main_output.on


def test_old_words_have_no_spaces_no_errors_and_units_in_the_answers() -> None:
    corner = Corner("old_words")
    corner.talk.tell("VSET1:14.4", "ISET1:60", "OUT1", "VOLT 12", "OUTP ON", "VSET1:99")
    corner.wait(1.0)
    assert (corner.talk.ask("VSET1?"), corner.talk.ask("ISET1?")) == ("14.40", "60.000")
    assert corner.talk.ask("VOUT1?") in {"14.39V", "14.40V", "14.41V"}
    assert corner.talk.ask("IOUT1?").endswith("A")
    assert corner.talk.ask("*ESR?") == corner.talk.ask("SYST:ERR?") == ""


def test_old_words_tell_the_state_in_the_bits_of_one_byte() -> None:
    corner = Corner("old_words")
    assert corner.talk.ask("STATUS?") == "\x01", "constant voltage, and off"
    corner.talk.tell("VSET1:14.4", "ISET1:60", "OUT1")
    corner.wait(1.0)
    assert corner.talk.ask("STATUS?") == "A", "bit 6 is the output"
    corner.talk.tell("OUT0")
    assert corner.talk.ask("STATUS?") == "\x01"


@pytest.mark.parametrize("form", DIALECTS)
def test_a_reset_switches_every_form_off(form: str) -> None:
    corner = Corner(form)
    corner.bench.connections.main_output.on = True
    corner.talk.tell("*RST")
    assert not corner.bench.connections.main_output.on
