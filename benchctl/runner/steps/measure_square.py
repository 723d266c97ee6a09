"""measure_square: a square wave at a small level and at the asked one, and with a capacitor beside the load."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from benchctl.documents.sequence_file.signal_steps import MeasureSquare
from benchctl.documents.text.words import outputs_in_words
from benchctl.errors import MeasurementError
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.analyses.square_figures import CAPACITIVE, LARGE, SMALL, SquareContext, role_of
from benchctl.measure.shapes.square import square_wave as shape_of
from benchctl.measure.signal.record import Capture
from benchctl.measure.signal.sine import fit_sine
from benchctl.quantity import render
from benchctl.runner.acting.agreement import before_power, worst_case_look
from benchctl.runner.acting.contexts import own_rise_times_s
from benchctl.runner.acting.drive import back_to_sine, connected_load_ohm, mute, square_wave, tone
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.record_check import refuse_coarse_record
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.levels import QUIET
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps import stepped_sine
from benchctl.runner.steps.find_clean_level import SETTLE_S

# The small level: a tenth of the voltage, where no stage slews.
SMALL_PART = 0.1
# Whole periods, so that the mean of the record is its dc; edges at its ends do not count.
PERIODS = 3
SAMPLES = 50_000
# Half a period must have so many samples to show a top (`measure/shapes/square.py`).
FEWEST_A_PERIOD = 80
# An idle current that rises further than this with the capacitor is taken for an oscillation (common practice: a stage
# that oscillates takes several times its idle current).
MOST_RISE, LEAST_RISE_A = 1.3, 0.2
# The peak of a square wave is that of the sine at the same level; a tilt makes its steps higher, and a level in the
# wrong unit makes them 1.41 times as high or as low.
MOST_OVER_SINE = 1.25


def perform(step: MeasureSquare, run: Run) -> None:
    """Small, then large at each frequency; then small again with the capacitor; then the sine as it was."""
    feed(run)
    load_ohm, before_hz = connected_load_ohm(run), run.conditions.frequency_hz
    level_v = level_in_v(run, step.level or QUIET, load_ohm)
    before_power(run, level_v)
    captures: dict[str, Capture] = {}
    try:
        lowest_hz, *others_hz = sorted(step.frequencies_hz)
        captures |= _small_and_large(run, lowest_hz, level_v, _sines_v(run, lowest_hz, level_v))
        for frequency_hz in others_hz:
            captures |= _small_and_large(run, frequency_hz, level_v, {})
        if step.capacitor_f is not None:
            captures |= _with_capacitor(step, run, step.capacitor_f, level_v)
    except MeasurementError:  # the run goes on after that
        back_to_sine(run, before_hz)
        raise
    back_to_sine(run, before_hz)
    own_s = own_rise_times_s(run.files.bench)
    context = SquareContext(
        waves_hz=dict(_waves(step)), own_rise_s=own_s, unknown=UNKNOWN if not own_s else "", **run.accuracies()
    )
    run.analyse("square", captures, {}, context, step.expect)


UNKNOWN = (
    "give 'bandwidth' of oscilloscope and probe and 'square_rise' of the generator in the bench file, by their data "
    "sheets"
)


def _waves(step: MeasureSquare) -> Iterator[tuple[str, float]]:
    kinds = (SMALL, LARGE) if step.capacitor_f is None else (SMALL, LARGE, CAPACITIVE)
    for frequency_hz in step.frequencies_hz:
        for kind in kinds:
            yield role_of(kind, frequency_hz), frequency_hz


def _small_and_large(run: Run, frequency_hz: float, level_v: float, sines_v: Mapping[str, float]) -> dict[str, Capture]:
    small = _take(run, SMALL, frequency_hz, SMALL_PART * level_v)
    _refuse_other_than_asked(small, frequency_hz, sines_v)
    large = _take(run, LARGE, frequency_hz, level_v)
    return {role_of(SMALL, frequency_hz): small, role_of(LARGE, frequency_hz): large}


def _sines_v(run: Run, frequency_hz: float, level_v: float) -> dict[str, float]:
    """The peak of the sine at the small level, by output: what a square wave is to have. At the lowest frequency, where
    the amplifier's upper limit takes least of either."""
    back_to_sine(run, frequency_hz)
    tone(run, SMALL_PART * level_v)
    run.wait(SETTLE_S)
    record, outputs = _record(frequency_hz), record_taking.driven_outputs(run)
    capture = record_taking.take(run, "square sine", record, SMALL_PART * level_v, outputs)
    mute(run)
    return {
        signal: fit_sine(capture.trace(signal).values(), capture.interval_s, frequency_hz).amplitude
        for signal in outputs
    }


def _take(run: Run, kind: str, frequency_hz: float, level_v: float) -> Capture:
    set_level_v = run.bench.generator.settable(level_v)
    if run.conditions.frequency_hz != frequency_hz:
        back_to_sine(run, frequency_hz)
    square_wave(run, set_level_v)
    run.wait(SETTLE_S)
    name = f"square {role_of(kind, frequency_hz)}"
    return record_taking.take(run, name, _record(frequency_hz), set_level_v, record_taking.driven_outputs(run))


def _record(frequency_hz: float) -> Record:
    return Record(PERIODS / frequency_hz, 0.0, SAMPLES)


def _refuse_other_than_asked(capture: Capture, frequency_hz: float, sines_v: Mapping[str, float]) -> None:
    """Generators differ in what a level means of a square wave.

    Raises:
        MeasurementError: it is not as high as the sine at the same level.
    """
    for signal, sine_v in sines_v.items():
        wave = shape_of(capture.trace(signal).values(), capture.interval_s, frequency_hz)
        peak_v = wave.slowest.step / 2.0
        if not 1.0 / MOST_OVER_SINE < peak_v / sine_v < MOST_OVER_SINE:
            raise MeasurementError(
                f"the square wave at {signal} has a peak of {render(peak_v, 'V', digits=3)} where the sine at the same "
                f"level has {render(sine_v, 'V', digits=3)}, so it is not played at the full level; see 'square_on' in "
                "the generator's driver file: which unit is the level of a square wave in?"
            )


def _with_capacitor(step: MeasureSquare, run: Run, capacitor_f: float, level_v: float) -> Mapping[str, Capture]:
    mute(run)
    run.wait(SETTLE_S)
    before_a = run.read("supply_current")
    _ask(run, capacitor_f)
    taken: dict[str, Capture] = {}
    try:
        _refuse_oscillation(run, before_a)
        for frequency_hz in step.frequencies_hz:
            taken[role_of(CAPACITIVE, frequency_hz)] = _take(run, CAPACITIVE, frequency_hz, SMALL_PART * level_v)
    except MeasurementError:  # the run goes on after that, without the capacitor
        _ask(run, None)
        raise
    _ask(run, None)
    return taken


def _refuse_oscillation(run: Run, before_a: float) -> None:
    """A stage that a capacitor makes oscillate takes current without a signal, and soon dies of it.

    Raises:
        MeasurementError: the supply current has risen.
    """
    run.wait(SETTLE_S)
    now_a = run.read("supply_current")
    if now_a > MOST_RISE * before_a + LEAST_RISE_A:
        raise MeasurementError(
            f"without a signal the supply current rose from {render(before_a, 'A')} to {render(now_a, 'A')} with the "
            "capacitor connected: the output oscillates, so it is not driven"
        )


def _ask(run: Run, capacitor_f: float | None) -> None:
    """Hands are at the outputs: nothing drives the amplifier."""
    back_to_sine(run, run.conditions.frequency_hz)
    outputs = outputs_in_words(run.fed)
    if capacitor_f is None:
        request = f"Take the capacitor off {outputs} again"
    else:
        request = f"Connect {render(capacitor_f, 'F')} beside the load at {outputs}, by short leads"
    run.observer.hands_needed(f"{request}. The amplifier is on, without a signal")
    run.hands.capacitor(capacitor_f)
    run.recorder.hands(request, {})


def worst_case(step: MeasureSquare, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, None)
    if state.unattended and step.capacitor_f is not None:
        state.hazard(
            "a person connects a capacitor beside the loads, and nobody is present in an unattended run; "
            "be present, or leave 'capacitor' out"
        )
    state.level = None
    highest_hz = max(step.frequencies_hz)
    stepped_sine.refuse_beyond_generator(state, highest_hz)
    refuse_coarse_record(state, _record(highest_hz), FEWEST_A_PERIOD / 2.0 * highest_hz, "take a lower frequency")
    asking_s = state.pace.switch_s + state.pace.set_s + state.asking_s() + record_taking.FETCH_S
    kinds = 2 if step.capacitor_f is None else 3
    lasts_s = sum(record_taking.lasts_s(_record(each), state.bench) for each in step.frequencies_hz)
    records = 1 + kinds * len(step.frequencies_hz)  # the sine is one
    duration_s = kinds * lasts_s + records * (SETTLE_S + asking_s)
    power = state.square_wave(step.level or QUIET, for_s=duration_s)
    return WorstCase(duration_s=duration_s + worst_case_look(state, step.level or QUIET), **power)
