"""An instrument is switched off and on in the middle of a step: with `after_power_cycle: repeat the step` the bench is
made safe and set up again, as for a run that is resumed, and the step starts again."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import entries_of
from benchctl.archive.journal.events import STEP_BEGINS_ANEW, STEP_GIVEN_UP
from benchctl.archive.journal.journal import Event, read_journal
from benchctl.archive.verify import verify
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.sequence_file.sequence import Sequence as SequenceFile
from benchctl.errors import OperatorStop
from benchctl.launch.resume import resume
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.sections.event_tables import steps_table
from benchctl.runner.acting.run import Files, Run
from benchctl.runner.engine.power_cycle import REPEATS_A_STEP, RETURN_S
from tests.faults.dry import Ended, Meddler, dry_run, dry_run_of
from tests.faults.test_contact import Figures, figures_of
from tests.runner.rig import POWER_ON_LINE, amplifier_file, bench_file, document, sequence_text

ROLES = ("generator", "oscilloscope", "load", "supply", "thermometer")
# In the middle of the continuous measurement of the brief sequence.
BUSY = "at: 8 s"


@pytest.fixture(scope="module")
def calm(tmp_path_factory: pytest.TempPathFactory) -> Figures:
    """The figures of a run in which nothing goes wrong."""
    return figures_of(dry_run(tmp_path_factory.mktemp("calm")))


def files_of(*steps: str, faults: Sequence[str], edits: dict[str, str] | None = None) -> Files:
    """A sequence of these steps that repeats them, on the workshop's bench with these faults."""
    text = sequence_text(*steps) + "after_power_cycle: repeat the step\n"
    listed = "".join(f"    - {fault}\n" for fault in faults)
    bench: Bench = bench_file({"  seed: 2150\n": f"  seed: 2150\n  faults:\n{listed}", **(edits or {})})
    return Files(document(text, "sequence", SequenceFile), bench, amplifier_file())


def assert_same(one: Figures, other: Figures) -> None:
    """The same figures, each within the uncertainties of both; a figure without uncertainty is noise and differs each
    time.

    Two values with k = 2 are farther apart than both once in 200, and here are hundreds: at k = 3, once in 45 000.
    """
    assert one.keys() == other.keys()
    for name, (value, uncertainty) in one.items():
        if uncertainty:
            assert abs(value - other[name][0]) <= 1.5 * (uncertainty + other[name][1]), name


def kinds(events: Sequence[Event]) -> list[str]:
    return [event["event"] for event in events]


def of_kind(ended: Ended, kind: str) -> list[Event]:
    return [event for event in ended.events if event["event"] == kind]


class TrueRecords(Meddler):
    """Notes the supply's and the generator's state when each part of a run is about to begin, and may change something
    then."""

    def __init__(self, meddle: Callable[[Run], None] = lambda _: None) -> None:
        super().__init__()
        self.journals: list[list[str]] = []
        self._at_the_second_part = meddle
        self.runs: list[Run] = []

    def started(self, checked: object, run: Run) -> None:
        super().started(checked, run)
        journal = RunFolder.open(run.recorder.folder.path).journal
        self.journals.append(re.findall(r'"event": "([^"]+)"', journal.read_text()))
        self.runs.append(run)
        if len(self.runs) == 2:
            self._at_the_second_part(self.runs[0])


# -- it starts again --------------------------------------------------------------------------------------------


# Back at once, one after the other in the same step; or after the time that it needs to start.
TWO_AT_ONCE = {"generator": BUSY, "load": "at: 16.2 s"}
SLOW = f"{BUSY}, for: 20 s"


def power_cycles(when: dict[str, str], folder: Path) -> Ended:
    """The brief sequence with a power cycle of each of these instruments."""
    faults = (f"{{kind: power cycle, instrument: {role}, {at}}}" for role, at in when.items())
    return dry_run(folder, *faults, repeats=True)


@pytest.fixture(scope="module")
def slow_supply(tmp_path_factory: pytest.TempPathFactory) -> Ended:
    return power_cycles({"supply": SLOW}, tmp_path_factory.mktemp("slow_supply"))


@pytest.mark.parametrize(
    "when", [TWO_AT_ONCE, {"oscilloscope": BUSY}, {"thermometer": SLOW}, {"supply": SLOW}], ids=" ".join
)
def test_the_step_begins_anew_and_the_run_gives_what_it_would_have_given(
    tmp_path: Path, calm: Figures, slow_supply: Ended, when: dict[str, str]
) -> None:
    """Whether the instrument is back at once or needs time to start, and whichever thread uses it first."""
    ended = slow_supply if "supply" in when else power_cycles(when, tmp_path)
    assert (ended.exit_code, ended.still_on) == (0, ())
    assert_same(figures_of(ended), calm)
    given_up = [(event["step"], event["lost_power"], event["times"]) for event in of_kind(ended, STEP_GIVEN_UP)]
    assert given_up == [("4 measure_continuous", [role], times) for times, role in enumerate(when, start=1)]


def test_nothing_is_on_and_the_journal_has_it_before_the_first_command(tmp_path: Path) -> None:
    """Every instrument confirms the safe state before the step is given up, and the journal has this before the next
    question."""
    true_records = TrueRecords()
    ended = dry_run_of(short(f"{{kind: power cycle, instrument: load, {BUSY}}}"), tmp_path, true_records)
    assert ended.exit_code == 0
    told = true_records.journals[1]
    assert told[-3:] == [STEP_GIVEN_UP, "note", STEP_BEGINS_ANEW]
    assert told[told.index(STEP_GIVEN_UP) - 1] == "safe state"
    safe_state = of_kind(ended, "safe state")[0]
    assert all(part["confirmed"] for part in safe_state["instruments"])


def short(*faults: str) -> Files:
    steps = ("measure_idle: {for: 1 s}", "set: {load: 4 ohm, frequency: 1 kHz}")
    return files_of(POWER_ON_LINE, *steps, "measure_continuous: {level: 300 mV, for: 3 s}", "power_off", faults=faults)


def test_a_supply_that_lost_its_power_gives_it_again_as_power_on_does(tmp_path: Path) -> None:
    """With the delay of the amplifier's turn-on lead, and idle before anything sounds."""
    ended = dry_run_of(short(f"{{kind: power cycle, instrument: supply, {BUSY}}}"), tmp_path)
    assert ended.exit_code == 0
    (again,) = of_kind(ended, STEP_BEGINS_ANEW)
    started = next(event for event in of_kind(ended, "step started") if event["number"] > again["number"])
    assert started["step"] == "4 measure_continuous"
    assert started["time_s"] - again["time_s"] >= 2.0 + 1.0  # the lead's delay, and two readings of idle


def test_a_switch_on_that_needed_care_needs_it_again(tmp_path: Path) -> None:
    ramp = "ramp_supply: {voltage: 14.4 V, current_limit: 5 A, step: 4 V, dwell: 2 s}"
    faults = ["{kind: power cycle, instrument: generator, at: 25 s}"]
    files = files_of(ramp, "hold: {for: 30 s}", "measure_idle: {for: 1 s}", "power_off", faults=faults)
    ended = dry_run_of(files, tmp_path)
    assert ended.exit_code == 0
    (again,) = of_kind(ended, STEP_BEGINS_ANEW)
    started = [event for event in of_kind(ended, "step started") if event["step"] == "2 hold"]
    assert started[1]["time_s"] - again["time_s"] > 10.0


def test_a_long_hold_ends_as_soon_as_the_guard_notices(tmp_path: Path) -> None:
    """Only the guard reads the supply, five times a second."""
    files = files_of(
        POWER_ON_LINE, "hold: {for: 30 s}", "power_off", faults=["{kind: power cycle, instrument: supply, at: 12 s}"]
    )
    ended = dry_run_of(files, tmp_path)
    assert ended.exit_code == 0
    (given_up,) = of_kind(ended, STEP_GIVEN_UP)
    assert given_up["time_s"] < 13.0


def test_a_step_that_switches_everything_off_switches_nothing_on_to_begin_anew(tmp_path: Path) -> None:
    files = files_of(POWER_ON_LINE, "power_off", faults=["{kind: power cycle, instrument: generator, exchange: 25}"])
    ended = dry_run_of(files, tmp_path)
    assert ended.exit_code == 0
    (given_up,), (again,) = of_kind(ended, STEP_GIVEN_UP), of_kind(ended, STEP_BEGINS_ANEW)
    assert given_up["step"] == again["step"] == "2 power_off"
    assert of_kind(ended, "step started")[-1]["time_s"] == again["time_s"]


def test_two_runs_with_the_same_power_cycle_write_the_same_bytes(tmp_path: Path, slow_supply: Ended) -> None:
    runs = [slow_supply, power_cycles({"supply": SLOW}, tmp_path)]
    folders = [ended.result.folder for ended in runs if ended.result]
    for file in ("figures.csv", "trend.csv"):
        assert (folders[0] / file).read_bytes() == (folders[1] / file).read_bytes()
    # A simulated instrument's port is the system's choice, and the hash of a line that tells of it differs with it.
    told = [json.dumps(read_journal(folder / "journal.jsonl").events) for folder in folders]
    journals = [re.sub(r"::[0-9]+::", "::port::", text) for text in told]
    assert journals[0] == journals[1]


# -- what the interrupted attempt found ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def interrupted(tmp_path_factory: pytest.TempPathFactory) -> Ended:
    """The first of two burst lengths has its figures when the oscilloscope loses its power."""
    steps = (
        "set: {load: 4 ohm, frequency: 1 kHz}",
        "measure_burst: {cycles: [1, 8], every: 250 ms, from: 400 mV, to: 1.2 V}",
    )
    files = files_of(
        POWER_ON_LINE, *steps, "power_off", faults=["{kind: power cycle, instrument: oscilloscope, at: 17.5 s}"]
    )
    return dry_run_of(files, tmp_path_factory.mktemp("interrupted"))


def test_what_it_had_found_is_kept_as_what_happened_and_is_no_result(interrupted: Ended) -> None:
    """The journal has the figures, and every burst length is measured anew; no figure is in the table twice."""
    assert interrupted.exit_code == 0
    assert interrupted.result is not None
    (given_up,) = of_kind(interrupted, STEP_GIVEN_UP)
    told = [event for event in of_kind(interrupted, "figures") if event["analysis"] == "burst"]
    lengths = [{figure["burst_cycles"] for figure in event["figures"]} for event in told]
    assert lengths == [{1}, {1}, {8}]
    assert told[0]["number"] in given_up["no_results"]
    results = [entry.number for entry in entries_of(interrupted.events) if entry.analysis == "burst"]
    assert results == [event["number"] for event in told[1:]]


def test_a_folder_with_an_interrupted_attempt_can_be_verified(interrupted: Ended) -> None:
    assert interrupted.result is not None
    found = verify(interrupted.result.folder)
    assert found.agrees
    assert found.unused_captures


def test_the_report_says_which_attempt_was_given_up_and_why(interrupted: Ended) -> None:
    assert interrupted.result is not None
    table = steps_table(read_run_record(interrupted.result.folder))
    assert table is not None
    result = [head.text for head in table.heads].index("result")
    bursts = [row[result].text for row in table.rows if row[1].text == "3 measure_burst"]
    assert bursts[0] == "given up, and started again: oscilloscope lost power"
    assert "figures" in bursts[1]


def test_a_resumed_run_takes_none_of_it_for_a_result_either(interrupted: Ended, tmp_path: Path) -> None:
    """Killed in the second attempt: figures of the first attempt do not count for the second."""
    assert interrupted.result is not None
    whole, killed = interrupted.result.folder, tmp_path / "killed"
    shutil.copytree(whole, killed)
    lines = (whole / "journal.jsonl").read_text().splitlines(keepends=True)
    (killed / "journal.jsonl").write_text("".join(lines[: kinds(interrupted.events).index(STEP_BEGINS_ANEW) + 2]))
    bench = killed / "inputs" / "bench.yaml"
    bench.write_text(bench.read_text().split("  faults:\n", maxsplit=1)[0])
    resumed = resume(killed, Meddler(), accepted="the oscilloscope has a mains lead of its own now")
    assert resumed.outcome.exit_code == 0
    assert_same(figures_of(replace(interrupted, result=resumed)), figures_of(interrupted))


# -- it does not start again ------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ROLES)
def test_by_default_the_run_ends_by_the_name_of_the_instrument(tmp_path: Path, role: str) -> None:
    """IEEE 488.2 11.5.1, the power-on bit: its settings are lost, so nothing that it says belongs to this run."""
    ended = dry_run(tmp_path, f"{{kind: power cycle, instrument: {role}, {BUSY}}}")
    assert (ended.exit_code, ended.still_on) == (5, ())
    assert f"{role} at TCPIP::127.0.0.1::" in ended.said
    assert "was switched off and on during the run; its settings are lost" in ended.said
    assert of_kind(ended, STEP_GIVEN_UP) == []


def test_a_step_begins_anew_twice_and_then_the_run_ends(tmp_path: Path) -> None:
    """A loose plug must be repaired by a person."""
    faults = [f"{{kind: power cycle, instrument: generator, at: {at} s}}" for at in (8, 16.2, 24.4)]
    ended = dry_run(tmp_path, *faults, repeats=True)
    assert (ended.exit_code, ended.still_on) == (5, ())
    assert [event["times"] for event in of_kind(ended, STEP_GIVEN_UP)] == list(range(1, REPEATS_A_STEP + 1))
    assert "4 measure_continuous was started again 2 times already" in of_kind(ended, "note")[-1]["text"]
    assert "its settings are lost" in ended.said


def test_contact_that_was_lost_without_a_power_cycle_ends_the_run(tmp_path: Path) -> None:
    """IEEE 488.2 11.5.1: an instrument that was switched on says so; one that does not has kept its settings."""
    ended = dry_run(tmp_path, f"{{kind: no answer, instrument: oscilloscope, {BUSY}, for: 10 s}}", repeats=True)
    assert (ended.exit_code, ended.still_on) == (5, ())
    assert of_kind(ended, STEP_GIVEN_UP) == []
    assert ended.events[-1]["time_s"] < 5.0 + 10.0 + 10.0


def test_an_instrument_that_stays_away_is_not_waited_for_without_end(tmp_path: Path) -> None:
    """And a person is told at once what to do by hand, not after the wait."""
    meddler = Meddler()
    fault = f"{{kind: power cycle, instrument: supply, {BUSY}, for: 1 h}}"
    ended = dry_run(tmp_path, fault, meddler=meddler, repeats=True)
    assert ended.exit_code == 5
    assert RETURN_S <= ended.events[-1]["time_s"] - 5.0 < RETURN_S + 20.0
    shouted, waiting = meddler.notes[-2:]
    assert re.match(r"NOT SAFE: supply: output '\w+' off: NOT CONFIRMED .*By hand, now: open the switch", shouted)
    assert "supply cannot be reached: waiting up to 120 s for a start-up" in waiting
    assert next(event for event in ended.events if event.get("text") == waiting)["time_s"] < 10.0


def test_a_limit_that_was_passed_is_no_power_cycle(tmp_path: Path) -> None:
    """The workshop is too hot, and then an instrument loses its power too."""
    hot = {
        "limits:                               #": "limits:\n  ambient: {above: 30 degC}  #",
        "seed: 2150": "seed: 2150\n  ambient: 40 degC",
    }
    files = files_of(
        POWER_ON_LINE, "power_off", faults=[f"{{kind: power cycle, instrument: supply, {BUSY}}}"], edits=hot
    )
    ended = dry_run_of(files, tmp_path)
    assert (ended.exit_code, ended.still_on) == (4, ())
    assert of_kind(ended, STEP_GIVEN_UP) == []


def test_a_bench_that_cannot_be_set_up_again_ends_the_run(tmp_path: Path) -> None:
    """The supply goes silent while the amplifier is being switched on again: no step is under way that could start
    again."""
    faults = (
        f"{{kind: power cycle, instrument: supply, {BUSY}}}",
        "{kind: no answer, instrument: supply, at: 9 s, for: 1 h}",
    )
    ended = dry_run(tmp_path, *faults, repeats=True)
    assert (ended.exit_code, ended.still_on) in {(5, ()), (4, ())}
    assert kinds(ended.events).count(STEP_BEGINS_ANEW) == 1
    assert "step started" not in kinds(ended.events)[kinds(ended.events).index(STEP_BEGINS_ANEW) :]


def test_nothing_is_switched_on_again_while_a_temperature_cannot_be_told(tmp_path: Path) -> None:
    faults = (f"{{kind: power cycle, instrument: generator, {BUSY}}}", "{kind: sensor open, at: 7.05 s}")
    ended = dry_run(tmp_path, *faults, repeats=True)
    assert ended.exit_code in {4, 5}
    assert ended.still_on == ()
    again = of_kind(ended, STEP_BEGINS_ANEW)
    assert ended.events[-1]["time_s"] - again[0]["time_s"] < 0.5  # shorter than any switching on


def test_a_person_who_stops_the_run_while_an_instrument_is_waited_for_is_heard(tmp_path: Path) -> None:
    class Impatient(Meddler):
        def note(self, text: str) -> None:
            if "waiting up to" in text:
                self.run.interlock.open(OperatorStop("stopped by Ctrl-C"))

    fault = f"{{kind: power cycle, instrument: oscilloscope, {BUSY}, for: 30 s}}"
    ended = dry_run(tmp_path, fault, meddler=Impatient(), repeats=True)
    assert ended.events[-1]["event"] == "run ended"
    assert ended.events[-1]["time_s"] < 15.0
    assert of_kind(ended, STEP_GIVEN_UP) == []


def test_a_person_who_stops_the_run_between_its_parts_is_heard(tmp_path: Path) -> None:
    """Ctrl-C reaches the interlock of the part that has just ended."""
    true_records = TrueRecords(lambda first: first.interlock.open(OperatorStop("stopped by Ctrl-C")))
    ended = dry_run_of(short(f"{{kind: power cycle, instrument: load, {BUSY}}}"), tmp_path, true_records)
    assert (ended.exit_code, ended.still_on) == (6, ())
    assert kinds(ended.events)[-4:] == [STEP_BEGINS_ANEW, "stopping", "safe state", "run ended"]
