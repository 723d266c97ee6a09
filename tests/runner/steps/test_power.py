"""power_on and power_off on the simulated bench, in virtual time: what goes over the wires, and when."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.sequence_file.bench_steps import PowerOff
from benchctl.errors import InstrumentError
from tests.runner.rig import INPUT_RELAYS, NO_CLAMP, POWER_ON, Rig, files, rig


def test_power_on_is_supply_then_turn_on_lead_then_idle(bench: Rig) -> None:
    bench.taps.sent.clear()
    began_s = bench.clock.now()
    bench.do(POWER_ON)
    switched = [text for role, text in bench.commands() if role == "supply" and "OUTP ON" in text]
    assert switched == ["INST:NSEL 1;:OUTP ON", "INST:NSEL 2;:OUTP ON"]
    assert bench.clock.now() - began_s >= 2.0  # the amplifier's turn-on delay
    assert bench.run.read("supply_current") == pytest.approx(1.6, abs=0.4)  # the plate's idle current
    assert bench.run.guard.energised


def test_power_on_limits_each_output_before_it_goes_on_and_sets_nothing_else(bench: Rig) -> None:
    """Over-voltage protection at what the amplifier bears (16 V), over-current protection a tenth above the limit."""
    bench.taps.sent.clear()
    bench.do(POWER_ON)
    main, lead = "INST:NSEL 1;", "INST:NSEL 2;"
    assert [(role, text) for role, text in bench.commands() if role != "oscilloscope"] == [
        ("generator", "OUTP OFF"),
        ("supply", main + ":SOUR:VOLT:PROT 16.0000;:SOUR:VOLT:PROT:STAT ON"),
        ("supply", main + ":SOUR:CURR:PROT 99.0000;:SOUR:CURR:PROT:STAT ON"),
        ("supply", main + ":SOUR:VOLT 14.4000"),
        ("supply", main + ":SOUR:CURR 90.0000"),
        ("supply", main + ":OUTP ON"),
        ("supply", lead + ":SOUR:VOLT:PROT 13.2000;:SOUR:VOLT:PROT:STAT ON"),
        ("supply", lead + ":SOUR:CURR:PROT 0.5500;:SOUR:CURR:PROT:STAT ON"),
        ("supply", lead + ":SOUR:VOLT 12.0000"),
        ("supply", lead + ":SOUR:CURR 0.5000"),
        ("supply", lead + ":OUTP ON"),
    ]


def test_power_on_protects_as_the_sequence_asks_where_it_does(bench: Rig) -> None:
    bench.taps.sent.clear()
    bench.do(POWER_ON.model_copy(update={"overvoltage_v": 15.5, "overcurrent_a": 60.0}))
    protections = [text for text in bench.taps.to("supply") if "NSEL 1" in text and ":PROT " in text]
    assert [float(text.split()[2].split(";")[0]) for text in protections] == [15.5, 60.0]


def test_power_on_begins_without_a_signal(bench: Rig) -> None:
    bench.taps.sent.clear()
    bench.do(POWER_ON)
    assert bench.commands()[0] == ("generator", "OUTP OFF")
    assert "OUTP ON" not in bench.taps.to("generator")


def test_power_off_is_turn_on_lead_then_supply_then_load(ready: Rig) -> None:
    ready.do(PowerOff())
    assert ready.commands() == [
        ("generator", "OUTP OFF"),
        ("supply", "INST:NSEL 2;:OUTP OFF"),
        ("supply", "INST:NSEL 1;:OUTP OFF"),
        ("load", "ROUT:OPEN (@101,102,103,104)"),
    ]
    assert not ready.run.guard.energised
    assert ready.run.conditions.load_ohm is None


def test_power_off_lets_the_amplifier_come_to_rest_before_its_supply_goes(ready: Rig) -> None:
    """Half a second for its relay and its output stage: common practice."""
    began_s = ready.clock.now()
    gone_s: list[float] = []

    def listen(role: str, text: str) -> None:
        if text == "INST:NSEL 1;:OUTP OFF":
            gone_s.append(ready.clock.now())

    ready.taps.on_send.append(listen)
    ready.do(PowerOff())
    assert gone_s == [pytest.approx(began_s + 0.5, abs=0.05)]


def test_a_supply_whose_voltage_does_not_come_is_an_error_with_advice(bench: Rig) -> None:
    bench.taps.forge("supply", "NSEL 1;:MEAS:VOLT?", "3.1")
    with pytest.raises(InstrumentError, match=r"its output does not reach 14.4 V within 5 s") as caught:
        bench.do(POWER_ON)
    assert "short" in caught.value.advice
    assert not [text for text in bench.taps.to("supply") if text == "INST:NSEL 2;:OUTP ON"]  # it was never woken


def test_an_idle_current_that_does_not_come_to_rest_is_an_error(bench: Rig) -> None:
    answers = iter(f"{1 + 7 * number % 50}\n".encode() for number in range(1000))
    bench.taps.forge("supply", "MEAS:CURR?", lambda: next(answers))
    with pytest.raises(InstrumentError, match="idle current does not come to rest within 30 s"):
        bench.do(POWER_ON)


@pytest.mark.parametrize(
    ("before", "then", "at_rest"),
    [
        ("10.0", "10.4", True),  # within a twentieth of each other
        ("10.0", "10.7", False),
        ("0.30", "0.34", True),  # within the supply's last digits, 0.05 A
        ("0.30", "0.36", False),
    ],
)
def test_idle_is_there_when_two_readings_a_second_apart_agree(
    tmp_path: Path, before: str, then: str, at_rest: bool
) -> None:
    """On a bench without a clamp, which would know better than forged readings."""
    step = POWER_ON.model_copy(update={"timeout_s": 0.5})
    with rig(tmp_path, files("power_off", bench=NO_CLAMP)) as bench:
        bench.begin()
        bench.taps.on_send.append(lambda _, text: _forge_once_woken(bench, text, before, then))
        if at_rest:
            bench.do(step)
        else:
            with pytest.raises(InstrumentError, match="does not come to rest"):
                bench.do(step)


def _forge_once_woken(bench: Rig, text: str, before: str, then: str) -> None:
    """The runner's reading after the lead is live, and every one a second or more after it."""
    if text == "INST:NSEL 2;:OUTP ON":
        woken_s = bench.clock.now() + 2.0  # the amplifier's turn-on delay

        def current() -> bytes:
            return (before if bench.clock.now() < woken_s + 0.9 else then).encode() + b"\n"

        bench.taps.forge("supply", "MEAS:CURR?", current)


@pytest.mark.parametrize(("reads", "is_there"), [("14.0", True), ("13.9", False)])
def test_the_supplys_voltage_is_there_within_three_per_cent(bench: Rig, reads: str, is_there: bool) -> None:
    bench.taps.forge("supply", "NSEL 1;:MEAS:VOLT?", reads)
    if is_there:
        bench.do(POWER_ON)
    else:
        with pytest.raises(InstrumentError, match=r"does not reach 14\.4 V"):
            bench.do(POWER_ON)


def test_protection_stands_clear_of_a_voltage_at_what_the_amplifier_bears(bench: Rig) -> None:
    """At 16 V, the most that it bears, protection at 16 V too would trip of itself."""
    bench.taps.sent.clear()
    bench.do(POWER_ON.model_copy(update={"voltage_v": 16.0}))
    (protection,) = [text for text in bench.taps.to("supply") if "NSEL 1" in text and ":VOLT:PROT " in text]
    assert float(protection.split()[2].split(";")[0]) == pytest.approx(1.03 * 16.0)


def test_an_amplifier_has_its_turn_on_delay_before_its_idle_is_looked_at(bench: Rig) -> None:
    times_s: dict[str, float] = {}
    bench.taps.on_send.append(lambda _, text: times_s.setdefault(text, bench.clock.now()))
    bench.do(POWER_ON)
    assert bench.clock.now() - times_s["INST:NSEL 2;:OUTP ON"] == pytest.approx(2.0 + 1.0, abs=0.2)


def test_where_a_relay_of_the_bank_feeds_the_turn_on_lead_it_closes_last_and_opens_first(tmp_path: Path) -> None:
    by_relay = {
        "remote_turn_on: {by: supply, output: remote, voltage: 12 V}": "remote_turn_on: {by: relay, relay: 109}"
    }
    with rig(tmp_path, files("power_off", bench=by_relay)) as bench:
        bench.begin()
        bench.taps.sent.clear()
        bench.do(POWER_ON)
        main = "INST:NSEL 1;"
        assert [(role, text) for role, text in bench.commands() if role != "oscilloscope"] == [
            ("generator", "OUTP OFF"),
            ("supply", main + ":SOUR:VOLT:PROT 16.0000;:SOUR:VOLT:PROT:STAT ON"),
            ("supply", main + ":SOUR:CURR:PROT 99.0000;:SOUR:CURR:PROT:STAT ON"),
            ("supply", main + ":SOUR:VOLT 14.4000"),
            ("supply", main + ":SOUR:CURR 90.0000"),
            ("supply", main + ":OUTP ON"),
            ("load", "ROUT:CLOS (@109)"),
        ]
        assert bench.connections.closed_relays == {109} | INPUT_RELAYS
        assert bench.run.read("supply_current") > 1.0
        bench.taps.sent.clear()
        bench.do(PowerOff())
        assert bench.commands() == [
            ("generator", "OUTP OFF"),
            ("load", "ROUT:OPEN (@109)"),
            ("supply", "INST:NSEL 1;:OUTP OFF"),
            ("load", "ROUT:OPEN (@101,102,103,104)"),
        ]
        assert bench.connections.closed_relays == INPUT_RELAYS


def test_the_turn_on_lead_can_be_a_persons_work(tmp_path: Path) -> None:
    by_hand = {"remote_turn_on: {by: supply, output: remote, voltage: 12 V}": "remote_turn_on: {by: hand}"}
    with rig(tmp_path, files("power_off", bench=by_hand)) as bench:
        bench.begin()
        bench.do(POWER_ON, PowerOff())
        assert bench.audience.requests == ["Connect the remote turn-on lead", "Disconnect the remote turn-on lead"]


def test_a_supply_that_reads_as_far_off_as_its_accuracy_lets_it_reaches_its_voltage(tmp_path: Path) -> None:
    """The voltage is set up to 5 % wrong and read up to 5 % wrong, so that 13.4 V may be read where 14.4 V were set."""
    accuracy = {
        "      voltage: {reading: 0.05 %, fixed: 10 mV}\n      current": (
            "      voltage: {reading: 5 %, fixed: 10 mV}\n      current"
        )
    }
    with rig(tmp_path, files("power_off", bench=accuracy)) as bench:
        bench.begin()
        bench.taps.forge("supply", "NSEL 1;:MEAS:VOLT?", "13.4")
        bench.do(POWER_ON)
        assert bench.run.guard.energised
