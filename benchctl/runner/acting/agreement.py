"""Compares instruments with each other before the amplifier is driven hard: at idle, and under a low tone."""

from __future__ import annotations

from collections.abc import Mapping

from benchctl.documents.model.limits import SUPPLY_SIGNALS
from benchctl.measure.agreement.compared import comparisons
from benchctl.measure.agreement.comparison import contradictions
from benchctl.measure.analyses.look_context import LookContext
from benchctl.measure.signal.record import SUPPLY_CURRENT, Capture
from benchctl.runner.acting.drive import mute, set_frequency, tone
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState

# 30 dB below rated power: a generator that gives ten times what it is set to still leaves the amplifier 10 dB below.
LOOK_PART = 10.0 ** (-30.0 / 20.0)
# Rails, supply and the amplifier's own filters have come to rest.
SETTLE_S = 0.15
# If a filter of the amplifier blocks the tone that is set, one of these passes a subwoofer, middle or tweeter channel.
OTHER_TONES_HZ = (50.0, 200.0, 1000.0, 5000.0)
USUAL_TONE_HZ = 1000.0
# The supply is read just before and just after its record.
READINGS = 2


def look_at_idle(run: Run) -> None:
    """Compare what the supply reads with what the oscilloscope shows of it, while the amplifier idles.

    Raises:
        InstrumentsDisagree: they contradict each other.
    """
    readings: dict[str, list[float]] = {signal: [] for signal in SUPPLY_SIGNALS}
    _read_into(readings, run)
    signals = record_taking.supply_signals(run) if run.bench.has("oscilloscope") else []
    captures: dict[str, Capture] = {}
    if signals:
        peaks = {SUPPLY_CURRENT: 2.0 * (run.files.amplifier.idle_current_a or readings["supply_current"][-1])}
        captures["idle"] = record_taking.take(run, "look at idle", record_taking.idle_record(), 0.0, signals, peaks)
    _read_into(readings, run)
    run.has_looked = False
    run.analyse("look", captures, readings, LookContext(**run.accuracies()), {})


def _read_into(readings: Mapping[str, list[float]], run: Run) -> None:
    for signal, value in run.read_supply().items():
        readings[signal].append(value)


def before_power(run: Run, level_v: float) -> None:
    """Compare instruments before the amplifier is driven hard, at `level_v` V RMS or from there on. No contradiction
    may be known by then. Once after each power-on, the output at a low level must also be the input times the gain.

    Raises:
        InstrumentsDisagree: instruments contradict each other, or the output is not what it should be.
        MeasurementError: the records give no answer, so the amplifier is not driven either.
    """
    run.check_agreement()
    if run.has_looked:
        return
    amplifier = run.files.amplifier
    rated_v = amplifier.rated_voltage_v(run.conditions.load_ohm or amplifier.rated[0].load_ohm)
    low_v = run.bench.generator.settable(min(LOOK_PART * rated_v / amplifier.gain_ratio, level_v))
    try:
        captures, context = _look(run, low_v)
    finally:
        mute(run)
    run.has_looked = True
    run.analyse("look", captures, {}, context, {})


def _look(run: Run, level_v: float) -> tuple[dict[str, Capture], LookContext]:
    """Look at the tone that is set and, if it gives too little signal, at tones that a filter may pass."""
    set_hz = run.conditions.frequency_hz
    captures: dict[str, Capture] = {}
    tones_hz: dict[str, float] = {}
    for frequency_hz in dict.fromkeys((set_hz or USUAL_TONE_HZ, *OTHER_TONES_HZ)):
        role = f"{frequency_hz:.6g} Hz"
        captures[role], tones_hz[role] = _take(run, frequency_hz, level_v), frequency_hz
        context = _context(run, tones_hz, level_v)
        if not contradictions(comparisons("look", captures, {}, context)):
            break
    if set_hz is not None and len(captures) > 1:
        set_frequency(run, set_hz)
    elif set_hz is None:
        run.set_to(frequency_hz=None)
    return captures, context


def _take(run: Run, frequency_hz: float, level_v: float) -> Capture:
    set_frequency(run, frequency_hz)
    tone(run, level_v)
    run.wait(SETTLE_S)
    record = record_taking.steady_record(frequency_hz)
    return record_taking.take(run, "look", record, level_v, record_taking.driven_outputs(run))


def _context(run: Run, tones_hz: Mapping[str, float], level_v: float) -> LookContext:
    return LookContext(
        tones_hz=dict(tones_hz),
        level_v=level_v,
        gain=None if _controls_were_turned(run) else run.files.amplifier.gain_ratio,
        ratios={name: wiring.probe.ratio for name, wiring in run.files.bench.signals.outputs.items()},
        **run.accuracies(),
    )


def _controls_were_turned(run: Run) -> bool:
    """Whether a person set the gains in this run. Then only one instrument knows them."""
    return any(figure.name == "gain" and figure.frequency_hz is None for figure in run.measured)


def worst_case_look(state: ExpectedState) -> float:
    """How long the first look under a tone takes after a power-on, s."""
    if state.has_looked:
        return 0.0
    state.has_looked = True
    record = record_taking.steady_record(state.frequency_hz or USUAL_TONE_HZ)
    asking_s = state.pace.set_s + state.pace.switch_s + state.asking_s()
    return SETTLE_S + record_taking.lasts_s(record, state.bench) + record_taking.FETCH_S + asking_s


def worst_case_look_at_idle(state: ExpectedState) -> float:
    """How long the look at idle takes, s."""
    state.has_looked = False
    signals = state.bench.signals
    is_wired = signals.supply_current is not None or signals.supply_voltage is not None
    return record_taking.IDLE_SPAN_S + state.asking_s(with_supply=True) if is_wired else 0.0
