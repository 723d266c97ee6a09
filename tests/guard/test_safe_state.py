"""The safe state as it goes over the wires, whatever state the bench and its instruments are in."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Set
from benchctl.errors import OperatorStop
from benchctl.guard.confirmation import Confirmation, all_confirmed
from benchctl.guard.safe_state import ATTEMPTS, LATE_S, MOST_SLOW_S, carry_out, make_safe, safe_state_of
from benchctl.instruments.safe_part import SafePart
from tests.runner.rig import INPUT_RELAYS, POWER_ON, Rig, files, rig

ORDER = [
    ("generator", "OUTP OFF"),
    ("supply", "INST:NSEL 2;:OUTP OFF"),  # output 2 feeds the remote turn-on lead
    ("supply", "INST:NSEL 1;:OUTP OFF"),
    ("load", "ROUT:OPEN:ALL"),
]


@pytest.fixture
def energised(tmp_path: Path) -> Iterator[Rig]:
    """An amplifier that is on, loaded and driven."""
    with rig(tmp_path) as bench:
        bench.begin()
        bench.do(POWER_ON, Set(load_ohm=4.0, frequency_hz=1e3, level=Level(0.1)))
        yield bench


def made_safe(bench: Rig) -> tuple[Confirmation, ...]:
    """What came of it, in the time of the dry run."""
    return make_safe(bench.run.bench, rest=bench.clock.sleep)


def unconfirmed(confirmations: tuple[Confirmation, ...]) -> list[tuple[str, str]]:
    return [(each.instrument, each.part) for each in confirmations if not each.confirmed]


def test_the_order_is_generator_then_turn_on_lead_then_supply_then_load(energised: Rig) -> None:
    energised.taps.sent.clear()
    made_safe(energised)
    assert energised.taps.commands() == ORDER


def test_every_command_is_out_before_the_first_confirmation_is_asked_for(energised: Rig) -> None:
    energised.taps.sent.clear()
    made_safe(energised)
    assert energised.taps.sent[: len(ORDER)] == ORDER
    assert all("?" in text for _, text in energised.taps.sent[len(ORDER) :])


def test_afterwards_nothing_is_driven_powered_or_loaded_in_truth(energised: Rig) -> None:
    outputs = energised.connections.outputs
    assert outputs[1].live
    assert outputs[2].live
    assert energised.connections.closed_relays == {101, 102} | INPUT_RELAYS
    confirmations = made_safe(energised)
    assert all_confirmed(confirmations)
    assert not outputs[1].live
    assert not outputs[2].live
    assert energised.connections.closed_relays == set()


def test_each_part_is_confirmed_by_name(energised: Rig) -> None:
    assert [str(each) for each in made_safe(energised)] == [
        "generator: output off: confirmed",
        "supply: output 'remote' off: confirmed",
        "supply: output 'main' off: confirmed",
        "load: disconnected: confirmed",
    ]


def test_it_passes_an_interlock_that_is_open(energised: Rig) -> None:
    energised.run.interlock.open(OperatorStop("stopped"))
    energised.taps.sent.clear()
    assert all_confirmed(made_safe(energised))
    assert energised.taps.commands()[: len(ORDER)] == ORDER


def test_an_instrument_that_says_it_is_still_on_is_told_again_and_then_named(energised: Rig) -> None:
    energised.taps.forge("supply", "NSEL 1;:OUTP?", "1")
    energised.taps.sent.clear()
    confirmations = made_safe(energised)
    assert unconfirmed(confirmations) == [("supply", "output 'main' off")]
    assert energised.taps.to("supply").count("INST:NSEL 1;:OUTP OFF") == ATTEMPTS
    assert "NOT CONFIRMED (it answers '1' to INST:NSEL 1;:OUTP?)" in str(confirmations[2])


def test_an_output_that_goes_off_at_the_second_command_is_confirmed(energised: Rig) -> None:
    answers = iter([b"1\n", b"0\n"])
    energised.taps.forge("supply", "NSEL 1;:OUTP?", lambda: next(answers))
    assert all_confirmed(made_safe(energised))


@pytest.mark.parametrize("answer", ["", "yes", "2", "9.91E37"])
def test_an_answer_that_makes_no_sense_confirms_nothing(energised: Rig, answer: str) -> None:
    energised.taps.forge("generator", "OUTP?", answer)
    assert unconfirmed(made_safe(energised)) == [("generator", "output off")]


@pytest.mark.parametrize("answer", ["0", "+0", "OFF", "off"])
def test_off_is_understood_as_instruments_say_it(energised: Rig, answer: str) -> None:
    energised.taps.forge("generator", "OUTP?", answer)
    assert all_confirmed(made_safe(energised))


@pytest.mark.parametrize("answer", ["0,1,0,0,0,0", "0,0,0,0,0,1"])
def test_a_relay_that_sticks_is_not_confirmed(energised: Rig, answer: str) -> None:
    """Of a load, or of an input."""
    energised.taps.forge("load", "ROUT:CLOS?", answer)
    assert unconfirmed(made_safe(energised)) == [("load", "disconnected")]


@pytest.mark.parametrize(
    ("role", "lost"),
    [
        ("generator", [("generator", "output off")]),
        ("supply", [("supply", "output 'remote' off"), ("supply", "output 'main' off")]),
        ("load", [("load", "disconnected")]),
    ],
)
def test_one_instrument_that_is_gone_keeps_no_other_from_being_made_safe(
    energised: Rig, role: str, lost: list[tuple[str, str]]
) -> None:
    energised.taps.kill(role)
    energised.taps.sent.clear()
    assert unconfirmed(made_safe(energised)) == lost
    assert energised.taps.commands()[: len(ORDER)] == [each for each in ORDER if each[0] != role]


def test_a_link_that_broke_is_replaced_by_a_new_one(energised: Rig) -> None:
    """The first command goes into a link that is closed; the confirmation asks over a new one, and commands again."""
    for role in energised.run.bench.roles.values():
        role.session.close()
    assert all_confirmed(made_safe(energised))
    assert not energised.connections.outputs[1].live


def test_not_even_a_fault_of_the_program_keeps_the_next_command_from_going_out(energised: Rig) -> None:
    def fail(role: str, text: str) -> None:
        if role == "generator":
            raise ZeroDivisionError("a slip")

    energised.taps.on_send.append(fail)
    energised.taps.sent.clear()
    confirmations = made_safe(energised)
    assert unconfirmed(confirmations) == [("generator", "output off")]
    assert "a slip" in confirmations[0].detail
    assert [each for each in energised.taps.commands() if each[0] != "generator"] == ORDER[1:]


def test_a_relay_that_feeds_the_turn_on_lead_opens_before_the_supply_goes_off(tmp_path: Path) -> None:
    by_relay = {
        "remote_turn_on: {by: supply, output: remote, voltage: 12 V}": "remote_turn_on: {by: relay, relay: 109}"
    }
    with rig(tmp_path, files("power_off", bench=by_relay)) as bench:
        bench.begin()
        bench.do(POWER_ON)
        assert bench.connections.closed_relays == {109} | INPUT_RELAYS
        bench.taps.sent.clear()
        assert all_confirmed(made_safe(bench))
        assert bench.connections.closed_relays == set()
        assert bench.taps.commands() == [
            ("generator", "OUTP OFF"),
            ("load", "ROUT:OPEN (@109)"),
            ("supply", "INST:NSEL 1;:OUTP OFF"),
            ("supply", "INST:NSEL 2;:OUTP OFF"),
            ("load", "ROUT:OPEN:ALL"),
        ]
        bench.taps.forge("load", "ROUT:CLOS? (@109)", "1")
        assert unconfirmed(made_safe(bench)) == [("load", "turn-on lead off")]


def test_a_bench_without_a_role_is_made_safe_in_what_it_has(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        del bench.run.bench.roles["generator"]  # type: ignore[attr-defined]
        assert [each.instrument for each in made_safe(bench)] == ["supply", "supply", "load"]


class StuckAtFirst:
    """A wire whose first message is not through before another instrument has had its own."""

    def __init__(self, heard: list[str], through: threading.Event) -> None:
        self.heard = heard
        self.through = through

    def command_urgently(self, text: str) -> None:
        self.heard.append(text)
        if len(self.heard) == 1:
            assert self.through.wait(10.0)

    def ask_urgently(self, text: str) -> str:
        self.heard.append(text)
        return "0"


class Prompt:
    """A wire that lets the stuck one go on."""

    def __init__(self, through: threading.Event) -> None:
        self.through = through

    def command_urgently(self, text: str) -> None:
        self.through.set()

    def ask_urgently(self, text: str) -> str:
        return "0"


def test_no_output_of_an_instrument_is_chosen_in_the_middle_of_anothers_commands() -> None:
    """Where choosing an output is a message of its own, mixed messages would leave one output on, and unnoticed."""

    def part(number: int) -> SafePart:
        return SafePart("supply", "", f"output {number}", (f"NSEL {number}", "OUTP OFF"), (f"NSEL {number}", "OUTP?"))

    heard: list[str] = []
    through = threading.Event()
    plan = [part(2), part(1), SafePart("load", "", "disconnected", ("INP OFF",), ("INP?",))]
    confirmations = carry_out(plan, {"supply": StuckAtFirst(heard, through), "load": Prompt(through)})
    assert all_confirmed(confirmations)
    assert heard[:4] == ["NSEL 2", "OUTP OFF", "NSEL 1", "OUTP OFF"]
    questions = heard[4:]
    assert sorted(zip(questions[::2], questions[1::2], strict=True)) == [("NSEL 1", "OUTP?"), ("NSEL 2", "OUTP?")]


@pytest.mark.parametrize(("answer_s", "later_s"), [(0.001, 0.0), (0.3, 1.5), (2.0, MOST_SLOW_S)])
def test_a_slow_supply_is_late_only_after_its_answers_can_have_come_and_two_seconds_at_most(
    tmp_path: Path, answer_s: float, later_s: float
) -> None:
    """For each of two outputs its state and its current, and the answer that was under way: five."""
    with rig(tmp_path) as bench:
        for _ in range(15):
            bench.run.bench.supply.session.pace.note(answer_s)
        assert safe_state_of(bench.run.bench).late_after_s == pytest.approx(LATE_S + later_s)
