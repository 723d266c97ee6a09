"""A capture keeps whole numbers, says what they mean, and never passes off a clipped record as good."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.errors import ClippedRecord, MeasurementError, RecordTooShort, UnreadableRecord
from benchctl.measure.signal.record import Capture, Trace, finite


def trace(codes: list[int], *, scale: float = 0.5, offset: float = 1.0) -> Trace:
    return Trace(np.array(codes, dtype=np.int16), scale, offset, "V", -128, 127)


def capture(**traces: Trace) -> Capture:
    return Capture("a.npz", -0.002, 0.001, {name.replace("_", " "): one for name, one in traces.items()}, 3.0)


def test_values_are_codes_times_scale_plus_offset() -> None:
    assert trace([-2, 0, 4]).values().tolist() == [0.0, 1.0, 3.0]


def test_the_peak_is_the_value_that_is_farthest_from_zero_on_either_side() -> None:
    """Values are code / 2 + 1: 3.5 above, 4 below."""
    assert trace([5, -10, 0]).peak == 4.0
    assert trace([5, -2, 0]).peak == 3.5


def test_full_scale_is_what_lies_between_the_converters_ends() -> None:
    assert trace([0]).full_scale == 127.5


@pytest.mark.parametrize(("code", "clipped"), [(126, False), (127, True), (-127, False), (-128, True), (300, True)])
def test_a_code_at_or_beyond_an_end_of_the_converter_is_clipped(code: int, clipped: bool) -> None:
    assert trace([0, code, 1]).is_clipped is clipped


def test_the_step_is_found_where_eight_bits_fill_a_sixteen_bit_word() -> None:
    assert trace([-512, 0, 256, 1024], scale=0.001).step == pytest.approx(0.256)


def test_a_record_of_two_levels_is_not_mistaken_for_a_coarse_converter() -> None:
    assert trace([0, 51, 0, 51]).step == 0.5


def test_samples_are_counted_in_the_converters_steps() -> None:
    assert trace([-512, 0, 256, 1024], scale=0.001).steps().tolist() == [-2.0, 0.0, 1.0, 4.0]


def test_a_constant_trace_has_a_step_of_one_code() -> None:
    assert trace([7, 7, 7]).step == 0.5


def test_a_capture_names_the_amplifiers_channels_and_not_its_current_probes() -> None:
    record = capture(output_B=trace([0]), output_A=trace([0]), output_current_A=trace([0]), supply_current=trace([0]))
    assert record.channels == ("A", "B")


def test_a_window_holds_the_samples_between_its_times_and_keeps_their_clock() -> None:
    record = capture(output_A=trace([0, 1, 2, 3, 4, 5]))
    cut = record.window(-0.001, 0.002)
    assert cut.traces["output A"].codes.tolist() == [1, 2, 3]
    assert cut.start_s == pytest.approx(-0.001)
    assert cut.duration_s == pytest.approx(0.003)


@pytest.mark.parametrize("edges", [(-0.003, 0.0), (0.0, 0.0041), (0.001, 0.001)])
def test_a_window_beyond_the_record_is_refused(edges: tuple[float, float]) -> None:
    with pytest.raises(RecordTooShort, match="not inside capture"):
        capture(output_A=trace([0, 1, 2, 3, 4, 5])).window(*edges)


def test_a_clipped_trace_is_refused_with_advice() -> None:
    with pytest.raises(ClippedRecord) as caught:
        capture(output_A=trace([0, 127])).trace("output A")
    assert "wider range" in caught.value.advice


def test_a_signal_that_was_not_captured_is_refused_by_name() -> None:
    with pytest.raises(MeasurementError, match="no signal 'output B'; it has output A"):
        capture(output_A=trace([0])).trace("output B")


@pytest.mark.parametrize("scale", [float("nan"), float("inf"), 0.0])
def test_a_scale_that_gives_no_values_is_refused(scale: float) -> None:
    with pytest.raises(UnreadableRecord):
        capture(output_A=trace([0, 1], scale=scale)).trace("output A")


@pytest.mark.parametrize("interval_s", [0.0, -1e-6, float("nan")])
def test_a_time_base_that_does_not_advance_is_refused(interval_s: float) -> None:
    with pytest.raises(UnreadableRecord, match="time base"):
        Capture("a.npz", 0.0, interval_s, {"output A": trace([0])}, 0.0)


def test_traces_of_unlike_length_are_refused() -> None:
    with pytest.raises(MeasurementError, match="unlike length"):
        capture(output_A=trace([0]), output_B=trace([0, 1]))


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_values_that_are_not_numbers_never_pass(bad: float) -> None:
    with pytest.raises(UnreadableRecord):
        finite(np.array([0.0, bad, 1.0]))
