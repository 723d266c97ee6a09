"""At any end of a run the bench is made safe, the journal says how, and earlier figures are kept."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from benchctl.archive.tables.figures import read_figures
from benchctl.errors import (
    ArchiveError,
    ConnectionLost,
    GarbledAnswer,
    InstrumentError,
    LimitTripped,
    NotConnected,
    OperatorStop,
    SettingsLost,
)
from benchctl.guard.states import State
from benchctl.runner.plan import PlannedStep
from tests.faults.holding import DRIVEN, IDLE, LONG_HOLD, journal_ends_safe
from tests.guard.test_safe_state import ORDER
from tests.instruments.scripted import Conversation, ScriptedPeer
from tests.runner.rig import POWER_ON_LINE, Rig, files, rig

# Once every output is confirmed to be off, nobody feeds the supply's watchdog any more.
AT_THE_END = [*ORDER, ("supply", "OUTP:PROT:WDOG OFF")]
BURST = "measure_burst: {cycles: [8], every: 250 ms}"


def sent_after(bench: Rig, happening: Callable[[], object]) -> Callable[[], list[tuple[str, str]]]:
    """Schedule `happening` in the middle of the hold; returns the commands sent from then on."""
    marks: list[int] = []

    def mark_and_do() -> None:
        marks.append(len(bench.taps.sent))
        happening()

    bench.at(20.0, mark_and_do)
    return lambda: [(role, text) for role, text in bench.taps.sent[marks[0] :] if "?" not in text]


# -- a limit ---------------------------------------------------------------------------------------------------


def test_a_limit_set_low_ends_the_run_with_exit_code_4_and_keeps_what_was_measured(tmp_path: Path) -> None:
    limits = {"supply_current": "{above: 5 A, for: 400 ms}"}
    with rig(tmp_path, files(POWER_ON_LINE, IDLE, DRIVEN, LONG_HOLD, "power_off", limits=limits)) as bench:
        outcome = bench.execute()
        bench.run.recorder.finish()
        table = read_figures(bench.run.recorder.folder)
        (trip,) = bench.events("trip")
        assert journal_ends_safe(bench)
    assert outcome.exit_code == 4
    assert isinstance(outcome.error, LimitTripped)
    assert trip["limit"] == "supply_current"
    assert trip["value"] > 5.0
    assert outcome.error.time_s == trip["at_s"]
    assert {"idle_current", "dc_offset", "supply_voltage"} <= set(table["figure"])


def test_a_trip_ends_a_long_hold_at_once(tmp_path: Path) -> None:
    limits = {"supply_current": "{above: 5 A, for: 400 ms}"}
    with rig(tmp_path, files(POWER_ON_LINE, DRIVEN, LONG_HOLD, limits=limits)) as bench:
        outcome = bench.execute()
        (hold,) = [event for event in bench.events("step started") if "hold" in event["step"]]
        (stopping,) = bench.events("stopping")
        ended_s = bench.clock.now()
    assert isinstance(outcome.error, LimitTripped)
    assert ended_s - hold["time_s"] < 1.0
    assert stopping["time_s"] == stopping["at_s"] == outcome.error.time_s


def test_a_trip_in_the_middle_of_a_measurement_ends_it_and_leaves_no_half_figures(tmp_path: Path) -> None:
    limits = {"supply_current": "{above: 12 A, for: 200 ms}"}  # longer than a soft start
    steps = (POWER_ON_LINE, "set: {load: 4 ohm, frequency: 1 kHz}", "measure_continuous: {level: 700 mV, for: 10 s}")
    with rig(tmp_path, files(*steps, limits=limits)) as bench:
        outcome = bench.execute()
        assert journal_ends_safe(bench)
        started = [event["step"] for event in bench.events("step started")]
        finished = [event["step"] for event in bench.events("step finished")]
    assert outcome.exit_code == 4
    assert started[-1].endswith("measure_continuous")
    assert started[-1] not in finished
    assert outcome.figures == ()


def test_dc_at_an_output_trips_from_the_record_that_shows_it(tmp_path: Path) -> None:
    dc = {"offset: {A: 6 mV, B: -9 mV}": "offset: {A: 6 mV, B: -900 mV}"}
    these = files(POWER_ON_LINE, IDLE, limits={"output_offset": "{outside: 500 mV}"}, amplifier=dc)
    with rig(tmp_path, these) as bench:
        outcome = bench.execute()
        (trip,) = bench.events("trip")
        assert journal_ends_safe(bench)
    assert outcome.exit_code == 4
    assert (trip["limit"], trip["unit"]) == ("output_offset", "V")
    assert trip["value"] == pytest.approx(-0.9, abs=0.03)


def test_a_heatsink_beyond_its_plate_trips_under_a_sequence_without_limits(held: Rig) -> None:
    held.at(40.0, lambda: held.taps.forge("thermometer", "(@101)", "85.2"))
    outcome = held.execute()
    assert isinstance(outcome.error, LimitTripped)
    assert str(outcome.error).endswith("the limit: heatsink above 85 degC (of the amplifier file)")
    assert 40.0 <= outcome.error.time_s <= 41.1


def test_the_supply_folding_back_is_noticed_by_its_voltage(tmp_path: Path) -> None:
    """A current limit far too low for the drive: the voltage collapses, which a lower limit sees."""
    limits = {"supply_voltage": "{below: 11 V}"}
    power_on = "power_on: {voltage: 14.4 V, current_limit: 6 A}"
    with rig(tmp_path, files(power_on, DRIVEN, LONG_HOLD, limits=limits)) as bench:
        outcome = bench.execute()
    assert isinstance(outcome.error, LimitTripped)
    assert outcome.error.limit == "supply_voltage"


# -- the operator ----------------------------------------------------------------------------------------------


def test_the_operator_ends_a_run_at_once_with_exit_code_6(held: Rig) -> None:
    held.at(
        20.1, lambda: held.run.interlock.open(OperatorStop("stopped by Ctrl-C"))
    )  # between two readings of the guard
    outcome = held.execute()
    assert outcome.exit_code == 6
    assert held.events("stopping")[0]["time_s"] == pytest.approx(20.1, abs=1e-9), "the commands are out by then"
    assert held.run.clock.now() < 20.1 + 1.0, "and the supply's current is seen to have fallen"
    assert journal_ends_safe(held)
    assert held.events("run ended")[0]["reason"] == "stopped by Ctrl-C"


def test_after_the_interlock_opens_nothing_but_the_safe_state_reaches_an_instrument(held: Rig) -> None:
    commands = sent_after(held, lambda: held.run.interlock.open(OperatorStop("stopped")))
    held.execute()
    assert commands() == AT_THE_END


@pytest.mark.parametrize("words", ["SING", "SOUR:LIST:COUN INF", "WAV:SOUR CHAN2", "OUTP ON"])
def test_a_stop_at_any_command_of_a_measurement_lets_no_other_follow(tmp_path: Path, words: str) -> None:
    with rig(tmp_path, files(POWER_ON_LINE, "set: {load: 4 ohm, frequency: 1 kHz}", BURST, "power_off")) as bench:
        marks: list[int] = []

        def stop(_role: str, text: str) -> None:
            if text == words and not marks and bench.run.conditions.load_ohm is not None:
                marks.append(len(bench.taps.sent))
                bench.run.interlock.open(OperatorStop("stopped"))

        bench.taps.on_send.append(stop)
        outcome = bench.execute()
        assert journal_ends_safe(bench)
        assert [(role, text) for role, text in bench.taps.sent[marks[0] :] if "?" not in text] == AT_THE_END
    assert outcome.exit_code == 6


def test_the_first_reason_stands(held: Rig) -> None:
    def twice() -> None:
        held.run.interlock.open(OperatorStop("the operator"))
        held.run.interlock.open(InstrumentError("the supply"))

    held.at(20.0, twice)
    outcome = held.execute()
    assert str(outcome.error) == "the operator"


# -- an instrument ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["generator", "load", "supply"])
def test_an_instrument_that_dies_ends_the_run_with_exit_code_5_and_the_others_are_made_safe(
    held: Rig, role: str
) -> None:
    def die_and_be_needed() -> None:
        held.taps.kill(role)
        held.run.interlock.open(ConnectionLost("the instrument closed the connection", instrument=role))

    commands = sent_after(held, die_and_be_needed)
    outcome = held.execute()
    assert outcome.exit_code == 5
    assert not outcome.is_safe
    assert {each.instrument for each in outcome.confirmations if not each.confirmed} == {role}
    others = [each for each in ORDER if each[0] != role]
    assert [each for each in commands() if each[0] != role][: len(others)] == others
    assert held.run.guard.state is State.UNSAFE
    assert held.events("run ended")[0]["safe"] is False


# An oscilloscope of 8 bits that may be a tenth of a division off: a volt on the range of full power.
COARSE = {"bits: 12": "bits: 8", "voltage: {reading: 0.5 %, range: 0.1 %}": "voltage: {reading: 3 %, range: 1.25 %}"}
LOUD = "measure_continuous: {level: 700 mV, for: 3 s}"
LOUD_STEPS = (POWER_ON_LINE, "set: {load: 4 ohm, frequency: 1 kHz}", LOUD, LOUD, "power_off")


@pytest.mark.parametrize("offset_v", [-1.3, 1.6])
def test_dc_under_full_drive_trips_on_a_coarse_oscilloscope_too(tmp_path: Path, offset_v: float) -> None:
    """At idle it would be seen sooner; here the first record is one at full power, on a range of 80 V."""
    dc = {"offset: {A: 6 mV, B: -9 mV}": f"offset: {{A: 6 mV, B: {offset_v} V}}"}
    these = files(*LOUD_STEPS, limits={"output_offset": "{outside: 500 mV, for: 1 s}"}, bench=COARSE, amplifier=dc)
    with rig(tmp_path, these, takes_zeros=True) as bench:
        outcome = bench.execute()
        (trip,) = bench.events("trip")
        (first,) = (e for e in bench.events("step started") if e["step"].startswith("3 "))
        assert journal_ends_safe(bench)
    assert outcome.exit_code == 4
    assert trip["at_s"] - first["time_s"] < 6.0  # two records, and a second between them at least
    assert abs(trip["value"] - offset_v) < 0.6


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_healthy_amplifier_is_not_stopped_for_the_error_of_a_coarse_oscilloscope(tmp_path: Path, seed: int) -> None:
    edits = {**COARSE, "seed: 2150": f"seed: {seed}"}
    these = files(*LOUD_STEPS, limits={"output_offset": "{outside: 500 mV}"}, bench=edits)
    with rig(tmp_path, these) as bench:
        outcome = bench.execute()
        assert not bench.events("trip")
    assert outcome.error is None


def test_an_oscilloscope_that_dies_in_a_measurement_ends_the_run_on_a_safe_bench(tmp_path: Path) -> None:
    with rig(tmp_path, files(POWER_ON_LINE, IDLE, "set: {load: 4 ohm, frequency: 1 kHz}", BURST)) as bench:
        taken: list[str] = []

        def die_at_the_third_record_of_the_amplifier(role: str, text: str) -> None:
            is_on = bench.run.conditions.supply_set_v is not None  # before that the zero is measured
            taken.extend([text] if text == "SING" and is_on else [])
            if len(taken) == 3:  # the first two are of the amplifier at idle
                bench.taps.kill("oscilloscope")

        bench.taps.on_send.append(die_at_the_third_record_of_the_amplifier)
        outcome = bench.execute()
        assert journal_ends_safe(bench)
    assert outcome.exit_code == 5
    assert outcome.is_safe
    assert isinstance(outcome.error, NotConnected | ConnectionLost)
    assert outcome.error.instrument == "oscilloscope"
    assert [figure.name for figure in outcome.figures if figure.name == "idle_current"]  # measured before, and kept


def test_a_thermometer_whose_peer_closes_the_link_for_good_trips_what_it_watched(tmp_path: Path) -> None:
    """A real socket that closes in the middle of the run and refuses new connections."""
    closing: list[ScriptedPeer] = []

    def answer(conversation: Conversation, text: str) -> None:
        if text.startswith("MEAS") and bench.clock.now() > 60.0:
            closing[0].close()
            conversation.hang_up()
        elif "?" in text:
            conversation.reply(b'0,"No error"\n' if text == "SYST:ERR?" else b"23.0\n")

    these = files(POWER_ON_LINE, DRIVEN, LONG_HOLD)
    peer = ScriptedPeer(answer)
    closing.append(peer)
    with rig(tmp_path, these, addresses={"thermometer": peer.address}) as bench:
        outcome = bench.execute()
        assert journal_ends_safe(bench)
        failed = bench.events("reading failed")
    assert isinstance(outcome.error, LimitTripped)
    assert outcome.error.limit == "heatsink"
    assert outcome.error.value is None
    assert 60.0 < outcome.error.time_s < 62.0
    assert "thermometer" in failed[0]["reason"]


def test_an_instrument_that_was_switched_off_and_on_ends_the_run(tmp_path: Path) -> None:
    """It has lost its settings, including its protection. The link broke, and its status says power on: bit 7."""
    with rig(tmp_path, files(POWER_ON_LINE, DRIVEN, "hold: {for: 100 s}", "set: {level: 400 mV}")) as bench:

        def power_cycle() -> None:
            bench.taps.forge("generator", "*ESR?", "128")
            bench.run.bench.generator.session.close()

        bench.at(20.0, power_cycle)
        outcome = bench.execute()
        assert "SOUR:VOLT 0.400000" not in bench.taps.to("generator")
    assert outcome.exit_code == 5
    assert "was switched off and on during the run; its settings are lost" in str(outcome.error)
    assert outcome.is_safe


def test_a_supply_that_restarted_is_not_taken_for_one_that_missed_a_reading(held: Rig) -> None:
    """The guard notices first; a limit that may be passed for 500 ms must not hide it."""

    def power_cycle() -> None:
        held.taps.forge("supply", "*ESR?", "128")
        held.run.bench.supply.session.close()

    held.at(20.0, power_cycle)
    outcome = held.execute()
    assert isinstance(outcome.error, SettingsLost)
    assert held.run.clock.now() < 22.0
    assert "switched off and on during the run" in held.events("run ended")[0]["reason"]


def test_a_bench_that_is_not_safe_to_begin_with_is_not_energised(held: Rig) -> None:
    held.taps.forge("supply", "OUTP?", "1")
    outcome = held.execute()
    assert outcome.exit_code == 5
    assert "not in the safe state to begin with" in str(outcome.error)
    assert not [text for _, text in held.taps.commands() if text.endswith("OUTP ON")]


def test_an_unconfirmed_safe_state_counts_for_more_than_the_limit_that_tripped(held: Rig) -> None:
    def trip_with_a_relay_stuck() -> None:
        held.taps.forge("load", "ROUT:CLOS?", "1,0,0,0,0,0")
        held.taps.forge("thermometer", "(@101)", "99")

    held.at(20.0, trip_with_a_relay_stuck)
    outcome = held.execute()
    assert isinstance(outcome.error, LimitTripped)
    assert outcome.exit_code == 5
    assert [str(each) for each in outcome.confirmations if not each.confirmed] == [
        "load: disconnected: NOT CONFIRMED (it answers '1,0,0,0,0,0' to ROUT:CLOS? (@101,102,103,104,111,112))"
    ]


def test_a_finished_run_whose_bench_does_not_confirm_ends_with_exit_code_5(tmp_path: Path) -> None:
    with rig(tmp_path, files(POWER_ON_LINE, "power_off")) as bench:
        every = "ROUT:CLOS? (@101,102,103,104,111,112)"
        bench.at(3.0, lambda: bench.taps.forge("load", every, "1,0,0,0,0,0"))
        outcome = bench.execute()
        assert bench.events("run ended")[0]["safe"] is False
    assert outcome.error is None
    assert outcome.exit_code == 5


# -- the program and its disk ----------------------------------------------------------------------------------


def test_a_fault_of_the_program_makes_the_bench_safe_and_is_raised(held: Rig) -> None:
    def slip(index: int, planned: PlannedStep) -> None:
        if planned.step.kind == "hold":
            raise ZeroDivisionError("a slip")

    held.audience.step_started = slip  # type: ignore[method-assign]
    with pytest.raises(ZeroDivisionError, match="a slip"):
        held.execute()
    assert not held.connections.outputs[1].live
    assert journal_ends_safe(held)
    assert "ZeroDivisionError('a slip')" in held.events("run ended")[0]["reason"]


def test_a_keyboard_interrupt_makes_the_bench_safe_and_is_raised(held: Rig) -> None:
    def interrupt(index: int, planned: PlannedStep) -> None:
        if planned.step.kind == "hold":
            raise KeyboardInterrupt

    held.audience.step_started = interrupt  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt):
        held.execute()
    assert not held.connections.outputs[1].live


def test_a_fault_in_the_guards_thread_makes_the_bench_safe_and_is_raised(held: Rig) -> None:
    def slip(time_s: float, readings: object) -> None:
        if time_s > 30.0:
            raise ZeroDivisionError("a slip of the guard")

    held.run.guard._trend = slip
    with pytest.raises(ZeroDivisionError, match="a slip of the guard"):
        held.execute()
    assert held.run.clock.now() < 31.0
    assert not held.connections.outputs[1].live


def test_a_full_disk_ends_the_run_in_the_safe_state(held: Rig) -> None:
    """The system refuses to let any file of this process grow, as a full disk would."""
    resource = pytest.importorskip("resource", reason="limits on file size are a POSIX matter")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    held.at(20.0, lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (100, hard)))
    try:
        outcome = held.execute()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert isinstance(outcome.error, ArchiveError)
    assert outcome.exit_code == 5
    assert outcome.is_safe
    assert held.run.clock.now() < 21.0
    assert not held.connections.outputs[1].live


def test_a_journal_that_cannot_be_written_stops_the_runner_before_its_next_command(held: Rig) -> None:
    """The runner does nothing that is not in the journal."""
    held.at(20.0, held.run.recorder.folder.journal.unlink)
    held.at(21.0, lambda: held.taps.forge("thermometer", "(@102)", "9.91E37"))  # a failed reading is an event
    outcome = held.execute()
    assert isinstance(outcome.error, ArchiveError)
    assert outcome.is_safe
    assert held.run.clock.now() < 23.0


def test_garbage_from_the_supply_while_nothing_limits_it_is_a_reason_only_where_a_step_needs_it(
    tmp_path: Path,
) -> None:
    """measure_idle averages the supply's readings, so it cannot go on without them; the error names the question."""
    unlimited = {"  supply_current: {above: 110 A, for: 500 ms}\n": ""}
    with rig(tmp_path, files(POWER_ON_LINE, "hold: {for: 10 s}", IDLE, bench=unlimited)) as bench:
        bench.at(12.5, lambda: bench.taps.forge("supply", "MEAS:CURR?", "!!"))
        outcome = bench.execute()
        assert bench.clock.now() > 13.0
    assert isinstance(outcome.error, GarbledAnswer)
    missing = {each.instrument for each in outcome.confirmations if not each.confirmed}
    assert missing == {"supply"}, "it says that it is off, but nobody can read its current"
    assert "MEAS:CURR?" in str(outcome.error)
