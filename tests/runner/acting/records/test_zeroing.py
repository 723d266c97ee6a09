"""The zero of the oscilloscope's inputs, as a run takes it, says that it could not, and uses it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.archive.captures import encode_capture, load_capture
from benchctl.archive.verify import verify
from benchctl.documents.sequence_file.bench_steps import PowerOff
from benchctl.documents.sequence_file.measuring_steps import MeasureIdle
from benchctl.measure.signal.record import Trace
from benchctl.runner.acting.records.zeroing import take_zeros
from tests.runner.rig import POWER_ON, POWER_ON_LINE, Edits, Rig, files, rig

# An oscilloscope of 8 bits, whose zero may be a tenth of a division off.
COARSE: Edits = {
    "bits: 12": "bits: 8",
    "voltage: {reading: 0.5 %, range: 0.1 %}": "voltage: {reading: 3 %, range: 1.25 %}",
}
IDLE_LINE = "measure_idle: {for: 1 s}"
TRUE_OFFSET_V = {"A": 0.006, "B": -0.009}  # sim/amplifiers/hx2150.yaml


def taken_by(bench: Rig) -> list[str]:
    return [event["file"] for event in bench.events("zeros")]


def trace_of(bench: Rig, capture: str, signal: str = "output A") -> Trace:
    (file,) = (
        event["file"] for event in bench.events("capture") if capture in event["file"] and "look" not in event["file"]
    )
    return load_capture(bench.run.recorder.folder.path / file).traces[signal]


def test_it_is_taken_before_the_supply_is_switched_on_and_kept(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=COARSE), takes_zeros=True) as bench:
        bench.begin()
        bench.do(POWER_ON)
        (file,) = taken_by(bench)
        record = load_capture(bench.run.recorder.folder.path / file)
    assert {name.partition(" of ")[2] for name in record.traces} == {"output A", "output B", "supply current"}
    sent = [(role, text) for role, text in bench.taps.sent]
    last_zero = max(place for place, (_, text) in enumerate(sent) if text == "SING" and place < _on(sent))
    assert 0 < last_zero < _on(sent)


def _on(sent: list[tuple[str, str]]) -> int:
    return next(place for place, (role, text) in enumerate(sent) if role == "supply" and "OUTP ON" in text)


def test_dc_of_a_few_millivolts_is_found_below_the_error_that_the_oscilloscope_may_have(tmp_path: Path) -> None:
    """By its data sheet it may be 13 mV off on the range of these outputs."""
    with rig(tmp_path, files("power_off", bench=COARSE), takes_zeros=True) as bench:
        bench.begin()
        bench.do(POWER_ON, MeasureIdle(for_s=1.0))
        found = bench.figures("dc_offset")
    for channel, true_v in TRUE_OFFSET_V.items():
        figure = found[channel]
        assert figure.expanded_uncertainty is not None
        assert figure.expanded_uncertainty < 5e-3
        assert abs(figure.value - true_v) < figure.expanded_uncertainty


def test_it_is_taken_once_in_each_part_of_a_run(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=COARSE), takes_zeros=True) as bench:
        bench.begin()
        bench.do(POWER_ON, PowerOff(), POWER_ON)
        assert len(taken_by(bench)) == 1


def test_of_an_amplifier_that_is_on_it_is_not_taken_and_that_is_said(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=COARSE), takes_zeros=True) as bench:
        bench.begin()
        bench.do(POWER_ON)
        bench.run.zeros = None
        take_zeros(bench.run)
        assert len(taken_by(bench)) == 1
        assert bench.audience.notes[-1].startswith("the amplifier is on, so the oscilloscope's zero is not taken")


def test_of_a_supply_that_still_gives_a_current_it_is_not_taken(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=COARSE), takes_zeros=True) as bench:
        bench.begin()
        bench.taps.forge("supply", "NSEL 1;:MEAS:CURR?", "1.7")
        take_zeros(bench.run)
        assert not taken_by(bench)
        assert "switched off and gives 1.7 A" in bench.audience.notes[-1]


def test_an_instrument_that_takes_no_record_without_a_trigger_costs_the_zero_and_nothing_else(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=COARSE), takes_zeros=True) as bench:
        bench.begin()
        bench.taps.forge("oscilloscope", "ACQ:COMP?", "0")
        take_zeros(bench.run)
        bench.taps.forged.clear()
        assert "trigger_free" in bench.audience.notes[-1]
        bench.do(POWER_ON, MeasureIdle(for_s=1.0))
        assert trace_of(bench, "-idle").zero_limit is None
        # Of a rectangle that outweighs all else, 95.45 % lie within as much of its limit (JCGM 101:2008, 6.4.2).
        limit_v = 0.0125 * trace_of(bench, "-idle").full_scale
        assert bench.figures("dc_offset")["A"].expanded_uncertainty == pytest.approx(0.9545 * limit_v, rel=0.05)


def test_dc_at_an_output_while_the_amplifier_should_be_off_is_not_taken_for_zero(tmp_path: Path) -> None:
    """The codes of the finest ranges are moved by some volts: something feeds the output."""
    with rig(tmp_path, files("power_off", bench=COARSE), takes_zeros=True) as bench:
        bench.begin()
        bench.taps.forge("oscilloscope", "WAV:PRE?", "4,2,1000,1,1E-4,0,0,0.001,-100,0")
        take_zeros(bench.run)
        assert not bench.run.zeros
        assert any(note.startswith("output A shows ") for note in bench.audience.notes), bench.audience.notes
        assert any("Look whether something feeds the amplifier" in note for note in bench.audience.notes)


def test_a_run_without_an_oscilloscope_takes_none_and_says_nothing(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=COARSE), takes_zeros=True) as bench:
        bench.begin()
        bench.run.bench.roles.pop("oscilloscope")
        take_zeros(bench.run)
        assert not bench.audience.notes


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Of a short run on a coarse bench."""
    with rig(tmp_path, files(POWER_ON_LINE, IDLE_LINE, "power_off", bench=COARSE), takes_zeros=True) as bench:
        assert bench.execute().error is None
        bench.run.recorder.finish()
        return bench.run.recorder.folder.path


def test_what_was_subtracted_can_be_computed_again(folder: Path) -> None:
    told = verify(folder)
    assert not told.differences
    assert not told.unused_captures


def test_another_zero_in_a_capture_is_found(folder: Path) -> None:
    (path,) = (folder / "captures").glob("0???-idle.npz")
    capture = load_capture(path)
    moved = {name: replace(trace, zero=trace.zero + 1e-3) for name, trace in capture.traces.items()}
    path.write_bytes(encode_capture(replace(capture, traces=moved)))
    assert any(each.what == "zero" and "output A" in each.figure for each in verify(folder).differences)


def test_a_record_of_zeros_that_is_gone_is_found(folder: Path) -> None:
    (path,) = (folder / "captures").glob("*-zero.npz")
    path.unlink()
    assert any("no zero can be computed again" in each.outcome for each in verify(folder).differences)
