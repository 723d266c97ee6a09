"""Dry runs on benches without thermometer, without load instrument, with one probe: what is asked, done and told."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from benchctl.archive.journal.journal import read_journal
from benchctl.archive.verify import verify
from benchctl.launch.run import Documents, Result, run
from benchctl.measure.budget.figure import Figure
from benchctl.report.page import write_report
from benchctl.report.reading.run_record import read_run_record
from benchctl.runner.acting.run import Run
from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.engine.progress import progress_of
from tests.runner.ordinary import LOADS_BY_HAND, NO_THERMOMETER, ONE_PROBE, ONLY_A, connected
from tests.runner.rig import POWER_ON_LINE, Audience, Edits, files, rig, sequence_text, shipped

MISMATCHED = {"noise: 0.3 mV": "noise: 0.3 mV\n  faults: {gain_mismatch: {B: -1.5 dB}}"}
DC_AT_B = {"noise: 0.3 mV": "noise: 0.3 mV\n  faults: {dc_on_output: {B: 2 V}}"}
NO_LEAD = {"remote_turn_on: {voltage: 12 V, delay: 2 s}\n": ""}
LEAD_BY_HAND = {"remote_turn_on: {by: supply, output: remote, voltage: 12 V}": "remote_turn_on: {by: hand}"}
LOADED = "set: {load: 4 ohm, frequency: 1 kHz}"
TONE = "measure_continuous: {level: 200 mV, for: 1 s}"


class Onlooker(Audience):
    def started(self, checked: Preflight, run: Run) -> None:
        """Nothing to remember."""


@dataclass(frozen=True)
class Dry:
    result: Result
    notes: list[str]

    def figures(self, name: str) -> dict[str, Figure]:
        """Channel -> the last figure of this name."""
        return {figure.channel: figure for figure in self.result.outcome.figures if figure.name == name}

    @property
    def asked(self) -> list[str]:
        """What a person would have been asked for, in order."""
        return [text.partition(": ")[2] for text in self.notes if text.startswith("a person would have to act: ")]

    @property
    def page(self) -> str:
        return write_report(read_run_record(self.result.folder)).read_text(encoding="utf-8")

    def events(self, kind: str) -> tuple[dict[str, object], ...]:
        return tuple(dict(event) for event in read_journal(self.result.folder / "journal.jsonl").of_kind(kind))


def dry(folder: Path, *steps: str, bench: Edits, amplifier: Edits | None = None, limits: str = "") -> Dry:
    text = sequence_text(POWER_ON_LINE, *steps, "power_off", limits={"output_offset": limits} if limits else None)
    (folder / "sequence.yaml").write_text(text)
    (folder / "bench.yaml").write_text(shipped("benches", "workshop", bench))
    (folder / "unit.yaml").write_text(shipped("amplifiers", "hx2150", amplifier))
    documents = Documents(folder / "sequence.yaml", folder / "bench.yaml", folder / "unit.yaml")
    onlooker = Onlooker()
    return Dry(run(documents, onlooker, out=folder, dry_run=True, accepted="felt by hand"), onlooker.notes)


@pytest.fixture(scope="module")
def unwatched(tmp_path_factory: pytest.TempPathFactory) -> Dry:
    return dry(
        tmp_path_factory.mktemp("run"),
        LOADED,
        "cool: {heatsink: below 45 degC, without_thermometer: 3 min}",
        "soak: {for: 1 h, level: 10 % rated, heatsink: below 80 degC, without_thermometer: 2 min, "
        "expect: {soak_time: above 59 min}}",
        bench=NO_THERMOMETER,
    )


def test_a_stated_time_takes_the_place_of_a_temperature(unwatched: Dry) -> None:
    assert unwatched.result.outcome.error is None
    assert any("to be below 45 degC: the step waits 3 min instead" in text for text in unwatched.notes)
    assert any("the drive ends after 2 min at the latest" in text for text in unwatched.notes)


def test_a_soak_that_nothing_watched_lasted_at_least_so_long_and_fails_no_time(unwatched: Dry) -> None:
    lasted = unwatched.figures("soak_time")[""]
    assert (lasted.bound, lasted.verdict) == ("at least", "inconclusive")
    assert lasted.value == pytest.approx(120.0, abs=1.0)


def test_an_unwatched_heatsink_has_no_figures(unwatched: Dry) -> None:
    assert not unwatched.figures("heatsink_temperature")
    assert not unwatched.figures("final_heatsink_temperature")
    assert unwatched.figures("average_power")
    assert verify(unwatched.result.folder).agrees


def test_the_page_says_at_its_head_that_the_heatsink_was_not_watched(unwatched: Dry) -> None:
    head, _, rest = unwatched.page.partition("Limits watched")
    assert "Not watched in this run" in head
    assert "nothing watches the heatsink" in head
    assert "The heatsink was not watched." in head
    assert "could not trip" in rest
    (event,) = unwatched.events("not watched")
    assert "nothing watches the heatsink" in str(event["texts"])


@pytest.fixture(scope="module")
def moved(tmp_path_factory: pytest.TempPathFactory) -> Dry:
    steps = (
        LOADED,
        "measure_response: {from: 500 Hz, to: 2 kHz}",
        TONE,
        "repeat: {times: 2}\n    steps:\n      - measure_idle: {for: 1 s}",
    )
    return dry(tmp_path_factory.mktemp("run"), *steps, bench=ONE_PROBE, amplifier=MISMATCHED)


def test_the_probe_is_moved_from_output_to_output(moved: Dry) -> None:
    """Once before anything, then in the order that begins where the probe is; inside a repeat it stays."""
    onto = [text.partition(" onto ")[2].partition(".")[0] for text in moved.asked]
    assert onto == ["output A", "output B"]


def test_each_output_has_its_own_figures_by_the_one_probe(moved: Dry) -> None:
    """Output B has 1.5 dB less; the probe's own error is the same at both."""
    rms = moved.figures("output_rms")
    assert rms["B"].value / rms["A"].value == pytest.approx(10 ** (-1.5 / 20), rel=0.005)
    assert set(moved.figures("dc_offset")) == {"B"}
    assert verify(moved.result.folder).agrees


def test_a_run_goes_on_where_its_probe_was(tmp_path: Path) -> None:
    """What a journal tells of a run that ended after the probe was moved to B."""
    these = files(POWER_ON_LINE, LOADED, TONE, "power_off", bench=ONE_PROBE)
    with rig(tmp_path, these) as bench:
        bench.run.hands = bench.simulated
        assert bench.execute().error is None
        plan, events = bench.plan, bench.events()
    last_move = max(place for place, planned in enumerate(plan) if planned.step.kind == "move_probe")
    until = next(
        number
        for number, event in enumerate(events, start=1)
        if event["event"] == "step finished" and event["index"] == last_move
    )
    assert progress_of(plan, events[:until]).seen == ("B",)


def test_no_figure_rests_on_outputs_that_were_not_seen_at_once(moved: Dry) -> None:
    assert set(moved.figures("continuous_power")) == {"A", "B"}
    assert not moved.figures("efficiency")
    assert not moved.figures("channel_balance")


def test_an_output_that_nothing_sees_has_no_figures_and_trips_nothing(tmp_path: Path) -> None:
    ended = dry(
        tmp_path, LOADED, "measure_idle: {for: 1 s}", TONE, bench=ONLY_A, amplifier=DC_AT_B, limits="{outside: 500 mV}"
    )
    assert ended.result.outcome.error is None
    assert set(ended.figures("dc_offset")) == {"A"}
    assert set(ended.figures("continuous_power")) == {"A"}
    assert not ended.figures("efficiency")
    assert "no probe sees output B" in ended.page
    assert "at output A alone" in ended.page
    assert "Output B was not measured." in ended.page


def test_loads_are_asked_for_with_the_amplifier_silent(tmp_path: Path) -> None:
    steps = (LOADED, TONE, "measure_damping: {loads: [4 ohm, 2 ohm]}")
    ended = dry(tmp_path, *steps, bench=LOADS_BY_HAND)
    on = "The amplifier is on, without a signal"
    assert ended.asked == [
        "Take every load off outputs A and B. The supply is off; let the amplifier's capacitors run empty first",
        f"Connect 4 ohm to each of outputs A and B, and no other load. {on}",
        f"Connect 2 ohm to each of outputs A and B, and no other load. {on}",
        f"Connect 4 ohm to each of outputs A and B, and no other load. {on}",
    ]
    # 6.38 V into 4.013 ohm, which preflight's nominal gain puts at 31.9 times 200 mV.
    assert ended.figures("continuous_power")["A"].value == pytest.approx((0.2 * 31.9) ** 2 / 4.013, rel=0.02)
    assert ended.figures("output_impedance")["A"].value == pytest.approx(0.02, rel=0.1)


def test_a_load_that_is_connected_is_not_asked_for(tmp_path: Path) -> None:
    ended = dry(tmp_path, LOADED, TONE, bench=connected("4 ohm"))
    assert ended.asked == []
    assert ended.figures("continuous_power")["A"].value == pytest.approx((0.2 * 31.9) ** 2 / 4.013, rel=0.02)


def test_the_supply_is_off_while_loads_are_changed_where_the_amplifier_file_asks_for_it(tmp_path: Path) -> None:
    """And what was set is set again afterwards."""
    off = {"idle_current: 1.6 A": "idle_current: 1.6 A\nload_change: supply off"}
    steps = (POWER_ON_LINE, "set: {supply: 12 V}", LOADED, "power_off")
    these = files(*steps, bench=LOADS_BY_HAND, amplifier=off)
    with rig(tmp_path, these) as bench:
        seen: list[tuple[bool, bool]] = []

        def look(_request: str) -> None:
            world = bench.connections
            seen.append((world.main_output.on, world.drive.tone_at(bench.clock.now())[0].amplitude_v == 0.0))

        bench.audience.hands_needed = look  # type: ignore[method-assign]
        bench.run.hands = bench.simulated
        outcome = bench.execute()
        assert outcome.error is None
        assert seen == [(False, True), (False, True)]
        after = [event for event in bench.events("step finished") if event["step"].startswith("3 set")]
        assert after[0]["conditions"]["supply_set_v"] == 12.0
        assert after[0]["conditions"]["load_ohm"] == 4.0


def test_nothing_is_asked_for_an_amplifier_that_wakes_with_its_supply(tmp_path: Path) -> None:
    ended = dry(tmp_path, "measure_idle: {for: 1 s}", bench=LEAD_BY_HAND, amplifier=NO_LEAD)
    assert ended.asked == []
    assert ended.figures("idle_current")[""].value == pytest.approx(1.6, rel=0.1)
