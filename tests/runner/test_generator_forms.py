"""Each shipped driver of a generator, in conversation with a simulated generator that was written from the description
of its form alone: what is true at its output, not what it answers."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchctl.documents.reader import load_bench
from benchctl.documents.sequence_file.power_steps import FindCleanLevel, MeasureBurst
from benchctl.errors import BenchctlError, InstrumentsDisagree
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.bursts.two_tones import TwoTones
from benchctl.runner.acting.drive import (
    back_to_sine,
    mute,
    set_frequency,
    square_wave,
    start_burst,
    stop_burst,
    tone,
    two_tones,
)
from benchctl.simulator.generator_signal import Tone
from benchmarks.forms import generators
from benchmarks.forms.trials import try_form
from tests.runner.generator_forms import FORMS, SILENT, driver_text, with_generator
from tests.runner.rig import AT_4_OHM, POWER_ON, Edits, Rig, files, rig, shipped
from tests.short_check import short_check

BURST = Burst(frequency_hz=1000.0, cycles=8, level_v=0.5, low_level_v=0.05, every_s=0.25)
OF_TWO_TONES = (
    "scpi99",
    "cycles_and_period",
    "peak_to_peak",
    "display_into_50_ohm",
    "table_as_block",
    "table_as_text",
)
LAST_USER = "left_by_last_user: [offset, sweep, burst, load, phase]"


@contextmanager
def begun(tmp_path: Path, form: str, *vices: str) -> Iterator[Rig]:
    """A bench with this generator, prepared."""
    with rig(tmp_path, files("power_off", bench=with_generator(form, *vices))) as bench:
        bench.begin()
        bench.taps.sent.clear()
        yield bench


def sounding(bench: Rig) -> Tone:
    """What truly comes out of the generator now."""
    tone_now, _ = bench.connections.drive.tone_at(bench.clock.now())
    assert isinstance(tone_now, Tone)
    return tone_now


def level_v(bench: Rig) -> float:
    return sounding(bench).amplitude_v / math.sqrt(2)


@pytest.mark.parametrize("form", FORMS)
def test_a_steady_tone_is_what_was_asked_for_whatever_the_last_user_left(tmp_path: Path, form: str) -> None:
    """At a high input; nothing of an offset, a sweep, a burst, a load or a phase is in it, now or a little later."""
    with begun(tmp_path, form, LAST_USER, "reset_takes: 5 s") as bench:
        set_frequency(bench.run, 400.0)
        tone(bench.run, 0.3)
        for _ in range(8):
            assert (level_v(bench), sounding(bench).offset_v) == (pytest.approx(0.3, rel=1e-5), 0.0)
            assert sounding(bench).frequency_hz == pytest.approx(400.0, rel=1e-6)
            bench.run.wait(0.0372)
        bench.run.bench.check_errors()
        mute(bench.run)
        assert level_v(bench) == 0.0


@pytest.mark.parametrize("form", FORMS)
def test_bursts_have_their_level_length_rhythm_and_rest(tmp_path: Path, form: str) -> None:
    with begun(tmp_path, form) as bench:
        set_frequency(bench.run, BURST.frequency_hz)
        start_burst(bench.run, BURST, "set")
        rest_v = 0.0 if form in SILENT else BURST.low_level_v
        seen = []
        for pause_s in (0.0039, 0.0040, 0.0002, 0.2418, 0.0002):
            bench.run.wait(pause_s)
            seen.append(level_v(bench))
        high_v = BURST.level_v
        assert seen == pytest.approx([high_v, high_v, rest_v, rest_v, high_v], rel=1e-4, abs=1e-6)
        bench.run.bench.check_errors()
        stop_burst(bench.run)
        tone(bench.run, 0.3)
        bench.run.wait(0.3)
        assert level_v(bench) == pytest.approx(0.3, rel=1e-5), "a steady tone again"


@pytest.mark.parametrize("form", FORMS)
def test_bursts_are_set_and_ended_while_the_output_is_off(tmp_path: Path, form: str) -> None:
    """On its way into bursts and out of them a generator may be at their level without pause."""
    with begun(tmp_path, form) as bench:
        set_frequency(bench.run, BURST.frequency_hz)
        tone(bench.run, 0.01)
        highest_v: list[float] = []
        drive = bench.connections.drive
        switch = drive.switch

        def noted(on: bool) -> None:
            highest_v.append(
                drive.levels_v[0] if drive.list_started_s is not None or drive.only_lists else drive.level_v
            )
            switch(on)

        drive.switch = noted
        start_burst(bench.run, BURST, "set")
        stop_burst(bench.run)
        bench.simulated.settle()
        off_first, on, off = highest_v
        assert off_first == pytest.approx(0.01, rel=1e-4), "off before anything is changed"
        assert on == off == pytest.approx(0.5, rel=1e-4), "on once the bursts are set, off before they end"


def test_a_table_that_is_there_is_not_sent_again(tmp_path: Path) -> None:
    with begun(tmp_path, "table_as_text") as bench:
        set_frequency(bench.run, BURST.frequency_hz)
        for high_v in (0.5, 0.6):
            start_burst(bench.run, Burst(1000.0, 8, high_v, high_v / 10, 0.25), "set")
            stop_burst(bench.run)
        start_burst(bench.run, Burst(1000.0, 1, 0.5, 0.05, 0.25), "set")
        tables = [text for text in bench.taps.to("generator") if "DATA:ARB" in text]
        assert len(tables) == 2, "one for each length of burst"


def test_the_run_begins_each_burst_where_the_generator_cannot(tmp_path: Path) -> None:
    with begun(tmp_path, "bus_trigger") as bench:
        set_frequency(bench.run, BURST.frequency_hz)
        start_burst(bench.run, BURST, "set")
        bench.run.wait(1.1)
        assert bench.taps.to("generator").count("*TRG") == 5
        stop_burst(bench.run)
        bench.run.wait(1.0)
        assert bench.taps.to("generator").count("*TRG") == 5, "none after the end"


SHORT = MeasureBurst(cycles=(8,), every_s=0.25, low_level_ratio=0.1, from_v=0.4, to_v=0.6)


def measured(tmp_path: Path, form: str, *vices: str, step: MeasureBurst = SHORT) -> Rig:
    """A bench on which bursts were measured, closed again."""
    with begun(tmp_path, form, *vices) as bench:
        bench.do(POWER_ON, AT_4_OHM, step)
        return bench


@pytest.mark.parametrize("form", FORMS)
def test_bursts_are_measured_with_every_form(tmp_path: Path, form: str) -> None:
    """0.6 V at a gain of 31.6 into 4 ohm are 90 W, less than a tenth of which an amplifier far from clipping takes away
    (its output resistance of 0.02 ohm takes 1 %)."""
    bench = measured(tmp_path, form)
    power = bench.figures("burst_power_clean")["A"]
    assert power.value == pytest.approx(90.0, rel=0.05)
    (conditions,) = {str(each["conditions"]["bursts"]) for each in bench.events("figures")[-1:]}
    said = {
        "bus_trigger": "bursts every 250 ms, silent between, begun by the run within 1 ms",
        "keyed_modulation": "bursts every 250 ms, beginning anywhere in a cycle",
    }
    silent = "bursts every 250 ms, silent between" if form in SILENT else ""
    assert conditions == said.get(form, silent)


def test_of_bursts_that_begin_anywhere_nobody_knows_the_first_cycle_and_the_last(tmp_path: Path) -> None:
    names = {figure.name for figure in measured(tmp_path, "keyed_modulation").run.measured}
    assert {"burst_power_clean", "burst_power_highest", "burst_power_lowest"} <= names
    assert names.isdisjoint({"burst_power_first", "burst_power_last"})


def test_a_slow_generator_keeps_the_rhythm_that_its_figures_tell(tmp_path: Path) -> None:
    """0.1 s a question: a trigger waits for the question before it, and the next does not make up for that."""
    bench = measured(tmp_path, "bus_trigger", "answers_after: 100 ms", "busy_after_setting: 30 ms")
    bursts = bench.events("figures")[-1]["conditions"]["bursts"]
    assert "begun by the run within " in bursts
    assert bench.figures("burst_power_clean")["A"].value == pytest.approx(90.0, rel=0.05)


COARSE = """benchctl: driver 1
title: Display in Vpp in steps of 50 mV
based_on: generator/cycles_and_period
steps: {level: 50 mVpp}
confirm: {"OUTP1:LOAD?": 9.9E37, "SOUR1:VOLT:OFFS?": 0}
commands:
  prepare: ["SOUR1:FUNC SIN", "OUTP1:LOAD INF", "SOUR1:VOLT:OFFS 0", "SOUR1:BURS:MODE TRIG", "TRIG1:SOUR TIM"]
  set_level: "SOUR1:VOLT {level_vpp:.6f}"
  get_level: {ask: "SOUR1:VOLT?", unit: vpp}
  burst_on:
    ["SOUR1:VOLT {level_vpp:.6f}", "SOUR1:BURS:INT:PER {every_s:.6f}", "SOUR1:BURS:NCYC {cycles}", "SOUR1:BURS:STAT ON"]
"""


@contextmanager
def coarse(tmp_path: Path) -> Iterator[Rig]:
    """Levels in steps of 50 mVpp, 17.7 mV rms: 0.2 dB near full drive, and 6 dB at the lowest ones."""
    (tmp_path / "own.yaml").write_text(COARSE, encoding="utf-8")
    text = shipped("benches", "workshop", with_generator("peak_to_peak", "level_step: 50 mV", driver="./own"))
    (tmp_path / "bench.yaml").write_text(text, encoding="utf-8")
    these = replace(files("power_off"), bench=load_bench(tmp_path / "bench.yaml"))
    with rig(tmp_path / "runs", these) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM)
        yield bench


def test_a_search_ends_between_two_levels_of_a_coarse_generator(tmp_path: Path) -> None:
    step_v = 0.05 / math.sqrt(8)
    with coarse(tmp_path) as bench:
        bench.do(FindCleanLevel(from_v=0.1, to_v=2.0))
        (search,) = bench.events("search")
        tried = {each["level_v"]: each["says"] for each in search["exposures"]}
        found = bench.run.clean_levels[4.0, 1000.0, ("A", "B")]
        found_v = found.level_v
    steps = [level / step_v for level in tried]
    assert steps == pytest.approx([round(each) for each in steps]), "only levels that can be set"
    over_v = min(level for level, says in tried.items() if says == "over")
    assert over_v - found_v == pytest.approx(step_v), "the next level is too high"
    assert "it has none between: up to 4." in found.at_least["A"], "0.2 dB are 4.6 % of power, so it is a bound"


def test_the_level_on_record_is_the_one_that_a_coarse_generator_gave(tmp_path: Path) -> None:
    with coarse(tmp_path) as bench:
        tone(bench.run, 0.3)
        assert bench.run.conditions.level_v == pytest.approx(0.3005204, rel=1e-6), "850 mVpp, 17 steps of 50 mV"
        assert level_v(bench) == pytest.approx(0.3005204, rel=1e-5)


@contextmanager
def with_own_driver(tmp_path: Path, form: str, edits: Edits) -> Iterator[Rig]:
    """A generator with a driver file of its own beside the bench file."""
    (tmp_path / "own.yaml").write_text(driver_text(form, edits), encoding="utf-8")
    text = shipped("benches", "workshop", with_generator(form, driver="./own"))
    (tmp_path / "bench.yaml").write_text(text, encoding="utf-8")
    these = replace(files("power_off"), bench=load_bench(tmp_path / "bench.yaml"))
    with rig(tmp_path / "runs", these) as bench:
        bench.begin()
        bench.do(POWER_ON, AT_4_OHM)
        yield bench


@pytest.mark.parametrize(
    ("form", "edits"),
    [
        ("display_into_50_ohm", {"level_into: 50 ohm\n": "", "commands:": "commands:\n  get_level: none"}),
        (
            "cycles_and_period",
            {
                "FREQ {frequency_hz:.6f}": "FREQ 1{frequency_hz:.3f}",
                'get_frequency: "SOUR1:FREQ?"': "get_frequency: none",
            },
        ),
    ],
)
def test_what_is_not_read_back_is_compared_with_a_record_before_any_power(
    tmp_path: Path, form: str, edits: Edits
) -> None:
    """Twice the level on a display for 50 ohm; and 11 kHz in place of 1 kHz."""
    with with_own_driver(tmp_path, form, edits) as bench:
        with pytest.raises(InstrumentsDisagree, match="the oscilloscope shows"):
            bench.do(FindCleanLevel(from_v=0.1, to_v=2.0))
        levels_v = [float(each["conditions"]["level_v"] or 0.0) for each in bench.events("capture")]
        assert max(levels_v) < 0.05, "only the look was driven"


def test_a_short_check_finishes_on_a_slow_generator(tmp_path: Path) -> None:
    """The command `python -m benchmarks.forms` performs the whole quick_check on every form."""
    (form,) = (each for each in generators.FORMS if each.speaks == "bus_trigger")
    vices = "answers_after: 50 ms, reset_takes: 2 s, left_by_last_user: [offset, sweep, load]"
    done = try_form(form, tmp_path, sequence=str(short_check(tmp_path)), vices=vices)
    assert done.exit_code == 0
    assert list(done.violations()) == []
    assert done.unmeasured == ()


def test_no_burst_begins_after_a_stop(tmp_path: Path) -> None:
    with begun(tmp_path, "bus_trigger") as bench:
        set_frequency(bench.run, BURST.frequency_hz)
        start_burst(bench.run, BURST, "set")
        bench.run.wait(0.6)
        before = bench.taps.to("generator").count("*TRG")
        bench.run.interlock.open(BenchctlError("stopped by a test"))
        bench.clock.sleep(1.0)
        assert bench.taps.to("generator").count("*TRG") == before == 3


@pytest.mark.parametrize("form", ["scpi99", *FORMS])
def test_a_square_wave_has_the_peak_of_the_sine_that_was_asked_for(tmp_path: Path, form: str) -> None:
    """Whatever unit the display shows a square wave in; and the sine is back after it."""
    with begun(tmp_path, form) as bench:
        set_frequency(bench.run, 400.0)
        square_wave(bench.run, 0.3)
        now = sounding(bench)
        assert now.wave is not None
        assert now.amplitude_v * now.wave.peak == pytest.approx(0.3 * math.sqrt(2.0), rel=1e-3)
        assert now.wave.rms == pytest.approx(now.wave.peak, rel=1e-3)
        assert now.frequency_hz == pytest.approx(400.0, rel=1e-6)
        bench.run.bench.check_errors()
        back_to_sine(bench.run, 1000.0)
        tone(bench.run, 0.2)
        assert sounding(bench).wave is None
        assert level_v(bench) == pytest.approx(0.2, rel=1e-5)
        assert sounding(bench).frequency_hz == pytest.approx(1000.0, rel=1e-6)


@pytest.mark.parametrize("form", OF_TWO_TONES)
@pytest.mark.parametrize(("tones_hz", "share"), [((60.0, 7000.0), 0.2), ((19e3, 20e3), 0.5)])
def test_two_tones_have_together_the_peak_of_the_sine_that_was_asked_for(
    tmp_path: Path, form: str, tones_hz: tuple[float, float], share: float
) -> None:
    """Each as large as asked, found in what truly comes out by summing it against a sine."""
    with begun(tmp_path, form) as bench:
        two_tones(bench.run, TwoTones(*tones_hz, share, level_v=0.3))
        bench.run.bench.check_errors()
        now = sounding(bench)
        assert now.wave is not None
        cycle = now.amplitude_v * now.wave.at(np.arange(262_144) / 262_144)
        lines = np.abs(np.fft.rfft(cycle)) * 2.0 / cycle.size
        for tone_hz, part in zip(tones_hz, (1.0 - share, share), strict=True):
            assert lines[round(tone_hz / now.frequency_hz)] == pytest.approx(part * 0.3 * math.sqrt(2.0), rel=2e-3)
        back_to_sine(bench.run, 1000.0)
        tone(bench.run, 0.2)
        assert sounding(bench).wave is None
        assert level_v(bench) == pytest.approx(0.2, rel=1e-5)
