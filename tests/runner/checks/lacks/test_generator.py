"""What a generator lacks is said before a run, and what cannot be done without it is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.reader import load_bench
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.blind_spots import blind_spots
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from tests.runner.generator_forms import driver_text, with_generator
from tests.runner.rig import POWER_ON_LINE, Edits, amplifier_file, sequence_file, shipped

AT_1_KHZ = "set: {load: 4 ohm, frequency: 1 kHz}"
BURSTS = "measure_burst: {cycles: [1, 8], every: 250 ms, low_level: -20 dB, thd_n: 1 %}"


def files(folder: Path, form: str, driver: Edits | None = None, *steps: str) -> Files:
    """A run on the workshop's bench whose generator has a driver file of its own beside the bench file."""
    (folder / "own.yaml").write_text(driver_text(form, driver), encoding="utf-8")
    bench = folder / "bench.yaml"
    bench.write_text(shipped("benches", "workshop", with_generator(form, driver="./own")), encoding="utf-8")
    found = load_bench(bench)
    assert isinstance(found, Bench)
    return Files(sequence_file(POWER_ON_LINE, *(steps or (AT_1_KHZ, BURSTS)), "power_off"), found, amplifier_file())


def checked(these: Files, *, unattended: bool = False) -> Preflight:
    return preflight(these, expand(these.sequence, these.amplifier, these.bench), unattended=unattended)


def test_silence_between_bursts_is_said_where_a_level_was_asked(tmp_path: Path) -> None:
    found = checked(files(tmp_path, "cycles_and_period"))
    assert found.hazards == ()
    assert any("silent between bursts, -20 dB was asked" in note for note in found.notes)


def test_bursts_that_the_run_begins_are_said(tmp_path: Path) -> None:
    found = checked(files(tmp_path, "bus_trigger"))
    assert any("the run begins each burst itself" in note for note in found.notes)


def test_outputs_that_cannot_begin_together_are_told(tmp_path: Path) -> None:
    these = files(tmp_path, "key_value_list")
    assert not [note for note in checked(these).notes if "do not begin together" in note], (
        "one output feeds both inputs"
    )
    (tmp_path / "bench.yaml").write_text(
        (tmp_path / "bench.yaml")
        .read_text(encoding="utf-8")
        .replace("{by: relay, relays: {A: 111, B: 112}}", "{by: generator, outputs: {A: 1, B: 2}}"),
        encoding="utf-8",
    )
    two = replace(these, bench=load_bench(tmp_path / "bench.yaml"))
    assert [note for note in checked(two).notes if "do not begin together" in note]


def test_silence_draws_less_than_a_low_level(tmp_path: Path) -> None:
    """Energy from the supply, reckoned without the power of the rests."""
    tables, silent = (tmp_path / name for name in ("tables", "silent"))
    for folder in (tables, silent):
        folder.mkdir()
    draws = [checked(files(folder, form)) for folder, form in ((tables, "table_as_block"), (silent, "peak_to_peak"))]
    with_rest, without = (sum(step.energy_j for step in found.expected_steps) for found in draws)
    assert without < with_rest


NO_BURSTS = {
    '  burst_on:\n    - "SOUR1:VOLT {level_v:.6f}"\n    - "SOUR1:BURS:INT:PER {every_s:.6f}"\n'
    '    - "SOUR1:BURS:NCYC {cycles}"\n    - "SOUR1:BURS:STAT ON"\n': "  burst_on: none\n",
    'burst_off: "SOUR1:BURS:STAT OFF"': "burst_off: none",
}


def test_bursts_of_a_generator_that_has_none_are_refused_with_the_line_that_says_so(tmp_path: Path) -> None:
    (hazard,) = checked(files(tmp_path, "cycles_and_period", NO_BURSTS)).hazards
    assert "measure_burst" in hazard
    line = driver_text("cycles_and_period", NO_BURSTS).splitlines().index("  burst_on: none") + 1
    assert f"own.yaml:{line}:13 has 'burst_on: none'" in hazard


def test_a_sequence_without_bursts_needs_none(tmp_path: Path) -> None:
    level = "find_clean_level: {thd_n: 1 %, from: 100 mV, to: 2 V}"
    assert checked(files(tmp_path, "cycles_and_period", NO_BURSTS, AT_1_KHZ, level)).hazards == ()


def test_triggers_of_a_slow_generator_need_four_questions_each(tmp_path: Path) -> None:
    slow = {"commands:": "pace: {ask_every: 100 ms}\ncommands:"}
    (hazard,) = checked(files(tmp_path, "bus_trigger", slow)).hazards
    assert "takes 100 ms; give 'every: 400 ms' or longer" in hazard


def test_a_table_too_short_for_the_frequency_is_refused_with_the_highest_that_fits(tmp_path: Path) -> None:
    """1024 samples in 250 ms are 4096 a second, and 8 make a cycle."""
    (hazard,) = checked(files(tmp_path, "table_as_text", {"[8, 16384]": "[8, 1024]"})).hazards
    assert "a table of 1024 samples in 250 ms makes sines up to 512 Hz, and 1 kHz is asked for" in hazard


def test_a_duty_cycle_beyond_what_the_generator_takes_is_refused(tmp_path: Path) -> None:
    """8 ms of 250 ms are 3.2 %."""
    two = "measure_burst: {cycles: [8], every: 250 ms, low_level: -20 dB, thd_n: 1 %}"
    coarse = {"duty: [0.01 %, 99.99 %]": "duty: [5 %, 95 %]"}
    (hazard,) = checked(files(tmp_path, "keyed_modulation", coarse, AT_1_KHZ, two)).hazards
    assert "3.2 %" in hazard
    assert "5 % to 95 %" in hazard


def test_a_single_cycle_that_begins_anywhere_is_refused(tmp_path: Path) -> None:
    (hazard,) = checked(files(tmp_path, "keyed_modulation")).hazards
    assert "has no whole cycle; take 2 or more" in hazard


NO_RESET = {"  prepare:": "  reset: none\n  prepare:"}


def test_settings_of_the_last_user_that_nothing_clears_are_listed_and_need_an_answer(tmp_path: Path) -> None:
    text = driver_text("table_as_block", NO_RESET)
    confirm = text[text.index("confirm:") : text.index("commands:")]
    found = checked(files(tmp_path, "table_as_block", {**NO_RESET, confirm: ""}))
    (warning,) = [each for each in found.warnings if "is not reset" in each]
    for setting in ("offset", "modulation", "sweep", "bursts", "load of its display"):
        assert setting in warning
    assert "no 'confirm'" in warning


def test_what_confirm_asks_is_told_apart_from_what_is_trusted(tmp_path: Path) -> None:
    these = files(tmp_path, "table_as_block", NO_RESET)
    (warning,) = [each for each in checked(these).warnings if "is not reset" in each]
    assert "SOUR1:VOLT:OFFS? 0" in warning
    assert warning in blind_spots(these), "journal and page keep it"


def test_what_cannot_be_read_back_is_as_set_on_the_record(tmp_path: Path) -> None:
    these = files(tmp_path, "cycles_and_period", {'get_level: "SOUR1:VOLT?"': "get_level: none"})
    assert any("the generator's level is as set" in each for each in blind_spots(these))


@pytest.mark.parametrize("unattended", [False, True])
def test_an_output_that_cannot_be_asked_needs_an_answer(tmp_path: Path, unattended: bool) -> None:
    """Where nobody is present it is the supply that confirms."""
    these = files(tmp_path, "cycles_and_period", {'get_output: "OUTP1?"': "get_output: none"})
    found = checked(these, unattended=unattended)
    assert any("output cannot be confirmed off" in each for each in found.warnings)
    assert not [each for each in found.hazards if "confirmed off" in each]


def test_a_generator_without_a_sync_output_is_refused_for_records_wait_for_it(tmp_path: Path) -> None:
    these = files(tmp_path, "cycles_and_period", {"low_level: none": "low_level: none\nsync: none"})
    (hazard,) = checked(these).hazards
    assert "no sync output" in hazard


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("measure_square", "own.yaml has no 'square_on'; leave this step out"),
        ("measure_intermodulation", "own.yaml has no 'two_tones_on'; leave this step out"),
    ],
)
def test_a_wave_that_the_generator_lacks_is_refused_with_the_word_that_is_missing(
    tmp_path: Path, step: str, words: str
) -> None:
    lacks = {
        '  square_on: ["C{output}:BSWV WVTP,SQUARE", "C{output}:BSWV AMP,{square_vpp:.6f}"]\n': "",
        '  square_off: "C{output}:BSWV WVTP,SINE"\n': "",
    }
    found = checked(files(tmp_path, "key_value_list", lacks, AT_1_KHZ, step, "measure_polarity"))
    assert [hazard for hazard in found.hazards if words in hazard]
    assert not [hazard for hazard in found.hazards if "measure_polarity" in hazard]


def test_two_tones_without_a_common_period_that_fits_a_table_are_refused(tmp_path: Path) -> None:
    step = "measure_intermodulation: {tones: [60.1 Hz, 7 kHz]}"
    found = checked(files(tmp_path, "table_as_text", None, AT_1_KHZ, step))
    assert any("a common period of 60.1 Hz and 7 kHz lasts 10 s" in hazard for hazard in found.hazards)
