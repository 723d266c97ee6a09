"""A bound is not a value: an amplifier that was not driven to its limit gives at least so much, and that is all.

On a bench with an 8-bit oscilloscope of 3 %, as many have.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from benchctl.measure.budget.figure import Figure
from benchctl.report.page import write_report
from benchctl.report.reading.run_record import read_run_record
from tests.runner.measured import LOADED, Measured, look, measured
from tests.runner.rig import POWER_ON_LINE, Edits, files

EIGHT_BITS: Edits = {
    "bits: 12": "bits: 8",
    "voltage: {reading: 0.5 %, range: 0.1 %}": "voltage: {reading: 3 %, range: 1 %}",
}
LOW_GAIN: Edits = {"gain: 30 dB": "gain: 20 dB", "gain: 31.9": "gain: 10"}
SMALL_PLATE: Edits = {**LOW_GAIN, "load: 4 ohm, power: 150 W": "load: 4 ohm, power: 80 W"}
LIMITER: Edits = {"simulation:\n": "simulation:\n  limiter: 16 V\n"}
SEARCH = "find_clean_level: {thd_n: 1 %, from: 200 mV, to: 2 V}"
CONTINUOUS = "measure_continuous: {for: 1 s}"
# 2 V at the input and a gain of 10, less the divider of output and load; into the load as it was measured.
HIGHEST_W = {
    "A": (20.0 * 4.013 / (4.013 + 0.02)) ** 2 / 4.013,
    "B": (20.0 * 3.991 / (3.991 + 0.02)) ** 2 / 3.991,
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("short")


@pytest.fixture(scope="module")
def short(folder: Path) -> Measured:
    """A search that ends before an amplifier of low gain, rated 150 W, reaches its limit."""
    return measured(folder, SEARCH, CONTINUOUS, bench=EIGHT_BITS, amplifier=LOW_GAIN)


def powers(run: Measured, name: str = "continuous_power") -> dict[str, Figure]:
    return {figure.channel: figure for figure in run.figures(name)}


def test_power_is_at_least_what_the_highest_level_gave(short: Measured) -> None:
    found = powers(short)
    assert {figure.bound for figure in found.values()} == {"at least"}
    for channel, true_w in HIGHEST_W.items():
        assert 0.8 * true_w < found[channel].value <= true_w
    assert found["total"].value <= sum(HIGHEST_W.values())


def test_a_rating_beyond_the_bound_is_inconclusive_and_not_failed(short: Measured) -> None:
    assert {powers(short)[channel].verdict for channel in "AB"} == {"inconclusive"}
    assert short.outcome.exit_code == 1


def test_the_reason_says_what_ended_the_search_and_what_to_do(short: Measured) -> None:
    reason = powers(short)["A"].bound_reason
    assert reason == (
        "output A showed distortion below 1 % up to 2 V, the highest level of the search; "
        "give `to: 4 V`, or turn the amplifier's gain control up"
    )
    assert any(reason in note for note in short.notes)


def test_voltages_and_current_are_bounds_too_where_nothing_reached_its_limit(short: Measured) -> None:
    names = ("output_rms", "output_peak", "supply_current")
    assert {figure.bound for name in names for figure in short.figures(name) if figure.bound != ""} == {"at least"}
    assert {figure.bound for figure in short.figures("thd_n")} <= {"", "at most"}


def test_a_bound_that_suffices_passes(tmp_path: Path) -> None:
    run = measured(tmp_path, SEARCH, CONTINUOUS, bench=EIGHT_BITS, amplifier=SMALL_PLATE)
    assert {powers(run)[channel].verdict for channel in "AB"} == {"passes"}
    assert run.outcome.exit_code == 0


def test_the_bound_stands_in_the_table_and_is_verified(short: Measured) -> None:
    rows = short.table[short.table["figure"] == "continuous_power"]
    assert set(rows["bound"]) == {"at least"}
    assert rows["bound_reason"].str.contains("turn the amplifier's gain control up").all()
    assert short.verification.agrees


def test_bursts_that_never_reach_the_bound_give_bounds(tmp_path: Path) -> None:
    step = "measure_burst: {cycles: [1, 8], from: 500 mV, to: 2 V, expect: {burst_power_clean: above 150 W}}"
    run = measured(tmp_path, step, bench=EIGHT_BITS, amplifier=LOW_GAIN)
    for name in ("burst_power_clean", "burst_power_first", "burst_power_last"):
        assert {figure.bound for figure in run.figures(name)} == {"at least"}
    assert {figure.verdict for figure in run.figures("burst_power_clean") if figure.channel != "total"} == {
        "inconclusive"
    }
    assert run.verification.agrees


def test_an_output_that_a_limiter_holds_gives_a_bound_that_names_the_limiter(tmp_path: Path) -> None:
    run = measured(tmp_path, SEARCH, CONTINUOUS, bench=EIGHT_BITS, amplifier=LIMITER)
    found = powers(run)["A"]
    assert (found.bound, found.verdict) == ("at least", "inconclusive")
    assert found.value <= 16.0**2 / 4.013
    assert "a limiter" in found.bound_reason
    assert "`to:" not in found.bound_reason


def test_a_requirement_on_a_bound_that_does_not_suffice_says_why(tmp_path: Path) -> None:
    require = "require: {continuous_power: above 150 W}"
    run = measured(tmp_path, SEARCH, CONTINUOUS, require, bench=EIGHT_BITS, amplifier=LOW_GAIN)
    told = str(run.outcome.error)
    assert "continuous_power of channel A is at least " in told
    assert "which is inconclusive: output A showed distortion below 1 % up to 2 V" in told


def test_preflight_warns_that_the_search_cannot_reach_the_rating() -> None:
    checked = look(files(POWER_ON_LINE, LOADED, SEARCH, CONTINUOUS, "power_off", amplifier=LOW_GAIN))
    (warning,) = checked.warnings
    # 150 W into 4 ohm are 24.5 V, and a gain of 20 dB makes 20 V of 2 V.
    assert "the search goes up to 2 V, which gives 100 W into 4 ohm at a gain of 20 dB, and the plate says 150 W" in (
        warning
    )
    assert "give `to: 4 V`" in warning


def test_preflight_names_the_generator_where_it_gives_no_more() -> None:
    edits = {"ratings: {level: 7 V": "ratings: {level: 2 V"}
    checked = look(files(POWER_ON_LINE, LOADED, SEARCH, CONTINUOUS, "power_off", amplifier=LOW_GAIN, bench=edits))
    (warning,) = checked.warnings
    assert "turn the amplifier's gain control up: the generator gives no more than 2 V" in warning


def test_preflight_has_nothing_against_a_search_that_reaches_the_rating() -> None:
    assert look(files(POWER_ON_LINE, LOADED, SEARCH, CONTINUOUS, "power_off")).warnings == ()
    assert math.sqrt(150.0 * 4.0) / 10 ** (30 / 20) < 2.0  # the level of rated power


def test_page_and_pictures_show_the_bound(short: Measured, folder: Path) -> None:
    assert short.outcome.is_safe
    (run_folder,) = [path.parent for path in folder.rglob("journal.jsonl")]
    write_report(read_run_record(run_folder))
    page = (run_folder / "report.html").read_text("utf-8")
    assert "Arrow upward: at least so much." in page
    assert "≥ " in page
    assert "the highest level of the search" in page


# -- one common level, and the first channel to clip ends the search ---------------------------------------------------

QUIETER_B: Edits = {"  turn_on_delay: 1.5 s": "  turn_on_delay: 1.5 s\n  faults: {gain_mismatch: {B: -1.5 dB}}"}
BURSTS = "measure_burst: {cycles: [8], thd_n: 1 %, from: 500 mV, to: 2 V, expect: {burst_power_clean: above 150 W}}"


@pytest.fixture(scope="module")
def mismatched(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """Output B has 1.5 dB less gain, and is as good as A."""
    folder = tmp_path_factory.mktemp("mismatched")
    return measured(folder, SEARCH, CONTINUOUS, BURSTS, bench=EIGHT_BITS, amplifier=QUIETER_B)


def test_a_good_channel_that_stayed_below_the_bound_does_not_fail(mismatched: Measured) -> None:
    found = powers(mismatched)
    assert (found["A"].bound, found["B"].bound, found["total"].bound) == ("", "at least", "at least")
    assert found["B"].verdict == "inconclusive"
    assert found["A"].verdict != "fails"
    # 1.5 dB less gain is 1.5 dB less power while neither clips much.
    assert found["B"].value == pytest.approx(found["A"].value * 10 ** (-1.5 / 10), rel=0.15)


def test_the_reason_names_the_channel_that_ended_the_search(mismatched: Measured) -> None:
    reason = powers(mismatched)["B"].bound_reason
    assert reason.startswith("output A reached 1 % of distortion first, at ")
    assert "where output B showed" in reason
    assert "give `driven: each`" in reason
    assert powers(mismatched)["A"].bound_reason == ""


def test_bursts_tell_a_channel_that_stayed_below_as_at_least_too(mismatched: Measured) -> None:
    for name in ("burst_power_clean", "burst_power_first", "burst_power_last"):
        assert {channel: figure.bound for channel, figure in powers(mismatched, name).items()} == {
            "A": "",
            "B": "at least",
            "total": "at least",
        }
    assert powers(mismatched, "burst_power_clean")["B"].verdict == "inconclusive"
    assert mismatched.verification.agrees


def test_two_channels_that_clip_together_both_have_values(tmp_path: Path) -> None:
    run = measured(tmp_path, SEARCH, CONTINUOUS)
    assert {figure.bound for figure in powers(run).values()} == {""}
