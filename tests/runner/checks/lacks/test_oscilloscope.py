"""What an oscilloscope lacks is refused where a run cannot do without it, else said before the run."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl import library
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from benchmarks.forms.oscilloscopes import Form
from tests.runner.rig import POWER_ON_LINE, files

EXTERNAL = '  trigger_external: ["TRIG:EDGE:SOUR EXT", "TRIG:EDGE:SLOP POS", "TRIG:SWE NORM"]'
FREE = '  trigger_free: "TRIG:SWE AUTO"'


def checked(tmp_path: Path, old: str = "", new: str = "", *steps: str) -> Preflight:
    """On a bench with the driver for bytes in chunks, changed in one place."""
    text = library.find("drivers", "oscilloscope/bytes_in_chunks").read_text(encoding="utf-8")
    assert old in text
    # Under a name of its own, because a bench file is read once.
    driver = tmp_path / f"with_{len(new)}.yaml"
    driver.write_text(text.replace(old, new) if old else text, encoding="utf-8")
    edits = Form("preambles", str(driver)).edits()
    these = files(POWER_ON_LINE, *steps, "power_off", bench=edits)
    return preflight(these, expand(these.sequence, these.amplifier, these.bench), unattended=False)


def told(found: Preflight) -> str:
    return " / ".join((*found.hazards, *found.notes))


def test_a_bench_that_uses_an_external_trigger_that_is_not_there_is_refused(tmp_path: Path) -> None:
    found = checked(tmp_path, EXTERNAL, "  trigger_external: none")
    assert any("no external trigger" in str(each) and "'trigger: channel N'" in str(each) for each in found.hazards)


def test_one_that_takes_no_record_without_a_trigger_is_refused_unless_it_can_be_forced(tmp_path: Path) -> None:
    words = "the oscilloscope takes no record without a trigger"
    assert words in told(checked(tmp_path, FREE, "  trigger_free: none"))
    forced = "  trigger_free: none\n  force_trigger: TFOR"
    assert words not in told(checked(tmp_path, FREE, forced))


def test_a_record_that_rolls_is_said(tmp_path: Path) -> None:
    assert "records of 500 ms or longer wait for no trigger" in told(checked(tmp_path))


def test_a_range_that_cannot_be_read_back_is_said(tmp_path: Path) -> None:
    read_back = '  get_vertical: "CHAN{channel}:SCAL?"'
    found = checked(tmp_path, read_back, "  get_vertical: none")
    assert "the ranges of the oscilloscope are as set, and cannot be read back" in told(found)


@pytest.mark.parametrize("memory", ["[1200]", "[1200, 2000000]"])
def test_a_record_that_its_memory_makes_too_coarse_is_refused_with_both_figures(tmp_path: Path, memory: str) -> None:
    """A steady tone of 1 kHz takes 40 ms: 1200 samples are 30 kSa/s, and harmonics up to 20 kHz need more than 40."""
    table = "memory: [1200, 12000, 120000, 1200000]"
    steps = ("set: {load: 4 ohm, frequency: 1 kHz}", "find_clean_level: {thd_n: 1 %, from: 100 mV, to: 2 V}")
    found = checked(tmp_path, table, f"memory: {memory}", *steps)
    (text,) = [str(each) for each in found.hazards if "takes a record of" in str(each)]
    assert "signals up to" in text
    assert "(1200 now)" in text
