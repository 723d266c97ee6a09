"""Codes that cannot be what a converter gave, and what they probably are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.measure.signal.sample_codes import BYTE_ORDER, SCALE, misreading


def signal(bits: int, *, fills: float, dc: float = 0.0, noise: float = 0.4, samples: int = 2000) -> np.ndarray:
    """What a converter makes of a sine with some noise: codes from -2^(bits-1) on."""
    chance = np.random.default_rng(7)
    ideal = fills * np.sin(np.linspace(0.0, 40.0 * np.pi, samples)) + dc
    codes = np.rint(ideal * 2 ** (bits - 1) + noise * chance.standard_normal(samples))
    return np.clip(codes, -(2 ** (bits - 1)), 2 ** (bits - 1) - 1).astype(np.int16)


def sent(codes: np.ndarray, bits: int, form: str) -> tuple[np.ndarray, int, int]:
    """The words and the ends of the range, as instruments send them: signed or from zero, or shifted to the top."""
    half = 2 ** (bits - 1)
    match form:
        case "from zero":
            return (codes + half).astype(np.int16), 2, 2 * half - 3
        case "shifted":
            shift = 16 - bits
            return (codes.astype(np.int32) << shift).astype(np.int16), -32768 + 2**shift, 32767 - 2**shift
        case _:
            return codes, 2 - half, half - 3


def both(codes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The codes, and what they are in the other order of bytes."""
    return codes, codes.byteswap()


FORMS = ("signed", "from zero", "shifted")


@settings(deadline=None)
@given(
    bits=st.sampled_from([8, 10, 12, 14]),
    form=st.sampled_from(FORMS),
    fills=st.floats(0.0, 1.4),
    dc=st.floats(-0.5, 0.5),
    noise=st.floats(0.0, 3.0),
)
def test_an_honest_record_is_never_doubted(bits: int, form: str, fills: float, dc: float, noise: float) -> None:
    """Silent, quiet, loud or clipped."""
    words, low, high = sent(signal(bits, fills=fills, dc=dc, noise=noise), bits, form)
    assert misreading(*both(words), (low, high), bits) == ""


@pytest.mark.parametrize("bits", [8, 10, 12, 14])
@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(("fills", "dc"), [(0.0, 0.0), (0.0, 0.1), (0.3, 0.0), (0.8, 0.1)])
def test_bytes_in_the_wrong_order_are_named(bits: int, form: str, fills: float, dc: float) -> None:
    words, low, high = sent(signal(bits, fills=fills, dc=dc, noise=1.0), bits, form)
    assert BYTE_ORDER in misreading(*both(words.byteswap()), (low, high), bits)


def test_dc_that_the_wrong_order_would_hide_is_not_hidden() -> None:
    """8 bits at the top of a word: a quarter of the range would read as a thousandth of it."""
    words, low, high = sent(signal(8, fills=0.0, dc=0.25), 8, "shifted")
    assert np.abs(words.byteswap().astype(float)).max() / high < 0.01
    assert BYTE_ORDER in misreading(*both(words.byteswap()), (low, high), 8)


def test_a_scale_that_words_cannot_reach_is_named() -> None:
    """8-bit data with a scale 1000 times too small: the range would have 256 000 codes."""
    assert SCALE in misreading(*both(signal(8, fills=0.8)), (-128_000, 127_000), 8)
