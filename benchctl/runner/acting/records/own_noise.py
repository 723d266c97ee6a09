"""What noise the oscilloscope makes by itself: recorded while the amplifier is off, for the steps that measure noise.

On each range that a quiet output may need, and at the rate of those steps: an input's noise is another on each range,
and at another rate another part of it falls into the band.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.sight import views
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.documents.sequence_file.measuring_steps import MeasureNoise
from benchctl.documents.sequence_file.sequence import in_order
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.instruments.oscilloscope.record import Record
from benchctl.instruments.oscilloscope.timing import scale_set_v
from benchctl.instruments.oscilloscope.vertical import FILL, ranges_v
from benchctl.measure.noise.own import same_range
from benchctl.measure.noise.spectrum import PART_S
from benchctl.measure.signal.record import OUTPUT, Capture, Trace
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run

# A band up to 20 kHz wants 40 kSa/s and more; the faster, the less of what lies above it is folded into it.
SLOWEST_HZ = 100e3
# Of the oscilloscope's own noise a second tells a band of 20 kHz to a per cent.
OWN_S = 1.0
_WIDER = (
    "the range that shows this output is wider than those on which the oscilloscope's own noise was recorded; look "
    "what hum or dc is there"
)


def noise_record(step: MeasureNoise, bench: Bench) -> Record:
    """As long as asked for and at least a part; no longer than memory holds at the slowest rate."""
    samples = record_taking.longest_samples(bench)
    longest_s = PART_S if samples is None else samples / SLOWEST_HZ
    span_s = max(min(step.for_s, longest_s), PART_S)
    return Record(span_s, 0.0, round(span_s * record_taking.SAMPLE_RATE_HZ), triggered=False)


def own_records(steps: Iterable[StepBase], bench: Bench) -> tuple[Record, ...]:
    """The records that steps which measure noise need of the oscilloscope alone: one of each rate."""
    found: dict[float, Record] = {}
    for step in steps:
        if isinstance(step, MeasureNoise):
            wanted = record_taking.within_ratings(noise_record(step, bench), bench)
            found.setdefault(wanted.samples / wanted.span_s, _shorter(wanted, bench))
    return tuple(found.values())


def _shorter(record: Record, bench: Bench) -> Record:
    """No longer than is needed, where the oscilloscope then has the same rate."""
    span_s = min(OWN_S, record.span_s)
    short = replace(record, span_s=span_s, samples=round(record.samples * span_s / record.span_s))
    setups = record_taking.setup_on(record, bench), record_taking.setup_on(short, bench)
    rates = [setup.samples / setup.span_s for setup in setups if setup is not None]
    return short if not rates or abs(rates[0] - rates[-1]) <= 1e-6 * rates[0] else record


def quiet_peaks(bench: Bench, amplifier: Amplifier) -> dict[str, float]:
    """Each output of the first position of the probes -> what it may show while it is quiet."""
    return {
        OUTPUT + channel: record_taking.quiet_peak_v(amplifier) for channel in next(iter(views(bench, amplifier)), ())
    }


def take_own_noise(run: Run) -> None:
    """Record it, while the amplifier is off. The records are kept where a step uses them.

    Raises:
        NoRecord: the oscilloscope takes no record.
    """
    steps = [step for step, _ in in_order(run.files.sequence.steps)]
    peaks = quiet_peaks(run.files.bench, run.files.amplifier)
    run.own_noise = [
        record_taking.in_conditions(run, run.bench.oscilloscope.record_zeros(peaks, record))
        for record in own_records(steps, run.files.bench)
    ]


def own_noise_s(records: Iterable[Record], bench: Bench, amplifier: Amplifier, asking_s: float) -> float:
    """How long it takes, s."""
    driver = bench.drivers.get("oscilloscope")
    if not isinstance(driver, OscilloscopeDriver):
        return 0.0
    per_volt = {name: wiring.probe.units_per_volt for name, wiring in bench.signals.wirings()}
    half = driver.divisions.vertical / 2
    ranges = max(
        (
            len({scale_set_v(each, driver) for each in ranges_v(peak / FILL / per_volt[signal] / half)})
            for signal, peak in quiet_peaks(bench, amplifier).items()
        ),
        default=0,
    )
    return sum(ranges * (record_taking.lasts_s(record, bench) + record_taking.FETCH_S + asking_s) for record in records)


def own_noise_like(run: Run, capture: Capture) -> tuple[Capture | None, Mapping[str, str]]:
    """The oscilloscope's own noise on the ranges of a record and at its rate, as far as there is any; and of every
    other channel why there is none."""
    unknown: dict[str, str] = {}
    best: Capture | None = None
    for own in run.own_noise or ():
        if abs(own.interval_s - capture.interval_s) <= 1e-3 * capture.interval_s:
            traces = {
                name: found for name in capture.traces if (found := _matching(run.files.bench, own, name, capture))
            }
            best = replace(own, name="amplifier off", traces=traces) if traces else None
    for channel in capture.channels:
        if best is None or OUTPUT + channel not in best.traces:
            unknown[channel] = run.own_noise_unknown or _WIDER
    return best, unknown


def _matching(bench: Bench, own: Capture, signal: str, capture: Capture) -> Trace | None:
    """The trace of the same input on the same range: a channel that a hand moves from output to output is one input."""
    places = {name: (wiring.oscilloscope, wiring.probe.units_per_volt) for name, wiring in bench.signals.wirings()}
    for name, trace in own.traces.items():
        same_input = places.get(name.partition(" of ")[2]) == places.get(signal)
        if same_input and same_range(trace, capture.traces[signal]):
            return trace
    return None
