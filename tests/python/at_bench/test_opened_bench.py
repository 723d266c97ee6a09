"""The bench in the hands of a program: what it may do, and that everything is off when it leaves, however it leaves.

These sessions are in real time, as those of a notebook are; nothing here is judged by how long it takes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest

import benchctl
from benchctl.errors import LimitTripped, OperatorStop, PreflightRefused, UsageError
from benchctl.library import shipped
from tests.faults.killing import quick_amplifier

TRUE_GAIN = 31.9  # of the simulated amplifier, in its file


class LeftByAMistake(Exception):
    """What a cell of a notebook raises."""


@dataclass
class Evening:
    """A session that ended with a mistake in its program, while the amplifier was driven."""

    refused: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    level_v: float = 0.0
    capture: benchctl.RecordedCapture | None = None
    figures_w: dict[str, float] = field(default_factory=dict)
    supply: benchctl.SupplyReading | None = None
    readings: dict[str, float] = field(default_factory=dict)
    before: benchctl.Conditions | None = None
    driven: benchctl.Conditions | None = None
    run: benchctl.OpenedRun | None = None
    bench: benchctl.OpenedBench | None = None


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Evening:
    place = tmp_path_factory.mktemp("evening")
    found = Evening()
    opened = benchctl.open_bench(
        "untidy_workshop", quick_amplifier(place), tell=found.told.append, report=False, out=place / "runs"
    )
    with pytest.raises(LeftByAMistake):
        leave_by_a_mistake(opened, found)
    found.run = benchctl.open_run(opened.folder)
    found.bench = opened
    return found


def leave_by_a_mistake(opened: benchctl.OpenedBench, found: Evening) -> None:
    with opened as bench:
        spend(bench, found)
        raise LeftByAMistake


def spend(bench: benchctl.OpenedBench, found: Evening) -> None:
    """What the program does, and what it learns."""
    found.before = bench.conditions
    for mistake in (bench.generator.on, bench.measure, bench.oscilloscope.capture):
        found.refused.append(why_refused(mistake))
    bench.switch_on()
    found.level_v = bench.generator.set_level(0.1)
    bench.generator.on()
    found.capture = bench.oscilloscope.capture()
    figures = bench.measure()
    power = figures[figures["figure"] == "continuous_power"]
    found.figures_w = dict(zip(power["channel"], power["value"], strict=True))
    found.supply, found.readings, found.driven = bench.supply.measure(), bench.readings, bench.conditions
    highest_v = bench.generator.highest_level_v
    found.refused += [
        why_refused(lambda: bench.generator.set_level(1.01 * highest_v)),
        why_refused(lambda: bench.generator.set_level(float("nan"))),
        why_refused(lambda: bench.generator.set_frequency(50e3)),
        why_refused(lambda: bench.load.connect(1.0)),
        why_refused(lambda: bench.drive_channels("C")),
        why_refused(lambda: bench.thermometer.measure("soup")),
        why_refused(lambda: bench.multimeter),
    ]
    bench.note("the relay clicks twice")


def why_refused(mistake: object) -> str:
    assert callable(mistake)
    with pytest.raises(UsageError) as refused:
        mistake()
    return str(refused.value)


def test_nothing_is_on_before_it_is_asked_for(evening: Evening) -> None:
    assert evening.before is not None
    assert evening.before.supply_set_v is None
    assert evening.before.level_v is None


def test_what_needs_the_amplifier_is_refused_while_it_is_off(evening: Evening) -> None:
    assert evening.refused[:3] == ["the amplifier is off; switch it on first"] * 3


def test_what_the_limits_of_a_session_by_hand_do_not_allow_is_refused_in_words(evening: Evening) -> None:
    level, not_a_level, frequency, load, channel, sensor, multimeter = evening.refused[3:]
    assert "(12.5 % rated), not " in level
    assert not_a_level.startswith("this session allows levels from ")
    assert frequency == "this session allows frequencies from 20 Hz to 20 kHz, not 50 kHz"
    assert load == "this session can connect 4 ohm or 2 ohm, not 1 ohm"
    assert channel == "the amplifier has no channel 'C'; it has A, B"
    assert sensor == "there is no channel 'soup'; the bench file has heatsink, ambient, load"
    assert multimeter == "the bench file has no multimeter"


def test_a_capture_shows_what_the_output_gives(evening: Evening) -> None:
    """The true gain times the level, as an 8-bit oscilloscope of 3 % sees it through the bench's leads."""
    capture = evening.capture
    assert capture is not None
    assert float(capture.volts["A"].std()) == pytest.approx(TRUE_GAIN * evening.level_v, rel=0.06)
    assert capture.simulated is True
    assert capture.conditions.level_v == evening.level_v


def test_the_figures_are_those_of_the_run_folder(evening: Evening) -> None:
    assert evening.run is not None
    kept = evening.run.figures
    kept = kept[kept["figure"] == "continuous_power"]
    assert dict(zip(kept["channel"], kept["value"], strict=True)) == evening.figures_w
    assert evening.figures_w["A"] == pytest.approx((TRUE_GAIN * evening.level_v) ** 2 / 4.0, rel=0.15)  # P = V^2 / R


def test_readings_and_conditions_are_of_now(evening: Evening) -> None:
    assert evening.supply is not None
    assert evening.driven is not None
    assert evening.supply.voltage_v == pytest.approx(14.4, abs=0.3)
    assert evening.readings["heatsink"] == pytest.approx(25.0, abs=5.0)
    assert (evening.driven.load_ohm, evening.driven.driven) == (4.0, ("A", "B"))


def test_left_by_an_error_everything_is_confirmed_off_and_the_folder_says_why(evening: Evening) -> None:
    run = evening.run
    assert run is not None
    assert (run.ending, run.is_safe) == ("operator", True)
    assert "the program left the bench: LeftByAMistake()" in run.ended
    assert [note.text for note in run.notes] == ["the relay clicks twice"]
    (end,) = [event for event in run.journal if event["event"] == "run ended"]
    assert {each["instrument"] for each in end["instruments"] if each["confirmed"]} >= {"generator", "supply"}


def test_a_bench_that_was_left_does_nothing_more_and_says_why(evening: Evening) -> None:
    bench = evening.bench
    assert bench is not None
    assert bench.is_over
    with pytest.raises(OperatorStop, match="LeftByAMistake"):
        bench.switch_on()
    with pytest.raises(UsageError, match="opened before"):
        bench.open()


def test_a_limit_that_trips_while_a_program_waits_ends_its_block(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """The heatsink cannot be read any more, which counts as over its limit."""
    bench = tmp_path / "open_sensor.yaml"
    fault = "  faults: [{kind: sensor open, sensor: heatsink, at: 1 s}]\n"
    text = shipped("benches")["untidy_workshop"].read_text(encoding="utf-8")
    bench.write_text(text.replace("simulation:\n", f"simulation:\n{fault}", 1), encoding="utf-8")
    opened = benchctl.open_bench(bench, quick_amplifier(tmp_path), report=False, out=tmp_path / "runs")
    with pytest.raises(LimitTripped, match="heatsink") as tripped:
        wait_in(opened)
    assert opened.is_over
    assert benchctl.open_run(opened.folder).is_safe
    assert tripped.value.run_folder == opened.folder
    assert capfd.readouterr().out == ""


def wait_in(opened: benchctl.OpenedBench) -> None:
    with opened as bench:
        bench.wait(60.0)


def test_what_preflight_refuses_opens_nothing(tmp_path: Path) -> None:
    opened = benchctl.open_bench("workshop", "hx2150", settings={"voltage": "20V"}, out=tmp_path / "runs")
    with pytest.raises(PreflightRefused, match="16 V"):
        opened.open()
    assert opened.is_over
    assert not (tmp_path / "runs").exists()


def test_a_bench_that_was_not_opened_does_nothing_and_says_so(tmp_path: Path) -> None:
    bench = benchctl.open_bench("workshop", "hx2150", out=tmp_path / "runs")
    for mistake in (bench.switch_on, bench.measure, lambda: bench.conditions, lambda: bench.wait(60.0)):
        assert why_refused(mistake).startswith("the bench is not open")
    assert not (tmp_path / "runs").exists()
