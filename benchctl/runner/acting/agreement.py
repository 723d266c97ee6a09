"""Compares instruments with each other before the amplifier is driven hard: at idle, and under a low tone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from benchctl.documents.model.level import Level
from benchctl.documents.model.limits import SUPPLY_SIGNALS
from benchctl.measure.agreement.compared import comparisons
from benchctl.measure.agreement.comparison import contradictions
from benchctl.measure.agreement.outputs import output_comparisons
from benchctl.measure.agreement.reliance import TOLD_ONLY
from benchctl.measure.analyses.look_context import LookContext
from benchctl.measure.signal.record import SUPPLY_CURRENT, Capture
from benchctl.runner.acting.drive import RELAY_S, mute, set_frequency, tone
from benchctl.runner.acting.inputs import drives_alone_without_hands, feed
from benchctl.runner.acting.proving.loads import is_hard, prove_load, worst_case_proving
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.levels import output_v
from benchctl.runner.expected.state import ExpectedState

# 30 dB below rated power: a generator that gives ten times what it is set to still leaves the amplifier 10 dB below.
LOOK_PART = 10.0 ** (-30.0 / 20.0)
# Rails, supply and the amplifier's own filters have come to rest.
SETTLE_S = 0.15
# If a filter of the amplifier blocks the tone that is set, one of these passes a subwoofer, middle or tweeter channel.
OTHER_TONES_HZ = (50.0, 200.0, 1000.0, 5000.0)
USUAL_TONE_HZ = 1000.0
# Between these, filters and delays of a full-range amplifier turn the phase by less than a quarter of a turn.
LOWEST_UPRIGHT_HZ, HIGHEST_UPRIGHT_HZ = 200.0, 2000.0
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


def before_power(run: Run, level_v: float, up_to_v: float = 0.0) -> None:
    """Compare instruments before the amplifier is driven hard, at `level_v` V RMS or from there on, `up_to_v` at most.
    No contradiction may be known by then. Once after each power-on, the output at a low level must also be the input
    times the gain. Once, each input is driven alone, where that takes no hand; and once for each load, before it is
    driven hard, what it draws is looked at.

    Raises:
        InstrumentsDisagree: instruments contradict each other, or the output is not what it should be.
        MeasurementError: the records give no answer, so the amplifier is not driven either.
    """
    run.check_agreement()
    if not run.has_looked:
        _look_before_power(run, level_v)
    prove_load(run, max(level_v, up_to_v))


def _look_before_power(run: Run, level_v: float) -> None:
    amplifier, fed, set_hz = run.files.amplifier, run.fed, run.conditions.frequency_hz
    rated_v = amplifier.rated_voltage_v(run.conditions.load_ohm or amplifier.rated[0].load_ohm)
    low_v = run.bench.generator.settable(min(LOOK_PART * rated_v / amplifier.gain_ratio, level_v))
    try:
        captures, context = _look(run, low_v)
        if _tries_paths(run) and not _stops(captures, context):
            captures, context = _each_alone(run, captures, context)
    finally:
        mute(run)
    feed(run, fed)
    _tune_again(run, set_hz)
    run.has_looked = True
    run.analyse("look", captures, {}, context, {})
    _keep_gains(run, captures, context)


def _look(run: Run, level_v: float) -> tuple[dict[str, Capture], LookContext]:
    """Look at the tone that is set and, if it gives too little signal, at tones that a filter may pass."""
    set_hz = run.conditions.frequency_hz
    captures: dict[str, Capture] = {}
    tones_hz: dict[str, float] = {}
    for frequency_hz in dict.fromkeys((set_hz or USUAL_TONE_HZ, *OTHER_TONES_HZ)):
        role = f"{frequency_hz:.6g} Hz"
        captures[role], tones_hz[role] = _take(run, frequency_hz, level_v), frequency_hz
        context = _context(run, tones_hz, level_v)
        if not _stops(captures, context):
            break
    return captures, context


def _stops(captures: Mapping[str, Capture], context: LookContext) -> bool:
    """Whether what was seen so far would end the run."""
    wrong = contradictions(comparisons("look", captures, {}, context))
    return any(comparison.quantity not in TOLD_ONLY for comparison in wrong)


def _take(run: Run, frequency_hz: float, level_v: float) -> Capture:
    """Of the driven outputs; of every output where one input is driven alone, as another one may answer."""
    set_frequency(run, frequency_hz)
    tone(run, level_v)
    run.wait(SETTLE_S)
    record = record_taking.steady_record(frequency_hz)
    signals = record_taking.outputs(run) if len(run.fed) == 1 else record_taking.driven_outputs(run)
    return record_taking.take(run, "look", record, level_v, signals)


def _tune_again(run: Run, set_hz: float | None) -> None:
    """As it was before the look."""
    if set_hz is None:
        run.set_to(frequency_hz=None)
    elif run.conditions.frequency_hz != set_hz:
        set_frequency(run, set_hz)


# -- each input alone ------------------------------------------------------------------------------------------------


def _tries_paths(run: Run) -> bool:
    """Whether each input can be driven alone now, and was not yet."""
    channels = run.files.amplifier.channels
    if run.proved.paths or len(channels) < 2 or tuple(channels) != run.seen:
        return False
    if drives_alone_without_hands(run.files.bench):
        return True
    if run.proved.says_first("paths"):
        run.note(
            "not checked before high power: which output answers which input, as no input can be driven alone "
            "without a hand"
        )
    return False


def _each_alone(run: Run, captures: dict[str, Capture], context: LookContext) -> tuple[dict[str, Capture], LookContext]:
    """One more record for each input, with the tone that has passed."""
    tone_hz, alone = list(context.tones_hz.values())[-1], {}
    for channel in run.files.amplifier.channels:
        feed(run, (channel,))
        role = f"{channel} alone"
        captures[role], alone[role] = _take(run, tone_hz, context.level_v or 0.0), channel
    run.proved.paths = True
    return captures, replace(context, alone=alone, alone_hz=tone_hz)


def _keep_gains(run: Run, captures: Mapping[str, Capture], context: LookContext) -> None:
    """What the look has shown: a tone that passes, and the gain of each channel there."""
    role, tone_hz = list(context.tones_hz.items())[-1]
    found = output_comparisons(captures, replace(context, tones_hz={role: tone_hz}))
    gains = {each.channel: each.first.value / context.level_v for each in found if context.level_v}
    run.proved.gains, run.proved.tone_hz = {**run.proved.gains, **gains}, tone_hz


def _context(run: Run, tones_hz: Mapping[str, float], level_v: float) -> LookContext:
    files = run.files
    return LookContext(
        tones_hz=dict(tones_hz),
        level_v=level_v,
        gain=None if _controls_were_turned(run) else files.amplifier.gain_ratio,
        ratios={name: wiring.probe.ratio for name, wiring in files.bench.signals.outputs.items()},
        driven=run.fed,
        upright=_whose_polarity_shows(run, next(iter(tones_hz.values()))),
        **run.accuracies(),
    )


def _whose_polarity_shows(run: Run, tone_hz: float) -> tuple[str, ...]:
    """The channels whose phase no filter has turned, as far as the amplifier file says."""
    if not LOWEST_UPRIGHT_HZ <= tone_hz <= HIGHEST_UPRIGHT_HZ or run.files.sequence.bridged is not None:
        return ()
    filtered = {name for each in run.files.amplifier.filters for name in each.channels or run.files.amplifier.channels}
    return tuple(name for name in run.seen if name in run.fed and name not in filtered)


def _controls_were_turned(run: Run) -> bool:
    """Whether a person set the gains in this run. Then only one instrument knows them."""
    return any(figure.name == "gain" and figure.frequency_hz is None for figure in run.measured)


def worst_case_look(state: ExpectedState, level: Level | None = None) -> float:
    """How long it takes to compare instruments before a drive at a level, or near full power where there is none, s."""
    state.looked_s = _worst_case_tones(state)
    state.looked_s += worst_case_proving(state) if _may_be_hard(state, level) else 0.0
    return state.looked_s


def _worst_case_tones(state: ExpectedState) -> float:
    """How long the first look under a tone takes after a power-on, s."""
    if state.has_looked:
        return 0.0
    state.has_looked = True
    record = record_taking.steady_record(state.frequency_hz or USUAL_TONE_HZ)
    asking_s = state.pace.set_s + state.pace.switch_s + state.asking_s()
    each_s = SETTLE_S + record_taking.lasts_s(record, state.bench) + record_taking.FETCH_S + asking_s
    return each_s + _worst_case_paths(state, each_s)


def _worst_case_paths(state: ExpectedState, each_s: float) -> float:
    """How long it takes to drive each input alone, s."""
    channels = state.amplifier.channels
    if state.has_paths or len(channels) < 2 or tuple(channels) != state.seen:
        return 0.0
    if not drives_alone_without_hands(state.bench):
        return 0.0
    state.has_paths = True
    switching_s = RELAY_S + state.pace.ask_s("load") + state.pace.switch_s
    return len(channels) * (each_s + switching_s) + switching_s


def _may_be_hard(state: ExpectedState, level: Level | None) -> bool:
    if level is None or level.of == "clean" or state.load_ohm is None:
        return True
    given_v = level.value * state.gain if level.of == "volts" else output_v(level, state.amplifier, state.load_ohm)
    return is_hard(given_v, state.amplifier, state.load_ohm)


def worst_case_look_at_idle(state: ExpectedState) -> float:
    """How long the look at idle takes, s."""
    state.has_looked = False
    signals = state.bench.signals
    is_wired = signals.supply_current is not None or signals.supply_voltage is not None
    return record_taking.IDLE_SPAN_S + state.asking_s(with_supply=True) if is_wired else 0.0
