"""The sentence on a run: right for every way in which a run can end, and each of its numbers a figure of the run."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchctl.archive.evidence.findings import Findings
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bridging import amplifier_as_tested
from benchctl.documents.reader import load_amplifier, load_bench, load_sequence
from benchctl.measure.budget.figure import Figure, Verdict
from benchctl.measure.conditions import Conditions
from benchctl.report.headline.writing import headline_of
from benchctl.report.reading.run_record import RunRecord, read_run_record
from benchctl.report.reading.step_history import StepTaken

# HX 2150 is rated 150 W into 4 ohm and 250 W into 2 ohm at 14.4 V, two channels.
CLEAN = Conditions(4.0, 1000.0, 0.8, "clean", 14.4, ("A", "B"), thd_limit=0.01)
BEGAN = {"number": 1, "time_s": 0.0, "event": "run started", "simulated": [], "instruments": {}}
ENDED = {"number": 99, "time_s": 9.0, "event": "run ended", "reason": "finished", "exit_code": 0, "instruments": []}


def power(watts: float, channel: str = "A", verdict: Verdict = "passes", **more: Any) -> Figure:
    return Figure(**({"name": "continuous_power", "value": watts, "unit": "W", "expanded_uncertainty": 2.6} | more),
                  channel=channel, verdict=verdict)  # fmt: skip


def burst(watts: float, cycles: int, channel: str = "A") -> Figure:
    return power(watts, channel, "", name="burst_power_clean", burst_cycles=cycles)


def entry(*figures: Figure, analysis: str = "continuous", step: str = "6 measure", **changed: Any) -> FiguresEntry:
    return FiguresEntry(step, analysis, {}, {}, {}, replace(CLEAN, **changed), figures)


def single(name: str, value: float, unit: str, **more: Any) -> Figure:
    return Figure(name, value, unit, **more)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., RunRecord]:
    """A run with the entries of a case: finished and safe, of real instruments, nothing unwatched."""
    amplifier, bench = load_amplifier("hx2150"), load_bench("workshop")
    folder = RunFolder(tmp_path_factory.mktemp("run"))

    def made(*entries: FiguresEntry, **changed: Any) -> RunRecord:
        plain: dict[str, Any] = {"events": (BEGAN, ENDED), "steps": (), "amplifier": amplifier, "bench": bench}
        told = plain | changed
        return RunRecord(folder=folder, entries=entries, sequence=None, trend=None, missing=(), **told)

    return made


BOTH = entry(power(159.4), power(158.9, "B"), power(318.3, "total", ""))
BURSTS = entry(burst(193.8, 1), burst(193.1, 1, "B"), burst(176.0, 8), burst(175.0, 8, "B"), analysis="burst")
WEAKER = "the weaker channel, into 4 ohm, both driven, at 14.4 V"
USUAL = "159 W a channel into 4 ohm, both driven, at 14.4 V: 106 % of the rating"


def ended(reason: str, exit_code: int, *events: dict[str, Any], instruments: Any = ()) -> dict[str, Any]:
    last = ENDED | {"reason": reason, "exit_code": exit_code, "instruments": list(instruments)}
    return {"events": (BEGAN, *events, last)}


TRIP = {"number": 50, "time_s": 7.0, "event": "trip", "limit": "heatsink", "value": 86.23, "unit": "degC"}
NOT_OFF = {"instrument": "supply", "part": "output off", "confirmed": False, "detail": "no answer"}
SIMULATED = {"events": (BEGAN | {"simulated": ["oscilloscope"]}, ENDED)}
NOTHING_TOLD = {"events": (ENDED,)}
UNMEASURED = {"steps": (StepTaken("7 measure_noise", 7, 5.0, {}, unmeasured="the record was clipped"),)}
CHECKED = {"steps": (StepTaken("1 check_bench", 1, 0.0, {"kind": "check_bench"}, finished_s=9.0),)}
PROTECTED = entry(
    power(143.2, name="protection_power", verdict=""),
    single("protection_time", 720.0, "s"),
    analysis="protection",
    load_ohm=2.0,
)
CASES: dict[str, tuple[list[FiguresEntry], dict[str, Any], str]] = {
    "both driven, with bursts": ([BURSTS, BOTH], {}, f"{USUAL}; 193 W for one cycle"),
    "a rating that is not reached": (
        [entry(power(131.7, verdict="fails"), power(140.2, "B", "fails"))],
        {},
        f"132 W at A, {WEAKER}: 88 % of the rating, which it does not reach",
    ),
    "one channel fails, and both are told": (
        [entry(power(131.7, "B", "fails"), power(159.4))],
        {},
        f"132 W at B, {WEAKER}: 88 % of the rating, which it does not reach",
    ),
    "a difference that this bench cannot tell": (
        [entry(power(151.0, expanded_uncertainty=10.0), power(160.0, "B", expanded_uncertainty=11.0))],
        {},
        "151 W a channel into 4 ohm, both driven, at 14.4 V: 101 % of the rating",
    ),
    "too uncertain": (
        [entry(power(151.0, verdict="inconclusive"), power(151.2, "B", "inconclusive"))],
        {},
        "151 W a channel into 4 ohm, both driven, at 14.4 V: 101 % of the rating, too uncertain for a verdict",
    ),
    "another load fails": (
        [BOTH, entry(power(231.0, verdict="fails"), load_ohm=2.0)],
        {},
        f"{USUAL}; fails continuous power into 2 ohm (231 W, asked: above 250 W, the rating)",
    ),
    "a bound, which is rounded to the safe side": (
        [entry(power(158.96, bound="at least", expanded_uncertainty=None), power(160.0, "B"))],
        {},
        "At least 158 W a channel into 4 ohm, both driven, at 14.4 V: at least 105 % of the rating",
    ),
    "one channel driven at a time": (
        [entry(power(171.0), driven=("A",)), entry(power(170.0, "B"), driven=("B",))],
        {},
        "170 W a channel into 4 ohm, one channel driven at a time, at 14.4 V: 113 % of the rating, which is for all "
        "channels driven",
    ),
    "one channel measured": (
        [entry(power(159.4))],
        {},
        "159 W at A into 4 ohm, both driven, at 14.4 V: 106 % of the rating",
    ),
    "10 % of distortion, for which there is no rating": (
        [entry(power(205.0, verdict=""), power(204.0, "B", ""), thd_limit=0.1)],
        {},
        "204 W a channel into 4 ohm, both driven, at 10 % THD+N, at 14.4 V",
    ),
    "a voltage that is lost on the way": (
        [entry(power(150.0), power(150.0, "B"), single("supply_voltage", 13.62, "V", expanded_uncertainty=0.05))],
        {},
        "150 W a channel into 4 ohm, both driven, at 14.4 V of the supply, 13.62 V at its terminals: 100 % of the "
        "rating",
    ),
    "another voltage than the plate's": (
        [entry(power(190.0, verdict=""), power(191.0, "B", ""), supply_set_v=16.0)],
        {},
        "190 W a channel into 4 ohm, both driven, at 16 V",
    ),
    "a band of frequencies": (
        [entry(power(watts), frequency_hz=hertz) for watts, hertz in ((159.0, 1e3), (156.2, 20.0), (158.0, 2e4))],
        {},
        "156 W at A into 4 ohm at every frequency tried from 20 Hz to 20 kHz, both driven, at 14.4 V: 104 % of the "
        "rating",
    ),
    "levels that the sequence set, of which the highest is told": (
        [
            entry(power(5.1, verdict=""), power(5.2, "B", ""), drive="set", level_v=0.2),
            entry(power(20.3, verdict=""), power(20.4, "B", ""), single("efficiency", 0.2512, "1"), drive="set"),
        ],
        {},
        "20 W a channel into 4 ohm, both driven, at 14.4 V, at a set level; efficiency 25.1 %",
    ),
    "bursts only": ([BURSTS], {}, "193 W a channel for one cycle into 4 ohm, both driven, at 14.4 V"),
    "twice": (
        [BOTH, entry(power(152.0), power(151.0, "B"))],
        {},
        "151 W a channel into 4 ohm, both driven, at 14.4 V, the lowest of two measurements: 101 % of the rating",
    ),
    "tripped": (
        [BOTH],
        ended("heatsink is 86.2 degC", 4, TRIP),
        f"Stopped by a limit (heatsink at 86.23 °C) after {USUAL}",
    ),
    "tripped by what could not be read, before any figure": (
        [],
        ended("no reading", 4, TRIP | {"value": None}),
        "Stopped by a limit (heatsink could not be read) before any figure was measured",
    ),
    "not confirmed off": (
        [BOTH],
        ended("heatsink is 86.2 degC", 5, TRIP | {"reason": "heatsink is 86.2 degC"}, instruments=[NOT_OFF]),
        f"Stopped by a limit (heatsink at 86.23 °C) and not confirmed off after {USUAL}",
    ),
    "stopped by a person": ([BOTH], ended("Ctrl-C", 6), f"Stopped by the operator after {USUAL}"),
    "killed": ([BOTH], {"events": (BEGAN,)}, f"Interrupted after {USUAL}"),
    "protected": (
        [BOTH, PROTECTED],
        {},
        f"{USUAL}; the amplifier fell silent by itself at 143 W into 2 ohm after 12.0 min",
    ),
    "protected before any power": (
        [PROTECTED],
        {},
        "The amplifier fell silent by itself at 143 W into 2 ohm after 12.0 min",
    ),
    "simulated": ([BOTH], SIMULATED, f"Simulated: {USUAL}"),
    "perhaps simulated": ([BOTH], NOTHING_TOLD, f"Perhaps simulated: {USUAL}"),
    "a step without figures": ([BOTH], UNMEASURED, f"{USUAL}; one step gave no figures"),
    "instruments that contradict each other": (
        [entry(power(159.4, verdict="inconclusive", contradiction="the clamp reads half"), power(158.9, "B"))],
        {},
        f"{USUAL}; instruments contradict each other",
    ),
    "changed since": (
        [BOTH],
        {"findings": Findings(changed=("figures.csv was changed",))},
        f"{USUAL}; the run folder was changed after the run",
    ),
    "no power: the worst of each figure": (
        [
            entry(
                single("output_noise_a_weighted", 85.8e-6, "V", expanded_uncertainty=0.6e-6, channel="A"),
                single("output_noise_a_weighted", 80.1e-6, "V", expanded_uncertainty=0.6e-6, channel="B"),
                single("idle_current", 1.7013, "A", expanded_uncertainty=0.07),
                analysis="noise",
            )
        ],
        {},
        "Idle current 1.70 A, output noise, A-weighted 85.8 µV or less",
    ),
    "a bench check": ([], CHECKED, "The bench check found nothing wrong"),
    "nothing at all": ([], {}, "No figure was measured"),
}


@pytest.mark.parametrize("case", CASES)
def test_the_sentence_is_right(record: Callable[..., RunRecord], case: str) -> None:
    entries, changed, sentence = CASES[case]
    assert str(headline_of(record(*entries, **changed))) == sentence


def test_of_a_bridged_pair_the_sentence_says_so(record: Callable[..., RunRecord]) -> None:
    """Of HX 2150, A and B bridged are rated 500 W into 4 ohm."""
    sequence = load_sequence("bridged_burst_and_continuous", load_amplifier("hx2150"), {})
    amplifier = amplifier_as_tested(load_amplifier("hx2150"), sequence)
    tested = entry(power(517.2, "A+B"), driven=("A+B",))
    bench = load_bench("bridging_bench")
    said = str(headline_of(record(tested, amplifier=amplifier, bench=bench)))
    assert said.startswith("517 W into 4 ohm, A and B bridged, at 14.4 V: 103 % of the rating")


def test_what_nothing_saw_is_said(record: Callable[..., RunRecord]) -> None:
    unseen: Amplifier = load_amplifier("hx2150").model_copy(update={"unwatched": ("heatsink", "output B")})
    said = str(headline_of(record(entry(power(159.4)), amplifier=unseen)))
    assert said.endswith("106 % of the rating; B not measured; heatsink not watched")


def test_a_voltage_within_its_uncertainty_is_not_called_another(record: Callable[..., RunRecord]) -> None:
    read = single("supply_voltage", 13.98, "V", expanded_uncertainty=0.82)
    assert "terminals" not in str(headline_of(record(entry(power(150.0), read))))


def test_parts_of_the_sentence_can_be_shown_alone(record: Callable[..., RunRecord]) -> None:
    headline = headline_of(record(BURSTS, BOTH))
    assert (headline.value, headline.rest) == ("159 W", "a channel into 4 ohm, both driven, at 14.4 V")
    assert [clause.kind for clause in headline.clauses] == ["rating", "burst"]


def test_each_number_is_a_figure_of_figures_csv_rounded_as_shown(whole: Path) -> None:
    """The exact value of each is within half of the last digit shown; a share is of the plate's 150 W."""
    headline = headline_of(read_run_record(whole))
    with (whole / "figures.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [number.figure.name for number in headline.numbers][:3] == ["continuous_power"] * 2 + ["burst_power_clean"]
    for number in headline.numbers:
        figure = number.figure
        cycles = str(figure.burst_cycles or "")
        (value,) = {
            float(row["value"])
            for row in rows
            if (row["figure"], row["channel"], row["burst_cycles"]) == (figure.name, figure.channel, cycles)
            and float(row["value"]) == figure.value
        }
        shown, unit = number.text.split(" ")
        exact = 100.0 * value / 150.0 if unit == "%" else value / {"W": 1.0, "mV": 1e-3}[unit]
        digit = 10.0 ** -len(shown.partition(".")[2])
        assert abs(float(shown) - exact) <= 0.5 * digit
    given = {"14.4 V", "8 mV"}  # set, and asked for
    told = set(re.findall(r"-?[\d.]+ (?:W|%|m?V|A)", str(headline)))
    assert told == {number.text for number in headline.numbers} | given
