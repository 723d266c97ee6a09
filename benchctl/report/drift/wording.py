"""What a control chart says, in plain words, and what it would mean for figures."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchctl.archive.drift.series import MATTERS_FROM, Phase, Series
from benchctl.measure.agreement.reliance import LOAD, OUTPUT_VOLTAGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE, ZERO
from benchctl.measure.control.judging import FEWEST, FIRM
from benchctl.measure.control.rules import BY_CHANCE, Signal
from benchctl.report.words.days import day_of
from benchctl.report.words.quantities import in_signs, spoken

_QUARTER = f"less than a {'quarter' if MATTERS_FROM == 0.25 else 'part'} of what the bench file states"
# What rests on a quantity, and which instrument may have changed.
_MEANS: Mapping[str, str] = {
    SUPPLY_CURRENT: "Idle current, supply current and efficiency rest on the surer of the two, peak currents and those "
    "of bursts on the clamp: what rests on the one that has changed is off by that much. A third instrument tells "
    "which it is: see 'benchctl calibrate clamp'.",
    SUPPLY_VOLTAGE: "If it is the probe, the supply voltage at the terminals is off by that much, and with it the "
    "voltage at which each power is stated. See 'benchctl calibrate probes'.",
    OUTPUT_VOLTAGE: "If it is the probe or the oscilloscope, output voltages are off by that much and powers by twice "
    "that; it may also be the generator, or the check standard itself. See 'benchctl calibrate probes'.",
    LOAD: "If a resistor has changed, every power into it is off by that much; it may also be a contact, a lead or the "
    "check standard itself. Measure the resistors: see 'benchctl calibrate loads'.",
    ZERO: "It is subtracted in each run, so no figure is off by it as long as it is recorded. It shows that the input, "
    "or the clamp, is no longer what it was.",
}
_STANDARD = (
    "Either the bench or the check standard itself has changed. Where several figures changed together by the same "
    "part, look for what they share."
)


@dataclass(frozen=True)
class Finding:
    """A state in words: `word` in short, `look` as of a verdict, `text` with numbers and dates, `means` for figures."""

    word: str
    look: str
    text: str
    means: str = ""


def finding_of(series: Series) -> Finding:
    """What the present phase of a series says."""
    phase = series.present
    match phase.judged.state:
        case "too few":
            return Finding("too few values", "untold", f"{_values(phase)}; {FEWEST} at least are needed")
        case "within":
            return Finding("within limits", "passes", _provisional(phase))
        case "one outside":
            return _one_outside(series)
    return _changed(series)


def _values(phase: Phase) -> str:
    count = len(phase.points)
    return f"{count} value{'s' if count != 1 else ''}"


def _provisional(phase: Phase) -> str:
    return "" if phase.judged.is_firm else f"provisional, {_values(phase)} of {FIRM}"


def _one_outside(series: Series) -> Finding:
    phase, signal = series.present, _signal(series)
    is_newest = signal.last == len(phase.points) - 1
    after = "the newest; measure again" if is_newest else "those after it are within"
    by = change_in_words(series, phase.judged.change)
    text = f"on {_day(phase, signal.first)}, {by} than the centre line: {after}"
    return Finding("one value outside", "untold", _with_size(phase, text))


def _changed(series: Series) -> Finding:
    phase = series.present
    by = change_in_words(series, phase.judged.change)
    text = f"{by} {_than(series)}; {_since(series)}"
    if phase.is_alarm:
        return Finding("changed", "fails", text, _MEANS.get(series.reference.rests, _STANDARD))
    word = "changed a little" if phase.judged.goes_on else "changed for a time"
    return Finding(word, "untold", _with_size(phase, text))


def _than(series: Series) -> str:
    """What the change is told from."""
    return "at the end than at the beginning" if series.present.judged.goes_on else "for a time than before and after"


def _with_size(phase: Phase, text: str) -> str:
    if phase.matters:
        return text
    return f"{text}; {_QUARTER if phase.judged.is_beyond_chance else 'no more than chance can make'}"


def _since(series: Series) -> str:
    """The last signal: by which rule, and since when or until when."""
    phase, signal = series.present, _signal(series)
    until = "" if phase.judged.goes_on else f" until {_day(phase, signal.last)}"
    since = f"{'from' if until else 'since'} {_day(phase, signal.first)}{until}"
    side = "above" if signal.is_up else "below"
    match signal.kind:
        case "outside":
            return f"{side} the limits {since}"
        case "one side":
            return f"{signal.count} in a row {side} the centre line {since}"
    return f"{signal.count} in a row each {'higher' if signal.is_up else 'lower'} {since}"


def _signal(series: Series) -> Signal:
    signal = series.present.judged.signal
    assert signal is not None, "this state comes from a signal"
    return signal


def _day(phase: Phase, place: int) -> str:
    return day_of(phase.points[place].began)


def change_in_words(series: Series, change: float) -> str:
    """0.82 % higher; of a zero, of decibels and of per cent, the difference."""
    way = "higher" if change > 0.0 else "lower"
    unit, limits = series.reference.unit, series.present.judged.limits
    centre = limits.centre if limits is not None else 0.0
    if series.reference.kind == "zero" or unit in _AS_DIFFERENCE or centre == 0.0:
        return f"{spoken(abs(change), _AS_DIFFERENCE.get(unit, unit), _sigma(series))} {way}"
    return f"{100.0 * abs(change / centre):.2g} % {way}"


_AS_DIFFERENCE: Mapping[str, str] = {"dB": "dB", "%": "percentage points"}


def _sigma(series: Series) -> float:
    """The scatter of one value, as far as it is known."""
    limits = series.present.judged.limits
    return limits.sigma if limits is not None else 0.0


def value_in_words(series: Series, value: float) -> str:
    """A value of a series: a ratio to four places, anything else in its unit, as far as its scatter lets it be told."""
    if series.reference.kind == "gain":
        return f"{value:.4f}"
    return in_signs(spoken(value, series.reference.unit, _sigma(series)))


def allowed_in_words(series: Series) -> str:
    """What the bench file states, as ±."""
    phase = series.present
    if series.reference.kind == "gain":
        return f"±{100.0 * phase.allowed / abs(phase.values[-1]):.2g} %"
    return f"±{in_signs(spoken(phase.allowed, series.reference.unit))}"


def by_chance_in_words(judged: Sequence[Series]) -> str:
    """How many values outside chance alone makes among those of these series: one in 370."""
    expected = round(sum(len(each.present.points) for each in judged) / BY_CHANCE)
    return f"about {expected}" if expected else "less than one"


def headline_of(alarms: Sequence[Series], lone: Sequence[Series], judged: Sequence[Series], series: int) -> str:
    """One sentence on the bench."""
    if alarms:
        named = "; ".join(f"{each.reference.what}: {finding_of(each).text}" for each in alarms[:_NAMED])
        return f"{named[:1].upper()}{named[1:]}{_more(alarms)}"
    if not judged:
        return f"Nothing can be judged yet: no series has {FEWEST} values"
    untold = f"; {series - len(judged)} more have too few values" if series > len(judged) else ""
    outside = f"; {len(lone)} with one value outside, where chance makes {by_chance_in_words(judged)}" if lone else ""
    return f"No lasting change in {len(judged)} series{outside}{untold}"


_NAMED = 2


def _more(alarms: Sequence[Series]) -> str:
    left = len(alarms) - _NAMED
    return f"; and {left} more" if left > 0 else ""


def paragraphs() -> Iterator[str]:
    """How it is judged."""
    yield (
        "Each chart is one of single values after ISO 7870-2: a centre line at the mean, limits at 2.66 times the mean "
        "difference of one value to the next (3/d2, d2 = 1.128). They come from the first 25 values of a phase at "
        "most. A calibration, another probe ratio, or another serial number begins anew."
    )
    yield (
        "A change is found by nine values in a row on one side of the centre line, by seven that rise or fall one "
        "after the other, or by two of three values in a row outside on one side. One value outside alone may be that "
        "one run's."
    )
    yield (
        "Chance alone finds something, too: of 100 series of 24 sound values, about 6 have one value outside, and 2 "
        "are called changed. So a change is an alarm only if it reaches to the newest values, if the last values "
        "differ from the first by more than chance makes, and if that is a quarter or more of what the bench file "
        "states."
    )
    yield (
        "Two instruments that agree may have changed together, and a chart of one against the other says nothing of "
        "which one it was. It takes the place of no calibration."
    )
