"""From bytes to codes: whatever the width, sign and order of a sample, its volts are the same."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.instruments.oscilloscope.samples import Coded, Form, from_codes, from_volts, in_numbers

STEP_V = 0.01
NUMPY = {"int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "float32": "f4", "float64": "f8"}
WHOLE = ("int8", "uint8", "int16", "uint16")


def volts(coded: Coded) -> np.ndarray:
    return coded.codes * coded.volts_per_code + coded.volts_at_zero


def sent(numbers: list[float], form: Form) -> bytes:
    order = "<" if form.order == "low_first" else ">"
    return np.array(numbers).astype(order + NUMPY[form.type]).tobytes()


@settings(deadline=None)
@given(
    kind=st.sampled_from(WHOLE),
    order=st.sampled_from(["low_first", "high_first"]),
    data=st.data(),
)
def test_every_code_of_every_type_keeps_its_volts(kind: str, order: str, data: st.DataObject) -> None:
    limits = np.iinfo(NUMPY[kind])
    numbers = data.draw(st.lists(st.integers(int(limits.min), int(limits.max)), min_size=1, max_size=50))
    form = Form(kind, order)
    coded = from_codes(in_numbers(sent(list(numbers), form), form), STEP_V, -1.0)
    assert volts(coded) == pytest.approx(np.array(numbers) * STEP_V - 1.0, abs=1e-9)


@pytest.mark.parametrize(("kind", "data"), [("int16", b"abc"), ("uint16", b""), ("float32", b"abcde")])
def test_bytes_that_are_no_whole_samples_are_refused(kind: str, data: bytes) -> None:
    with pytest.raises(ValueError, match="not a whole number of samples"):
        in_numbers(data, Form(kind, "low_first"))


@pytest.mark.parametrize("order", ["low_first", "high_first"])
@pytest.mark.parametrize("kind", ["float32", "float64"])
@pytest.mark.parametrize("bits", [8, 10, 12])
def test_floats_on_the_steps_of_a_converter_become_these_steps(kind: str, order: str, bits: int) -> None:
    """8 V of screen in 2^bits steps, and 0 V a third of a step off, as an offset makes it."""
    chance = np.random.default_rng(3)
    step_v = 8.0 / 2**bits
    places = chance.integers(-(2 ** (bits - 1)), 2 ** (bits - 1), 5000)
    form = Form(kind, order)
    coded = from_volts(in_numbers(sent(list((places + 1 / 3) * step_v), form), form), 4.0)
    assert coded.volts_per_code == pytest.approx(step_v, rel=1e-5)
    assert volts(coded) == pytest.approx((places + 1 / 3) * step_v, abs=1e-5)


def test_floats_on_no_steps_lose_no_more_than_a_part_in_fifty_thousand_of_the_range() -> None:
    values = np.random.default_rng(5).uniform(-4.0, 4.0, 5000)
    assert volts(from_volts(values, 4.0)) == pytest.approx(values, abs=8.0 / 50_000 / 2)


def test_text_is_volts() -> None:
    numbers = in_numbers(b"1.5E-1,-2,0.25", Form("text", "low_first"))
    assert volts(from_volts(numbers, 4.0)) == pytest.approx([0.15, -2.0, 0.25], abs=1e-4)


def test_a_float_that_is_no_number_is_refused() -> None:
    with pytest.raises(ValueError, match="something else than numbers"):
        from_volts(np.array([0.0, np.nan]), 4.0)


def test_a_float_beyond_every_range_is_at_the_end_of_the_codes() -> None:
    """9.9E37 stands for a sample that the converter could not show (SCPI-99 volume 1, 7.2.1.4)."""
    coded = from_volts(np.array([0.0, 0.5, 9.9e37, -9.9e37]), 4.0)
    assert coded.codes.max() == 2**15 - 1
    assert coded.codes.min() == -(2**15)


def test_floats_of_one_range_have_one_step_however_few_they_are_and_wherever_they_lie() -> None:
    """The zero of a range is known by its step; 32-bit floats far from 0 V tell the difference of two only roughly."""
    step_v = 8.0 / 256
    few = [
        from_volts(np.array(places, dtype=np.float32) * np.float32(step_v), 4.0) for places in ([100, 101], [-3, -2, 7])
    ]
    assert {coded.volts_per_code for coded in few} == {step_v}
