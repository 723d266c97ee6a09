"""Records of the amplifier at work: how long, how fine, and what peak to expect of each signal."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.instruments.oscilloscope.record import Record
from benchctl.instruments.oscilloscope.timing import Ratings, Setup, setup_for
from benchctl.measure.budget.dc import OutputDc, output_dc, worst_dc
from benchctl.measure.budget.zero import subtracted
from benchctl.measure.carrier.folding import is_fine
from benchctl.measure.signal.record import OUTPUT, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Capture
from benchctl.runner.acting.drive import note_rhythm
from benchctl.runner.acting.run import LastRecord, Run

# Fine enough for the harmonics of a 20 kHz band with room, and for noise to be spread beyond it.
SAMPLE_RATE_HZ = 500e3
# Of a tone above 1.25 kHz: what clipping makes beyond half the sample rate is folded onto its harmonics. With 25
# samples a cycle that was 2 % of the distortion at the clean level; the harmonics of a corner fall with the square of
# their order.
SAMPLES_A_CYCLE = 400
# Of class D: fine enough that a carrier is seen where it is, and not folded into the band.
CARRIER_SAMPLE_RATE_HZ = 2.5e6
# A record of several repetitions need only hold the band: whole repetitions are long.
LONG_SAMPLE_RATE_HZ = 200e3
# Of class D: carriers are far from this rate and its multiples (below 0.9 MHz, common practice).
LONG_CARRIER_SAMPLE_RATE_HZ = 1e6
# But the peaks of its bursts are to be seen, which samples miss by 0.2 % at most then: 1 - cos(pi / 50).
LONG_SAMPLES_A_CYCLE = 50
# A record that tells whether a carrier is folded into another one: as short, and so as fine, as distortion allows.
CHECK_CYCLES = 4
SHORTEST_CHECK_S = 0.005
# A steady record: enough cycles for a fit and for noise, and long enough for a slow supply's ripple.
STEADY_CYCLES = 40
SHORTEST_STEADY_S = 0.02
IDLE_SPAN_S = 0.1
# On average a record waits half a polling period to be fetched, and half a period of its tone for its trigger.
FETCH_S = 0.045
# Before and after a burst: rest enough to see that the burst is whole, and to know the record's own noise.
MARGIN_S = 0.005
# Efficiency assumed only to choose a range for the supply's current.
GUESSED_EFFICIENCY = 0.6
# A number of samples that is so little below a whole number is that number.
_ROUNDING = 1e-6
# What a quiet amplifier may have at its outputs; only to choose a range.
QUIET_PEAK_V = 0.1
# Of class D what its filter leaves of the carrier, common practice: a few hundred millivolts.
QUIET_PEAK_OF_CLASS_D_V = 0.5


def steady_record(frequency_hz: float, *, switching: bool = False) -> Record:
    """A steady tone; `switching`: of a class D amplifier, whose distortion is asked for."""
    rate_hz = max(_fine_rate_hz(switching=switching), SAMPLES_A_CYCLE * frequency_hz)
    return _record(max(STEADY_CYCLES / frequency_hz, SHORTEST_STEADY_S), 0.0, rate_hz)


def check_record(frequency_hz: float) -> Record:
    """A steady tone of a class D amplifier once more, at another sample rate."""
    return _record(max(CHECK_CYCLES / frequency_hz, SHORTEST_CHECK_S), 0.0, CARRIER_SAMPLE_RATE_HZ)


def burst_record(frequency_hz: float, cycles: int, every_s: float, *, switching: bool = False) -> Record:
    """One burst with a little rest on both sides; `switching`: as of a steady tone."""
    margin_s = max(MARGIN_S, 3.0 / frequency_hz)
    rate_hz = _fine_rate_hz(switching=switching)
    return _record(cycles / frequency_hz + 2 * margin_s, margin_s, rate_hz, trigger_every_s=every_s)


def repetition_record(frequency_hz: float, every_s: float, *, switching: bool = False) -> Record:
    """A whole repetition of bursts, and a margin on both sides; `switching`: as of a steady tone, as far as a memory of
    common size goes."""
    margin_s = max(MARGIN_S, 3.0 / frequency_hz)
    least_hz = LONG_CARRIER_SAMPLE_RATE_HZ if switching else LONG_SAMPLE_RATE_HZ
    rate_hz = max(least_hz, LONG_SAMPLES_A_CYCLE * frequency_hz)
    return _record(every_s + 2 * margin_s, margin_s, rate_hz, trigger_every_s=every_s)


def idle_record() -> Record:
    """A record without a trigger."""
    return _record(IDLE_SPAN_S, 0.0, LONG_SAMPLE_RATE_HZ, triggered=False)


def _record(
    span_s: float, pretrigger_s: float, rate_hz: float, *, triggered: bool = True, trigger_every_s: float = 0.0
) -> Record:
    return Record(span_s, pretrigger_s, math.ceil(span_s * rate_hz), triggered, trigger_every_s)


def _fine_rate_hz(*, switching: bool) -> float:
    return CARRIER_SAMPLE_RATE_HZ if switching else SAMPLE_RATE_HZ


def is_switching(amplifier: Amplifier) -> bool:
    """Whether its output stages leave a carrier."""
    return amplifier.amplifier_class == "D"


def may_fold(run: Run, capture: Capture) -> bool:
    """Whether a carrier may lie within the band of a record without being there."""
    return is_switching(run.files.amplifier) and not is_fine(capture.interval_s)


def outputs(run: Run) -> list[str]:
    """The amplifier's outputs that have a probe now, as signals."""
    return [OUTPUT + channel for channel in run.seen]


def driven_outputs(run: Run) -> list[str]:
    """The outputs of the channels that the generator feeds and that have a probe now, as signals."""
    return [OUTPUT + channel for channel in run.seen if channel in run.fed]


def supply_signals(run: Run) -> list[str]:
    """The supply's signals that are wired to the oscilloscope."""
    return [name for name in (SUPPLY_CURRENT, SUPPLY_VOLTAGE) if name in run.bench.oscilloscope.inputs]


def take(  # noqa: PLR0917 - what a record is made of
    run: Run,
    name: str,
    record: Record,
    level_v: float,
    signals: Sequence[str],
    peaks: Mapping[str, float] | None = None,
) -> Capture:
    """Take one record while the amplifier is driven at `level_v` V RMS. The guard judges the dc offset of every output,
    also of those that were not asked for.

    `peaks`: signal -> its peak, if it is better known than from the documents.

    Raises:
        MeasurementError: no range shows the signals whole.
        LimitTripped: the offset is over its limit.
    """
    within = within_ratings(record, run.files.bench)
    peaks = {**_expected(run, level_v), **(peaks or {})}
    raw = run.bench.oscilloscope.capture(name, [*signals, *_only_watched(run, signals)], within, peaks)
    note_rhythm(run)
    capture = subtracted(raw, run.zeros or {})
    frequency_hz = run.conditions.frequency_hz if level_v else None
    if (dc := worst_output_dc(run, capture, frequency_hz)) is not None:
        run.guard.observe("output_offset", dc.value_v, dc.limit_v)
    taken = in_conditions(run, replace(capture, traces={signal: capture.traces[signal] for signal in signals}))
    run.last_record = LastRecord(taken, run.burst)
    return taken


def in_conditions(run: Run, capture: Capture) -> Capture:
    """The record with when it was taken, and what the bench was set to."""
    return replace(
        capture,
        taken_s=run.clock.now(),
        conditions=run.conditions.in_effect,
        load_c=run.guard.readings.get("load"),
    )


def _only_watched(run: Run, signals: Sequence[str]) -> list[str]:
    """The outputs that are not driven, if driven ones are recorded: their dc must be seen too."""
    if not any(signal.startswith(OUTPUT) for signal in signals):
        return []
    return [signal for signal in outputs(run) if signal not in signals]


def within_ratings(record: Record, bench: Bench) -> Record:
    """The record with the sampling that the oscilloscope can do: by its memory and sample rate, and by the time bases
    and lengths that its driver file names.
    """
    setup = setup_on(record, bench)
    if setup is None:
        return record
    held = int(record.span_s * setup.samples / setup.span_s + _ROUNDING)
    return replace(record, samples=min(record.samples, max(held, 1)))


def setup_on(record: Record, bench: Bench) -> Setup | None:
    """The settings of a bench's oscilloscope for a record of all its signals."""
    entry, driver = bench.instruments.oscilloscope, bench.drivers.get("oscilloscope")
    if entry is None or not isinstance(driver, OscilloscopeDriver):
        return None
    ratings = Ratings(entry.ratings.bits, entry.ratings.memory, entry.ratings.sample_rate_hz)
    channels = len({wiring.oscilloscope for _, wiring in bench.signals.wirings()})
    return setup_for(record, driver, ratings, max(channels, 1))


def lasts_s(record: Record, bench: Bench) -> float:
    """How long the oscilloscope's record really is: its time bases may go in steps."""
    setup = setup_on(record, bench)
    return record.span_s if setup is None else setup.span_s


def longest_samples(bench: Bench) -> int | None:
    """The most samples of a channel that a record can have; None without an oscilloscope."""
    entry, driver = bench.instruments.oscilloscope, bench.drivers.get("oscilloscope")
    if entry is None:
        return None
    lengths = driver.memory.lengths if isinstance(driver, OscilloscopeDriver) else ()
    return max((length for length in lengths if length <= entry.ratings.memory), default=entry.ratings.memory)


def quiet_peak_v(amplifier: Amplifier) -> float:
    """What a quiet output may show at most."""
    return QUIET_PEAK_OF_CLASS_D_V if is_switching(amplifier) else QUIET_PEAK_V


def _expected(run: Run, level_v: float) -> Mapping[str, float]:
    """The peak of each signal, by the documents. A wrong range is corrected later."""
    gain = run.files.amplifier.gain_ratio
    output_rms_v = level_v * gain
    quiet_v = quiet_peak_v(run.files.amplifier)
    driven_v = max(output_rms_v * math.sqrt(2.0), quiet_v)
    driven = driven_outputs(run)
    expected = {name: driven_v if name in driven else quiet_v for name in outputs(run)}
    supply_v = run.files.amplifier.supply.nominal_v
    expected[SUPPLY_VOLTAGE] = supply_v
    expected[SUPPLY_CURRENT] = 1.0 + _output_power_w(run, output_rms_v) / GUESSED_EFFICIENCY / supply_v
    return expected


def _output_power_w(run: Run, output_rms_v: float) -> float:
    if run.conditions.load_ohm is None:
        return 0.0
    return len(run.fed) * output_rms_v**2 / run.conditions.load_ohm


def worst_output_dc(run: Run, capture: Capture, frequency_hz: float | None = None) -> OutputDc | None:
    """The output of a record with the most dc; None if the record shows no output."""
    return worst_dc(output_dc(capture, run.accuracies()["accuracy"], frequency_hz))
