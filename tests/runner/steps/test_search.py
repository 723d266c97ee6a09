"""What the search for a clean level makes of distortion that is not clipping, on an oscilloscope of 8 bits and 3 %.

The HX 2150 clips at about 160 W into 4 ohm, whatever its crossover distortion and its noise.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.report.page import write_report
from benchctl.report.reading.run_record import read_run_record
from tests.runner.measured import Measured, measured
from tests.runner.rig import Edits

EIGHT_BITS: Edits = {
    "bits: 12": "bits: 8",
    "voltage: {reading: 0.5 %, range: 0.1 %}": "voltage: {reading: 3 %, range: 1 %}",
}
SEARCH = "find_clean_level: {thd_n: 1 %, from: 50 mV, to: 2 V}"
CONTINUOUS = "measure_continuous: {for: 1 s}"


def physics(**values: str) -> Edits:
    """The edit of the amplifier's file that sets these of its simulation."""
    return {"simulation:\n": "simulation:\n" + "".join(f"  {key}: {value}\n" for key, value in values.items())}


# A dead zone of d leaves 0.42 d of third harmonic, 4 d / (3 pi): 3 % of the 2.26 V peak that 50 mV give.
CROSSOVER = physics(crossover="160 mV")
# 12 mV at the input, from 20 Hz to 20 kHz.
NOISY: Edits = {"noise: 0.3 mV": "noise: 380 mV"}


# Crossover loss only beyond class A: a hump of 2 % about 50 mV, and one at a fifth of the clean level.
HUMPS = {
    "at 50 mV": physics(crossover="160 mV", imperfections="{class_a: 1.5 V}"),
    "at a fifth of the level": physics(crossover="600 mV", imperfections="{class_a: 5 V}"),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("crossover")


@pytest.fixture(scope="module")
def crossover(folder: Path) -> Measured:
    return measured(folder, SEARCH, CONTINUOUS, bench=EIGHT_BITS, amplifier=CROSSOVER)


def levels_tried_v(run: Measured) -> list[float]:
    return [each["level_v"] for event in run.events if event["event"] == "search" for each in event["exposures"]]


def test_crossover_distortion_at_low_levels_does_not_end_the_search(crossover: Measured) -> None:
    (power,) = [figure for figure in crossover.figures("continuous_power") if figure.channel == "A"]
    assert power.value == pytest.approx(160.0, rel=0.08)
    assert not power.bound


@pytest.mark.parametrize("name", HUMPS)
def test_a_hump_above_a_clean_start_does_not_end_the_search_either(name: str, tmp_path: Path) -> None:
    search = SEARCH.replace("from: 50 mV", "from: 10 mV")
    run = measured(tmp_path, search, CONTINUOUS, bench=EIGHT_BITS, amplifier=HUMPS[name])
    (power,) = [figure for figure in run.figures("continuous_power") if figure.channel == "A"]
    assert power.value == pytest.approx(160.0, rel=0.08)
    assert any("not clipping" in note for note in run.notes)
    assert min(levels_tried_v(run)) == pytest.approx(0.01, rel=0.01), "the start was clean"


def test_distortion_beside_clipping_is_told_with_its_levels(crossover: Measured) -> None:
    (note,) = [note for note in crossover.notes if "not clipping" in note]
    assert note.startswith("clean steady level: distortion exceeds 1 % from 35.4 mV to ")
    assert "falls again as the level rises" in note


def test_the_page_says_so_at_its_head(crossover: Measured, folder: Path) -> None:
    assert crossover.outcome.is_safe
    (run_folder,) = [path.parent for path in folder.rglob("journal.jsonl")]
    write_report(read_run_record(run_folder))
    page = (run_folder / "report.html").read_text("utf-8")
    assert "What the searches for clean levels met" in page
    assert "crossover distortion, noise and hum do so" in page


def test_the_doubt_of_the_level_is_in_the_uncertainty_of_power_and_is_verified(crossover: Measured) -> None:
    (found,) = [event for event in crossover.events if event["event"] == "clean level"]
    assert 0.0 < found["level_u"] < 0.003
    assert crossover.verification.agrees


def test_noise_above_the_bound_at_every_level_is_told_without_climbing_far_beyond_clipping(tmp_path: Path) -> None:
    run = measured(tmp_path, SEARCH, CONTINUOUS, bench=EIGHT_BITS, amplifier=NOISY)
    assert not run.figures("continuous_power")
    (note,) = [note for note in run.notes if "at every level" in note]
    # 380 mV beside the 24.7 V of the level of rated power.
    assert "distortion is above 1 % at every level: it falls to 1.6 % at 774.6 mV" in note
    assert max(levels_tried_v(run)) < 0.775 * 10 ** (1.1 / 20.0)


BURST = "measure_burst: {cycles: [1], every: 250 ms, thd_n: 1 %, to: 2 V}"


def test_a_gain_that_is_still_coming_back_is_waited_for_and_told(tmp_path: Path) -> None:
    """A release of 500 ms, after a tone of 2 V."""
    compressor = "{compressor: {threshold: 18 V, ratio: 10, attack: 5 ms, release: 500 ms}}"
    search = SEARCH.replace("50 mV", "100 mV")
    run = measured(tmp_path, search, search, CONTINUOUS, amplifier=physics(imperfections=compressor))
    (told,) = [note for note in run.notes if "after a rest of 3 s" in note]
    assert told.startswith("clean steady level: distortion at 100 mV was 1.")
    assert "The search starts again" in told
    _, passed, _ = [event["time_s"] for event in run.events if event["event"] == "search"]
    (told_s,) = [event["time_s"] for event in run.events if event.get("text") == told]
    assert told_s >= passed + 3.0
    assert run.figures("continuous_power")


def test_a_burst_that_an_all_pass_changes_at_every_level_is_inconclusive(tmp_path: Path) -> None:
    run = measured(tmp_path, BURST, bench=EIGHT_BITS, amplifier=physics(imperfections="{lag: {B: 200 Hz}}"))
    (told,) = [note for note in run.notes if "inconclusive" in note]
    assert "distortion of output B is above 1 % and about the same from " in told
    assert not run.figures("burst_power_clean")
    assert max(levels_tried_v(run)) < 0.1, "nothing is driven hard for it"


def test_no_level_is_advised_where_the_bound_is_passed_by_something_else_than_clipping(tmp_path: Path) -> None:
    search = SEARCH.replace("50 mV, to: 2 V", "10 mV, to: 60 mV")
    run = measured(tmp_path, search, bench=EIGHT_BITS, amplifier=HUMPS["at 50 mV"])
    told = [note for note in run.notes if "showed distortion below 1 % up to" in note]
    assert told
    assert not any("give `to:" in note for note in told)
    assert all("something else than clipping" in note for note in told)
