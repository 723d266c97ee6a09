"""benchctl preflight: what a run would do and take, and why it is refused."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchctl.quantity import in_minutes
from tests.cli.conftest import Command
from tests.cli.files import IDLE, TONE, amplifier, bench, sequence

LONG_TONE = ("{for: 1 s, level: 500 mV}", "{for: 600 s, level: 800 mV}")


DEMO = ("preflight", "burst_and_continuous", "--bench", "workshop", "--amplifier", "hx2150")


def test_the_steps_are_a_tree_with_time_energy_current_and_heatsink(benchctl: Command) -> None:
    ended = benchctl(*DEMO)
    assert ended.exit_code == 0
    lines = ended.out.splitlines()
    assert next(line for line in lines if "ohm, 1 kHz" in line).lstrip("│ ├─").startswith("4 ohm, 1 kHz")
    rows = [line for line in lines if "3.4 measure_continuous" in line]
    assert len(rows) == 2, "one for each load"
    assert all(re.search(r"5 s +[\d.]+ kJ +[\d.]+ A +[\d.]+ degC$", row) for row in rows)
    assert lines[-1] == "Preflight passes."


def test_current_and_heatsink_are_drawn_against_time_with_their_units(benchctl: Command) -> None:
    shown = benchctl(*DEMO).out
    assert "Highest expected supply current, A\n" in shown
    assert "Expected heatsink temperature, degC, starting at 25 degC; its maximum is 85 degC\n" in shown
    assert re.search(r"^ +0 s +5\d s +1:5\d min$", shown, re.MULTILINE)


@pytest.mark.parametrize(
    ("driver", "said"),
    [("supply/scpi99_watchdog", "off where it hears nothing of the guard for 10 s"), ("supply/scpi99", "stay on")],
)
def test_a_note_says_whether_the_supply_has_a_watchdog_and_asks_for_nothing(
    driver: str, said: str, benchctl: Command, tmp_path: Path
) -> None:
    file = bench(tmp_path, ("driver: supply/scpi99_watchdog", f"driver: {driver}"))
    ended = benchctl("preflight", "quick_check", "--bench", str(file), "--amplifier", "hx2150")
    (note,) = [line for line in ended.out.splitlines() if line.startswith("Note: ")]
    assert "watchdog" in note
    assert said in note
    assert ended.exit_code == 0


def test_open_waits_are_told_with_the_longest_they_may_last(benchctl: Command) -> None:
    shown = benchctl(*DEMO).out
    assert len(re.findall(r"3.1 cool +0 s 40:00 min", shown)) == 2
    assert "cooling and settling included; at most 1:2" in shown


def test_long_loops_are_folded_unless_all_is_asked_for(benchctl: Command) -> None:
    """Six frequencies of three steps each; what is folded is counted all the same."""
    bandwidth = ("preflight", "power_bandwidth", "-b", "workshop", "-a", "hx2150")
    folded, whole = benchctl(*bandwidth).out, benchctl(*bandwidth, "--all").out
    assert "4 more, 20 Hz to 10 kHz" in folded
    assert "--all shows every turn" in folded
    assert [text.count("find_clean_level") for text in (folded, whole)] == [2, 6]
    assert "--all" not in whole
    sweeps = {line for text in (folded, whole) for line in text.splitlines() if "sweep frequency" in line}
    assert len({re.sub(r"\s+", " ", line) for line in sweeps}) == 1


def test_a_sequence_that_fits_a_screen_is_not_folded(benchctl: Command) -> None:
    assert "--all" not in benchctl(*DEMO).out


@pytest.mark.parametrize(
    ("steps", "on_bench", "of_unit", "says"),
    [
        (TONE, ("ratio: 20, rating: 400 V", "ratio: 20, rating: 10 V"), None, "its probe is rated 10 V"),
        (TONE, ("kind: differential", "kind: single-ended"), ("outputs: grounded", "outputs: floating"), "earth lead"),
        (TONE.replace("4 ohm", "1 ohm"), None, None, "below the amplifier's minimum load of 2 ohm"),
        (TONE.replace(*LONG_TONE), ("rated_power: 600 W", "rated_power: 60 W"), None, "is rated 60 W"),
        (TONE.replace(*LONG_TONE), None, ("fuse: 80 A", "fuse: 20 A"), "fuse of 20 A: the fuse will open"),
        (IDLE.replace("14.4 V", "18 V"), None, None, "more than the amplifier bears; stay within 16 V"),
        (IDLE.replace("90 A", "130 A"), None, None, "more than the supply's output 'main' gives; stay within 120 A"),
        (IDLE, ("{heatsink: 101, ", "{"), None, "no thermometer channel is on the heatsink"),
    ],
)
def test_a_hazard_gives_exit_code_3_and_its_reason_in_figures(
    benchctl: Command,
    tmp_path: Path,
    *,
    steps: str,
    on_bench: tuple[str, str] | None,
    of_unit: tuple[str, str] | None,
    says: str,
) -> None:
    files = (sequence(tmp_path, steps), "-b", bench(tmp_path, *filter(None, [on_bench])))
    ended = benchctl("preflight", *files, "-a", amplifier(tmp_path, *filter(None, [of_unit])))
    assert ended.exit_code == 3
    first_line, *hazards = ended.err.splitlines()
    assert first_line == "Preflight refuses; nothing was energised:"
    assert any(says in hazard for hazard in hazards), ended.err
    assert all(hazard.startswith("  - ") for hazard in hazards)


def test_a_step_that_needs_hands_is_refused_only_when_nobody_is_there(benchctl: Command, tmp_path: Path) -> None:
    by_hand = bench(tmp_path, ("{by: supply, output: remote, voltage: 12 V}", "{by: hand}"))
    arguments = ("preflight", sequence(tmp_path), "-b", by_hand, "-a", "hx2150")
    assert benchctl(*arguments).exit_code == 0
    assert benchctl(*arguments, "--unattended").exit_code == 3


def test_json_holds_the_same(benchctl: Command, tmp_path: Path) -> None:
    weak = bench(tmp_path, ("rated_power: 600 W", "rated_power: 60 W"))
    ended = benchctl("preflight", sequence(tmp_path, TONE.replace(*LONG_TONE)), "-b", weak, "-a", "hx2150", "--json")
    assert ended.exit_code == 3
    assert [step["step"] for step in ended.data["steps"]][-2:] == ["4 measure_continuous", "5 power_off"]
    assert ended.data["duration_s"] > 600.0
    assert "is rated 60 W" in ended.data["hazards"][0]


def test_json_holds_the_tree_and_the_series_that_are_shown(benchctl: Command) -> None:
    data = benchctl(*DEMO, "--json").data
    sweep = data["tree"]["parts"][2]
    assert [part["title"] for part in sweep["parts"]] == ["4 ohm, 1 kHz", "2 ohm, 1 kHz"]
    assert next(part["title"] for part in sweep["parts"][0]["parts"]) == "cool"
    assert data["tree"]["energy_j"] == pytest.approx(sum(step["expected"]["energy_j"] for step in data["steps"]))
    times_s = [instant["time_s"] for instant in data["series"]]
    assert times_s == sorted(times_s)
    assert (times_s[0], times_s[-1]) == (0.0, pytest.approx(data["expected_s"]))
    assert data["series"][0]["heatsink_c"] == data["ambient_c"] == 25.0
    assert max(instant["peak_a"] for instant in data["series"]) == data["tree"]["peak_a"]


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.4, "0 s"), (59.4, "59 s"), (59.6, "1:00 min"), (125, "2:05 min"), (3599, "59:59 min"), (6000, "1:40 h")],
)
def test_a_length_of_time_is_told_as_a_person_says_it(seconds: float, words: str) -> None:
    assert in_minutes(seconds) == words
