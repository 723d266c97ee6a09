"""A driver file that reads samples in the wrong way is found before the supply is on, and told what to write."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl import library
from benchctl.errors import GarbledAnswer
from benchmarks.forms.oscilloscopes import Form
from tests.runner.rig import POWER_ON, files, rig

# What is done wrong -> form, what its driver says, what it says instead, bits of the converter, what the error advises.
MISTAKES = {
    "high byte first, taken for low": (
        "high_byte_first", "order: high_first", "order: low_first", 12, "order: high_first",
    ),
    "low byte first, taken for high": (
        "low_byte_zero", "samples: uint16", "samples: {type: uint16, order: high_first}", 8, "order: low_first",
    ),
    "words from zero, taken for signed": ("low_byte_zero", "samples: uint16", "samples: int16", 8, "type: uint16"),
    "words, taken for bytes": ("low_byte_zero", "samples: uint16", "samples: uint8", 8, "type: uint16"),
    "signed words, taken for words from zero": (
        "high_byte_first", "type: int16", "type: uint16", 12, "type: int16",
    ),
    "words of 12 bits, taken for bytes": (
        "high_byte_first", "{type: int16, order: high_first}", "int8", 12, "type: int16",
    ),
    "bytes from zero, taken for signed": ("bytes_in_chunks", "type: uint8", "type: int8", 8, "type: uint8"),
    "signed bytes, taken for bytes from zero": (
        "binary_descriptor", "samples: int8", "samples: uint8", 8, "type: int8",
    ),
    "bytes, taken for words": ("binary_descriptor", "samples: int8", "samples: int16", 8, "type: int8"),
    "floats, low byte first, taken for high": (
        "floats", "samples: float32", "samples: {type: float32, order: high_first}", 8, "order: low_first",
    ),
    "a zero that is not asked for": ("high_byte_first", ', volts_at_zero: "WFMO:YZE?"', "", 8, "'volts_at_zero'"),
    "an offset the wrong way round": ("binary_descriptor", "{shift_v:.6g}", "{offset_v:.6g}", 8, "{shift_v}"),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_samples_that_are_read_wrongly_are_found_before_the_supply_is_on(mistake: str, tmp_path: Path) -> None:
    form, right, wrong, bits, advice = MISTAKES[mistake]
    text = library.find("drivers", f"oscilloscope/{form}").read_text(encoding="utf-8")
    assert right in text
    (tmp_path / "mine.yaml").write_text(text.replace(right, wrong), encoding="utf-8")
    edits = Form(form, str(tmp_path / "mine.yaml"), bits).edits()
    with rig(tmp_path, files("power_off", bench=edits), takes_zeros=True) as bench:
        bench.begin()
        with pytest.raises(GarbledAnswer) as caught:
            bench.do(POWER_ON)
        assert advice in caught.value.advice
        assert not bench.connections.main_output.live
        assert not [text for text in bench.taps.to("supply") if text.endswith("OUTP ON")]
