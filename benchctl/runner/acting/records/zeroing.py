"""The zero of the oscilloscope's inputs, taken while the amplifier is off, just before it is switched on.

It is taken once in each part of a run. The supply's voltage is left out, because capacitors may hold it up for minutes.
"""

from __future__ import annotations

import math

from benchctl.archive.journal.entries import accuracy_as_json
from benchctl.archive.journal.events import ZEROS
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.sight import views
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.errors import NoRecord
from benchctl.instruments.oscilloscope.record import Record
from benchctl.instruments.oscilloscope.timing import scale_set_v
from benchctl.instruments.oscilloscope.vertical import FILL, ranges_v
from benchctl.measure.budget.zero import Zeros, beyond_stated, stated_limit, zeros_of
from benchctl.measure.method import METHOD
from benchctl.measure.signal.record import OUTPUT, SUPPLY_CURRENT, Capture, Trace
from benchctl.quantity import render
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.own_noise import own_noise_s, take_own_noise
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState

# Whole periods of 50 and of 60 Hz, which hum on an open input averages out in; a thousand samples tell noise to 2 %.
SPAN_S = 0.1
SAMPLES = 1000
# Of the highest rated voltage, what an output may peak at: in a burst, at a supply voltage above the nominal one.
PEAK_OVER_RATED = 1.5
# Of the fuse's rating, what the supply's current may peak at.
PEAK_OVER_FUSE = 2.0
_INSTEAD = "what the bench file says of its accuracy counts instead"


def take_zeros(run: Run) -> None:
    """Take the zero of every input for an output or for the supply's current, unless that was done.

    If it cannot be taken, that is said, and the accuracies of the bench file count.
    """
    if run.zeros is not None or not run.bench.has("oscilloscope"):
        return
    run.zeros = {}
    if not (peaks := largest_peaks(run.files.bench, run.files.amplifier)):
        return
    if reason := _why_not_off(run):
        run.own_noise_unknown = f"{reason}, so the oscilloscope's own noise was not recorded"
        run.note(f"{reason}, so the oscilloscope's zero is not taken; {_INSTEAD}")
        return
    if not run.bench.oscilloscope.records_freely:
        run.own_noise_unknown = "the oscilloscope takes no record without a trigger, so its own noise was not recorded"
        run.note(f"the oscilloscope takes no record without a trigger, so its zero is not taken; {_INSTEAD}")
        return
    wanted = record_taking.within_ratings(Record(SPAN_S, 0.0, SAMPLES, triggered=False), run.files.bench)
    try:
        run.bench.oscilloscope.check_samples(next(iter(peaks)), wanted)
        record = run.bench.oscilloscope.record_zeros(peaks, wanted)
        take_own_noise(run)
    except NoRecord as error:
        run.own_noise_unknown = "the oscilloscope's own noise could not be recorded"
        run.note(
            f"the oscilloscope's zero is not taken: {error}; {_INSTEAD}. Its driver file's 'trigger_free' must make it "
            "take a record without a trigger"
        )
        return
    run.zeros = _kept(run, record)


def largest_peaks(bench: Bench, amplifier: Amplifier) -> dict[str, float]:
    """Signal -> the highest peak that a range must show, of all signals whose zero is taken: one of each channel."""
    rated_v = max(amplifier.rated_voltage_v(line.load_ohm) for line in amplifier.rated)
    first_view = next(iter(views(bench, amplifier)), ())
    peaks = {OUTPUT + channel: PEAK_OVER_RATED * math.sqrt(2.0) * rated_v for channel in first_view}
    if bench.signals.supply_current is not None:
        peaks[SUPPLY_CURRENT] = PEAK_OVER_FUSE * amplifier.supply.fuse_a
    return peaks


def worst_case_zeros(state: ExpectedState) -> float:
    """How long it takes, s: nothing where it was done."""
    if state.has_zeros:
        return 0.0
    state.has_zeros = True
    zeros_s = _zeroing_s(state.bench, state.amplifier, state.asking_s(with_supply=True))
    return zeros_s + own_noise_s(state.own_records, state.bench, state.amplifier, state.asking_s())


def _zeroing_s(bench: Bench, amplifier: Amplifier, asking_s: float) -> float:
    oscilloscope = bench.instruments.oscilloscope
    driver = bench.drivers.get("oscilloscope")
    if oscilloscope is None or not isinstance(driver, OscilloscopeDriver):
        return 0.0
    per_volt = {name: wiring.probe.units_per_volt for name, wiring in bench.signals.wirings()}
    half = driver.divisions.vertical / 2
    peaks = largest_peaks(bench, amplifier)
    ranges = [
        len({scale_set_v(each, driver) for each in ranges_v(peak / FILL / per_volt[signal] / half)})
        for signal, peak in peaks.items()
    ]
    checks = 2 if ranges else 0  # that samples are read as they are meant
    return (max(ranges, default=0) + checks) * (SPAN_S + record_taking.FETCH_S + asking_s)


def _why_not_off(run: Run) -> str:
    """Why it is not known that the amplifier is off; empty if it is known."""
    if run.conditions.supply_set_v is not None:
        return "the amplifier is on"
    if not run.bench.has("supply"):
        return "the bench has no supply that could tell whether the amplifier is off"
    current_a = run.read_supply()["supply_current"]
    limit_a = stated_limit(run.accuracies()["readings_accuracy"]["supply_current"], 0.0)
    if abs(current_a) > limit_a:
        return f"the supply is switched off and gives {render(current_a, 'A')}"
    return ""


def _kept(run: Run, record: Capture) -> Zeros:
    """Store the record. Returns the zero of each signal that shows no more than its own error of zero."""
    accuracy, bits = run.accuracies()["accuracy"], run.bench.oscilloscope.bits
    kept = run.recorder.keep(record_taking.in_conditions(run, record))
    doubtful = beyond_stated(kept, accuracy, bits)
    for signal, trace in doubtful.items():
        run.note(_doubt(signal, trace, stated_limit(accuracy[signal], trace.full_scale)))
    zeros = {signal: zero for signal, zero in zeros_of(kept, accuracy, bits).items() if signal not in doubtful}
    run.recorder.event(
        ZEROS,
        step=run.planned.label,
        file=kept.name,
        bits=bits,
        method=METHOD,
        accuracy=accuracy_as_json({signal: accuracy[signal] for signal in zeros}),
    )
    return _of_every_signal(run.files.bench, zeros)


def _doubt(signal: str, trace: Trace, limit: float) -> str:
    shown, allowed = (render(value, trace.unit, digits=3) for value in (float(trace.values().mean()), limit))
    full = render(trace.full_scale / 2.0, trace.unit, digits=2)
    return (
        f"{signal} shows {shown} on its range of {full} while the amplifier is off; by the bench file its zero may be "
        f"off by {allowed}. So its zero is not subtracted, and {_INSTEAD}. Look whether something feeds the amplifier "
        "or holds it up, and whether the oscilloscope's data sheet states a fixed error that the bench file lacks"
    )


def _of_every_signal(bench: Bench, zeros: Zeros) -> Zeros:
    """An oscilloscope channel whose probe a person moves from output to output has the same zero at all of them."""
    wirings = dict(bench.signals.wirings())
    places = {name: (wiring.oscilloscope, wiring.probe.units_per_volt) for name, wiring in wirings.items()}
    taken = {places[signal]: zero for signal, zero in zeros.items()}
    return {name: taken[place] for name, place in places.items() if place in taken}
