"""Each shipped driver of an oscilloscope with an instrument that speaks its form: what it records is true.

Each has 8 bits and 3 %, as most have.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from benchctl import library
from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Set
from benchctl.instruments.generator import Burst
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.bursts.envelope import find_burst
from benchctl.measure.signal.record import Capture
from benchmarks.forms.oscilloscopes import FORMS, Form
from tests.runner.rig import POWER_ON, Rig, files, rig

LEVEL_V = 0.1
PEAK_V = LEVEL_V * 31.9 * math.sqrt(2.0)  # sim/amplifiers/hx2150.yaml: its true gain is 31.9
TONE = Record(span_s=0.02, pretrigger_s=0.005, samples=10_000)
ROLLING = [form for form in FORMS if form.speaks in {"bytes_in_chunks", "source_in_question", "binary_descriptor"}]


def with_tone(tmp_path: Path, form: Form) -> Iterator[Rig]:
    """1 kHz into 4 ohm at about 4.5 V peak."""
    with rig(tmp_path, files("power_off", bench=form.edits())) as made:
        made.begin()
        made.do(POWER_ON, Set(load_ohm=4.0, frequency_hz=1e3, level=Level(LEVEL_V)))
        made.taps.sent.clear()
        yield made


@pytest.fixture(scope="module", params=FORMS, ids=lambda form: form.driver)
def bench(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rig]:
    """One for all tests of a form: they only take records."""
    yield from with_tone(tmp_path_factory.mktemp("run"), request.param)


def capture(bench: Rig, record: Record, expected_v: float = PEAK_V) -> Capture:
    return bench.run.bench.oscilloscope.capture("test", ["output A"], record, {"output A": expected_v})


def test_every_shipped_driver_is_tried() -> None:
    assert {form.driver for form in FORMS} == {
        name for name in library.shipped("drivers") if name.startswith("oscilloscope/")
    }


def test_a_record_holds_the_tone_from_before_its_trigger_on_a_range_that_fits(bench: Rig) -> None:
    """The tone crosses zero at its trigger, upwards; off by gain, zero, noise and half a step, all together."""
    taken = capture(bench, TONE, PEAK_V / 8)
    trace = taken.traces["output A"]
    assert taken.start_s == pytest.approx(-0.005, abs=2 * taken.interval_s)
    assert taken.duration_s == pytest.approx(0.02, rel=0.02)
    times_s = taken.start_s + taken.interval_s * np.arange(taken.samples)
    expected_v = PEAK_V * np.sin(2 * np.pi * 1e3 * times_s)
    assert float(np.max(np.abs(trace.values() - expected_v))) < 0.12 * PEAK_V
    assert not trace.is_clipped
    assert trace.full_scale < 25 * PEAK_V


def test_a_record_is_as_fine_as_was_asked_or_as_its_memory_can_be(bench: Rig) -> None:
    assert capture(bench, TONE).interval_s <= 2.5 * 0.02 / 10_000


def test_a_record_without_a_trigger_is_taken_at_once(bench: Rig) -> None:
    taken = capture(bench, Record(0.02, 0.0, 10_000, triggered=False))
    assert float(np.std(taken.traces["output A"].values())) == pytest.approx(PEAK_V / math.sqrt(2), rel=0.05)


def test_what_the_converter_can_tell_apart_is_known(bench: Rig) -> None:
    """The step of 8 bits, which fills no word: the screen has 256 of them."""
    trace = capture(bench, TONE).traces["output A"]
    assert trace.full_scale / trace.step == pytest.approx(256, rel=0.03)


@pytest.mark.parametrize("form", ROLLING, ids=lambda form: form.driver)
def test_a_burst_is_found_in_a_record_so_long_that_it_waits_for_no_trigger(form: Form, tmp_path: Path) -> None:
    for bench in with_tone(tmp_path, form):
        bench.run.bench.generator.start_burst(Burst(1e3, 8, LEVEL_V, 0.1 * LEVEL_V, every_s=1.0))
        bench.run.wait(0.3)
        taken = capture(bench, Record(1.01, 0.005, 100_000, trigger_every_s=1.0))
        assert taken.duration_s > 2.0
        assert find_burst(taken, "output A", 1e3, 8, 0.1).cycles == 8


def test_a_record_that_comes_too_short_is_taken_again_on_the_next_time_base(tmp_path: Path) -> None:
    """Its time base goes down to the next of 1-2-5, and cannot be asked for: 11 ms become 10 ms, then 22 ms 20 ms,
    of which the trigger lies at a part."""
    text = library.find("drivers", "oscilloscope/byte_order_asked").read_text(encoding="utf-8")
    (tmp_path / "unasked.yaml").write_text(f"{text}  get_time_base: none\n", encoding="utf-8")
    for bench in with_tone(tmp_path, Form("byte_order_asked", str(tmp_path / "unasked.yaml"))):
        taken = capture(bench, Record(span_s=0.011, pretrigger_s=0.002, samples=10_000))
        asked = [float(text.split()[1]) for text in bench.taps.to("oscilloscope") if text.startswith("HOR:SCA ")]
        assert asked == pytest.approx([0.0011, 0.0022, 0.0022])
        assert taken.start_s == pytest.approx(-0.002, abs=3 * taken.interval_s)
        assert taken.duration_s == pytest.approx(0.011, rel=0.02)
