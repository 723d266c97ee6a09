"""What a comparison says: the runs by their right names, changes in words, and nothing that was not seen."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.archive.changes import Change, Occasion
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.report.comparison.compared import Comparison, compare
from benchctl.report.comparison.findings import findings_of, line_of, other_lines
from benchctl.report.comparison.sentence import sentence_of
from benchctl.report.comparison.wording import change_in_words
from benchctl.report.reading.run_record import RunRecord, read_run_record

CLEAN = Conditions(4.0, 1e3, 0.8, "clean", 14.4, ("A", "B"), thd_limit=0.01)
PLACE = Occasion("5 measure_continuous", "continuous", CLEAN, ("", "", None, None, None))


@pytest.fixture(scope="module")
def run_record(whole: Path) -> RunRecord:
    return read_run_record(whole)


def amplifier(run_record: RunRecord, **fields: object) -> Amplifier:
    assert run_record.amplifier is not None
    return run_record.amplifier.model_copy(update=fields)


def made(
    run_record: RunRecord, day: str, *figures: Figure, step: str = "5 measure_continuous", **fields: object
) -> RunRecord:
    """The run as if it had been made on a day in November, with these figures only, of a unit with a serial number."""
    entry = FiguresEntry(step, "continuous", {}, {}, {"every_s": None}, CLEAN, list(figures))
    folder = RunFolder(run_record.folder.path.parent / f"202611{day}-100000-sample")
    unit = {"amplifier": amplifier(run_record, serial="17")}
    return replace(run_record, folder=folder, entries=(entry,), **unit | fields)  # type: ignore[arg-type]


def power(watts: float, channel: str = "A", uncertainty: float | None = 2.0) -> Figure:
    return Figure("continuous_power", watts, "W", uncertainty, 2.0, channel=channel)


def lines(comparison: Comparison) -> list[str]:
    return [str(line_of(finding, comparison)) for finding in findings_of(comparison)]


# -- names ---------------------------------------------------------------------------------------------------------


def test_runs_of_one_serial_number_are_before_and_after_in_whatever_order_they_are_given(run_record: RunRecord) -> None:
    first, second = made(run_record, "24", power(132.0)), made(run_record, "25", power(159.0))
    for given in ([first, second], [second, first]):
        comparison = compare(given)
        assert comparison.names.each == ("before", "after")
        assert lines(comparison) == ["Continuous power into 4 ohm, channel A: 132 W before, 159 W after: 20 % more"]


def test_without_a_serial_number_nobody_says_that_it_is_the_same_unit(run_record: RunRecord) -> None:
    unknown = {"amplifier": amplifier(run_record, serial=None)}
    comparison = compare(
        [made(run_record, "24", power(132.0), **unknown), made(run_record, "25", power(159.0), **unknown)]
    )
    assert comparison.names.each == ("in the earlier run", "in the later run")
    assert comparison.names.note.startswith("No serial number is on record")


def test_two_units_are_called_by_what_tells_them_apart(run_record: RunRecord) -> None:
    one, other = made(run_record, "24", power(132.0)), made(run_record, "23", power(159.0))
    sister = replace(other, amplifier=amplifier(run_record, serial="18"))
    assert compare([one, sister]).names.each == ("serial 17", "serial 18")
    stranger = replace(other, amplifier=amplifier(run_record, title="KX 240"))
    comparison = compare([one, stranger])
    assert comparison.names.each == ("HX 2150", "KX 240")
    assert lines(comparison) == ["Continuous power into 4 ohm, channel A: HX 2150 132 W, KX 240 159 W: 20 % more"]


def test_positions_of_a_filter_are_called_by_their_answers(run_record: RunRecord) -> None:
    def asked(run: RunRecord, answer: str) -> RunRecord:
        return replace(run, events=(*run.events, {"event": "hands", "answers": {"filters and boost": answer}}))  # type: ignore[arg-type]

    off, on = asked(made(run_record, "24", power(132.0)), "off"), asked(made(run_record, "25", power(33.0)), "80 Hz")
    assert compare([off, on]).names.each == ("filters and boost: off", "filters and boost: 80 Hz")


# -- one change in words -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (power(132.0), power(159.0), "20 % more"),  # 159 / 132 = 1.2045
        (power(159.0), power(152.0), "4.4 % less"),  # 152 / 159 = 0.956
        (power(10.0), power(44.0), "4.4 times as much"),
        (power(0.3), power(31.5), "105 times as much"),
        (Figure("dc_offset", -0.031, "V", 1e-4), Figure("dc_offset", -0.009, "V", 1e-4), "71 % smaller"),
        (Figure("dc_offset", -0.009, "V", 1e-4), Figure("dc_offset", 0.002, "V", 1e-4), "11.00 mV higher"),
        (Figure("efficiency", 0.52, "1", 0.01), Figure("efficiency", 0.61, "1", 0.01), "9.0 percentage points more"),
        (Figure("gain", 20.0, "1", 0.2), Figure("gain", 10.0, "1", 0.1), "6.02 dB less"),  # 20 log 2
        (
            Figure("heatsink_temperature", 80.0, "degC", 1.0),
            Figure("heatsink_temperature", 74.0, "degC", 1.0),
            "6.0 °C lower",
        ),
        # 140 W or more, and now 122 W at the most: 122 / 140 = 0.871
        (replace(power(140.0, uncertainty=None), bound="at least"), power(120.0), "at least 13 % less"),
        (power(120.0), None, ""),
    ],
)
def test_a_change_in_words(before: Figure, after: Figure | None, words: str) -> None:
    assert change_in_words(Change(PLACE, before, after)) == words


# -- what is said of several ---------------------------------------------------------------------------------------


def test_what_lies_inside_the_combined_uncertainty_is_no_change(run_record: RunRecord) -> None:
    """2 W each make 2.83 W."""
    comparison = compare([made(run_record, "24", power(150.0)), made(run_record, "25", power(152.8))])
    assert lines(comparison) == []
    assert dict(other_lines(comparison))["Not changed beyond the uncertainty"] == "continuous power"
    said = str(sentence_of(comparison))
    assert said.endswith("150 W before, 153 W after: no change beyond the uncertainty of 2.8 W")


def test_channels_stand_together_and_the_largest_change_comes_first(run_record: RunRecord) -> None:
    idle = Figure("idle_current", 3.0, "A", 0.1)
    before = [power(132.0), power(130.0, "B"), power(262.0, "total"), idle, Figure("gain", 31.0, "1", 0.1, channel="A")]
    after = [power(159.0), power(150.0, "B"), power(309.0, "total"), replace(idle, value=1.5), before[-1]]
    comparison = compare([made(run_record, "24", *before), made(run_record, "25", *after)])
    assert lines(comparison) == [
        "Idle current into 4 ohm: 3.00 A before, 1.50 A after: 50 % less",
        "Continuous power into 4 ohm, channels A and B: 132 W and 130 W before, 159 W and 150 W after: 15 to 20 % more",
    ]
    said = str(sentence_of(comparison))
    assert said.startswith("Simulated: continuous power into 4 ohm, channels A and B: 132 W and 130 W before")
    assert said.endswith("15 to 20 % more; also changed: idle current")


def test_one_kind_of_figure_at_many_places_is_one_line(run_record: RunRecord) -> None:
    """20 log 31 = 29.83, and half of it is 20 log 2 = 6.02 less."""
    gains = [Figure("gain", 31.0, "1", 0.1, channel="A", frequency_hz=hertz) for hertz in (20.0, 1e3, 20e3)]
    halved = [replace(gains[0], value=15.5), replace(gains[1], value=28.0), gains[2]]
    comparison = compare([made(run_record, "24", *gains), made(run_record, "25", *halved)])
    assert lines(comparison) == [
        "Gain into 4 ohm at 20 Hz, channel A: 29.83 dB before, 23.81 dB after: 6.02 dB less (and at 1 more place)"
    ]


@pytest.mark.parametrize(
    "unsure",
    [
        replace(power(90.0), contradiction="supply and clamp show other currents"),
        power(90.0, uncertainty=None),
    ],
)
def test_what_cannot_be_told_is_called_so_and_not_a_change(run_record: RunRecord, unsure: Figure) -> None:
    comparison = compare([made(run_record, "24", power(150.0)), made(run_record, "25", unsure)])
    assert lines(comparison) == []
    told = dict(other_lines(comparison))
    assert told["Not told, since it is a bound, contradicted or of unknown uncertainty"] == "continuous power"
    assert "changed" not in str(sentence_of(comparison)).replace("nothing changed", "")


def test_a_power_that_is_gone_after_the_same_steps_is_the_first_line(run_record: RunRecord) -> None:
    idle = Figure("idle_current", 3.0, "A", 0.1)
    before = made(run_record, "24", idle, power(132.0), power(131.0, "B"))
    after = made(run_record, "25", replace(idle, value=1.0), power(132.0))
    first, second = lines(compare([before, after]))
    assert first == "Continuous power into 4 ohm, channel B: 131 W before, not measured after"
    assert second.startswith("Idle current")


# -- other steps ---------------------------------------------------------------------------------------------------


def burst(watts: float, every_s: float, step: str) -> FiguresEntry:
    figure = Figure("burst_power_clean", watts, "W", 2.0, 2.0, channel="A", burst_cycles=8)
    return FiguresEntry(step, "burst", {}, {}, {"every_s": every_s, "low_level_ratio": 0.1}, CLEAN, [figure])


@pytest.mark.parametrize(("every_s", "is_alike"), [(0.5, True), (0.25, False)])
def test_two_sequences_are_compared_where_they_overlap(run_record: RunRecord, every_s: float, is_alike: bool) -> None:
    """Bursts that follow each other faster give the supply less time."""
    one = made(run_record, "24", power(132.0), Figure("gain", 31.0, "1", 0.1, channel="A"))
    other = made(run_record, "25", power(159.0), step="3.2 measure_continuous [4 ohm]", sequence=None)
    one = replace(one, entries=(*one.entries, burst(143.0, 0.5, "4 measure_burst")))
    other = replace(other, entries=(*other.entries, burst(177.0, every_s, "3.1 measure_burst [4 ohm]")))
    comparison = compare([one, other])
    expected = [
        "Clean burst power, 8 cycles into 4 ohm, channel A: 143 W before, 177 W after: 24 % more",
        "Continuous power into 4 ohm, channel A: 132 W before, 159 W after: 20 % more",
    ]
    assert lines(comparison) == expected[0 if is_alike else 1 :]
    lone = dict(other_lines(comparison))["Measured in one run only"]
    assert "gain" in lone
    assert ("clean burst power" in lone) is not is_alike


def test_all_channels_driven_are_the_same_condition_on_units_with_other_channels(run_record: RunRecord) -> None:
    four = ("A", "B", "C", "D")
    one, other = made(run_record, "24", power(132.0)), made(run_record, "25", power(159.0))
    entry = replace(other.entries[0], conditions=replace(CLEAN, driven=four))
    big = replace(other, entries=(entry,), amplifier=amplifier(run_record, title="CX 4090", channels=four))
    assert lines(compare([one, big])) == [
        "Continuous power into 4 ohm, channel A: HX 2150 132 W, CX 4090 159 W: 20 % more"
    ]


def test_of_three_runs_each_other_one_is_held_against_the_first(run_record: RunRecord) -> None:
    """The gain is in the last one only, so there is nothing to hold it against."""
    gain = Figure("gain", 31.0, "1", 0.1, channel="A")
    days = {"24": [power(132.0)], "25": [power(133.0)], "26": [power(159.0), gain]}
    comparison = compare([made(run_record, day, *figures, sequence=None) for day, figures in days.items()])
    (line,) = lines(comparison)
    first, _, third = comparison.names.each
    assert first == "run of 2026-11-24 10:00 UTC"
    assert line == f"Continuous power into 4 ohm, channel A: {first} 132 W, {third} 159 W: 20 % more"


def test_nothing_in_common_is_said(run_record: RunRecord) -> None:
    one = made(run_record, "24", power(132.0))
    other = made(run_record, "25", Figure("gain", 31.0, "1", 0.1, channel="A"), sequence=None)
    assert str(sentence_of(compare([one, other]))) == (
        "Simulated: no figure was measured under the same conditions in both runs"
    )


def test_a_run_that_was_cut_off_is_named_in_the_sentence(run_record: RunRecord) -> None:
    begun = max(place for place, event in enumerate(run_record.events) if event["event"] == "step started")
    cut = made(run_record, "25", power(159.0), events=run_record.events[: begun + 1])
    sentence = str(sentence_of(compare([made(run_record, "24", power(132.0)), cut])))
    assert sentence.endswith("; the run after was interrupted")


def test_why_a_run_lacks_a_figure_is_not_guessed(run_record: RunRecord) -> None:
    constant = Figure("heatsink_time_constant", 508.0, "s", 20.0)
    comparison = compare([made(run_record, "24", power(150.0)), made(run_record, "25", power(150.0), constant)])
    assert lines(comparison) == []
    assert dict(other_lines(comparison))["Measured in one run only"] == "time constant of the heatsink"


def numbers_in(text: str) -> Sequence[str]:
    return re.findall(r"\d+ W", text)


def test_every_power_in_the_sentence_is_that_of_a_figure(run_record: RunRecord) -> None:
    comparison = compare([made(run_record, "24", power(131.6)), made(run_record, "25", power(158.9))])
    assert numbers_in(str(sentence_of(comparison))) == ["132 W", "159 W"]
