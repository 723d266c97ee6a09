"""Before a load meets its first high power: does it draw, under a low tone, what its resistance makes it draw?

Where relays switch the loads, each of them is closed alone, with every load that the amplifier may have: of two
resistors the lower one must draw more. Where they are not, each load is compared with those before it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.instruments import RelayBank as RelayBankEntry
from benchctl.documents.text.words import listed
from benchctl.instruments.load import RelayBank
from benchctl.measure.agreement.comparison import contradictions
from benchctl.measure.agreement.load import load_comparisons, relay_comparisons
from benchctl.measure.analyses.bench_check_context import (
    LoadsContext,
    RelayCheck,
    RelaysContext,
    driven_reading,
    open_reading,
    relay_reading,
    undriven_reading,
)
from benchctl.quantity import render
from benchctl.runner.acting.drive import RELAY_S, mute, set_frequency, tone
from benchctl.runner.acting.inputs import drives_alone_without_hands, feed
from benchctl.runner.acting.levels import gain_of
from benchctl.runner.acting.load_change import set_load, take_load_off
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.load_ratings import ratings_w
from benchctl.runner.expected.state import ExpectedState

# A drive from 10 dB below rated power on is a hard one. What is checked here is never driven harder.
HARD_PART = 10.0 ** (-10.0 / 20.0)
# The levels of the check, as parts of rated voltage: the first at which the draw can be told.
PARTS = (10.0 ** (-20.0 / 20.0), 10.0 ** (-15.0 / 20.0), HARD_PART)
# A supply shows a draw of so much, and of so many steps of its display.
TOLD_A = 0.05
TOLD_STEPS = 10.0
# A class AB stage draws no more than at idle up to a current that its bias sets; from so many times that it does.
OVER_BIAS = 2.0
# Rails and supply have come to rest; then readings are taken until three agree, as a slow supply averages.
SETTLE_S = 0.15
READ_EVERY_S = 0.25
FEWEST_READINGS, MOST_READINGS = 3, 8
SETTLED_PART = 0.15
SETTLED_STEPS = 2.0
# As many as usual, for the time to expect.
_USUAL_READINGS = 4

_TOO_LITTLE = "what the load draws: at a low level it is too little for the supply's readings to tell"
_ONE_LOAD = (
    "whether each resistor has its resistance: there is only one load to compare. 'benchctl calibrate loads' "
    "measures them"
)


def prove_load(run: Run, level_v: float) -> None:
    """Before the amplifier is driven at `level_v` V RMS or from there on: what the load that is set draws, once.

    Raises:
        InstrumentsDisagree: it is not what its resistance makes it draw.
    """
    load_ohm, files = run.conditions.load_ohm, run.files
    if load_ohm is None or run.conditions.supply_set_v is None or not run.bench.has("supply"):
        return
    if load_ohm in run.proved.loads or not is_hard(level_v * files.amplifier.gain_ratio, files.amplifier, load_ohm):
        return
    if files.amplifier.amplifier_class == "A":
        _not_checked(run, "what the load draws: a class A amplifier draws the same without a load")
        return
    fed, tuned_hz = run.fed, run.conditions.frequency_hz
    try:
        if relays := relays_to_try(files.bench, files.amplifier, _ways_of(run)):
            _relay_by_relay(run, relays)
        else:
            _all_together(run, load_ohm)
    finally:
        mute(run)
    feed(run, fed)
    set_load(run, load_ohm)
    if tuned_hz is not None:
        set_frequency(run, tuned_hz)
    run.check_agreement()


def is_hard(output_v: float, amplifier: Amplifier, load_ohm: float) -> bool:
    """Whether an output voltage is a hard drive into this load."""
    return output_v > 1.001 * HARD_PART * amplifier.rated_voltage_v(load_ohm)


def relays_of(bench: Bench, channels: Sequence[str], at_least_ohm: float = 0.0) -> tuple[RelayCheck, ...]:
    """The relays of the bank that connect a resistor to one of these channels, of so much at least."""
    load = bench.instruments.load
    if not isinstance(load, RelayBankEntry):
        return ()
    return tuple(
        RelayCheck(relay=each.relay, channel=each.channel, nominal_ohm=each.nominal_ohm)
        for each in load.resistors
        if each.channel in channels and each.nominal_ohm > 0.999 * at_least_ohm
    )


def relays_to_try(bench: Bench, amplifier: Amplifier, channels: Sequence[str]) -> tuple[RelayCheck, ...]:
    """Those whose resistors the amplifier may have: a lower load than its minimum is never connected."""
    return relays_of(bench, channels, amplifier.minimum_load_ohm)


def check_part(bench: Bench, amplifier: Amplifier, highest_ohm: float) -> float:
    """The part of rated voltage at which a load of this resistance at one output can be told by what it draws."""
    for part in PARTS:
        output_v = part * _lowest_rated_v(amplifier)
        least_a = output_v**2 / highest_ohm / amplifier.supply.nominal_v
        peak_a = math.sqrt(2.0) * output_v / highest_ohm
        if least_a >= max(TOLD_A, TOLD_STEPS * _step_a(bench)) and peak_a >= OVER_BIAS * _bias_peak_a(amplifier):
            return part
    return PARTS[-1]


def _lowest_rated_v(amplifier: Amplifier) -> float:
    return min(math.sqrt(rating.power_w * rating.load_ohm) for rating in amplifier.rated)


def _step_a(bench: Bench) -> float:
    supply = bench.instruments.supply
    return 0.0 if supply is None else supply.accuracy.current.resolution


def _bias_peak_a(amplifier: Amplifier) -> float:
    """The output current up to which the bias of a class AB stage carries it: twice the bias, if all of the idle power
    were bias on rails as high as rated power needs."""
    if amplifier.amplifier_class == "D":
        return 0.0
    idle_w = (amplifier.idle_current_a or 0.0) * amplifier.supply.nominal_v
    return idle_w / len(amplifier.channels) / (math.sqrt(2.0) * _lowest_rated_v(amplifier))


def _ways_of(run: Run) -> tuple[str, ...]:
    """The channels whose loads can be tried: all of them, or those that a hand has plugged in."""
    every = tuple(run.files.amplifier.channels)
    return every if drives_alone_without_hands(run.files.bench) else run.fed


# -- relay by relay ------------------------------------------------------------------------------------------------


def _relay_by_relay(run: Run, relays: tuple[RelayCheck, ...]) -> None:
    level_v = _tune(run, max(relay.nominal_ohm for relay in relays))
    each_alone = drives_alone_without_hands(run.files.bench)
    channels = tuple(dict.fromkeys(relay.channel for relay in relays))
    context = RelaysContext(
        relays=relays,
        output_v=level_v * gain_of(run),
        supply_v=run.conditions.supply_set_v or run.files.amplifier.supply.nominal_v,
        each_alone=each_alone,
        outputs_v={name: gain * level_v for name, gain in run.proved.gains.items()},
        **run.accuracies(),
    )
    tolerance_a = _tolerance_a(run, context.output_v, relays[0].nominal_ohm)
    readings: dict[str, list[float]] = {}
    for channel in channels if each_alone else ("",):
        own = [relay for relay in relays if channel in {"", relay.channel}]
        readings |= relay_readings(run, channel, own, level_v, tolerance_a)
    if wrong := contradictions(relay_comparisons({}, readings, context)):
        suspects = [relay for relay in relays if relay.channel in {each.channel for each in wrong}]
        for channel in channels if each_alone else ():
            others = [relay for relay in suspects if relay.channel != channel]
            readings |= relay_readings(run, channel, others, level_v, tolerance_a)
    run.proved.loads |= {relay.nominal_ohm for relay in relays}
    run.analyse("check_relays", {}, readings, context, {})
    run.check_agreement()
    _say_what_was_not_told(run, readings, context)


def relay_readings(
    run: Run,
    channel: str,
    relays: Sequence[RelayCheck],
    level_v: float,
    tolerance_a: float,
    *,
    most: int = MOST_READINGS,
) -> dict[str, list[float]]:
    """With one channel driven, or all where it is empty: the supply current without a load, and with each relay closed
    alone."""
    bank = run.bench.load
    if not relays or not isinstance(bank, RelayBank):
        return {}
    take_load_off(run)
    feed(run, (channel,) if channel else run.fed)
    readings = {open_reading(channel): current_under(run, level_v, tolerance_a, most)}
    run.set_to(load_ohm=None)
    for relay in relays:
        mute(run)
        bank.connect_alone(relay.relay)
        run.wait(RELAY_S)
        readings[relay_reading(relay.relay, channel)] = current_under(run, level_v, tolerance_a, most)
    mute(run)
    bank.disconnect()
    return readings


def current_under(run: Run, level_v: float | None, tolerance_a: float, most: int = MOST_READINGS) -> list[float]:
    """The last readings of the supply current under the tone, or in silence: three that agree, as soon as there are, or
    what is left of the most that are taken without the first half, or the first two seconds."""
    if level_v is not None:
        tone(run, level_v)
    run.wait(SETTLE_S)
    read_a: list[float] = []
    for _ in run.paced(READ_EVERY_S, most * READ_EVERY_S):
        read_a.append(run.read_supply()["supply_current"])
        last = read_a[-FEWEST_READINGS:]
        if len(last) == FEWEST_READINGS and max(last) - min(last) <= tolerance_a:
            return last
    return read_a[min(len(read_a) // 2, MOST_READINGS) :]


def _say_what_was_not_told(run: Run, readings: Mapping[str, Sequence[float]], context: RelaysContext) -> None:
    told = {each.channel for each in relay_comparisons({}, readings, context)}
    if untold := [relay.channel for relay in context.relays if relay.channel not in told]:
        _not_checked(run, f"{_TOO_LITTLE} ({listed(list(dict.fromkeys(untold)))})")
    elif len({relay.nominal_ohm for relay in context.relays}) < 2:
        _not_checked(run, _ONE_LOAD)


# -- loads that are not behind relays ----------------------------------------------------------------------------------


def _all_together(run: Run, load_ohm: float) -> None:
    """The load that is set, at every output or at one after the other, and what was seen of the loads before it."""
    level_v = _tune(run, load_ohm)
    proved, alone = run.proved, drives_alone_without_hands(run.files.bench)
    loaded = tuple(ratings_w(run.files.bench, run.files.amplifier, load_ohm))
    fed = tuple(name for name in loaded if name in run.fed)
    for channels in [(name,) for name in loaded] if alone else filter(None, [fed]):
        feed(run, channels if alone else run.fed)
        mute(run)
        name = f"{render(load_ohm, 'ohm')} at {listed(list(channels))}"
        output_v = {channel: level_v * proved.gains.get(channel, gain_of(run)) for channel in channels}
        tolerance_a = _tolerance_a(run, max(output_v.values()), load_ohm)
        proved.load_readings[undriven_reading(name)] = current_under(run, None, tolerance_a)
        proved.load_readings[driven_reading(name)] = current_under(run, level_v, tolerance_a)
        proved.load_outputs_v[name] = output_v
        proved.loads_ohm[name] = load_ohm
    context = LoadsContext(
        loads_ohm=dict(proved.loads_ohm),
        outputs_v={name: dict(each) for name, each in proved.load_outputs_v.items()},
        supply_v=run.conditions.supply_set_v or run.files.amplifier.supply.nominal_v,
        **run.accuracies(),
    )
    proved.loads.add(load_ohm)
    run.analyse("check_loads", {}, dict(proved.load_readings), context, {})
    run.check_agreement()
    if not list(load_comparisons({}, proved.load_readings, context)):
        _not_checked(run, _TOO_LITTLE)


# -- the level -------------------------------------------------------------------------------------------------------


def _tune(run: Run, highest_ohm: float) -> float:
    """The tone that the look has found to pass, at the level of the check, which is the same for every load."""
    files = run.files
    if run.proved.tone_hz is not None:
        set_frequency(run, run.proved.tone_hz)
    part = run.proved.load_part or check_part(files.bench, files.amplifier, highest_ohm)
    run.proved.load_part = part
    return run.bench.generator.settable(part * _lowest_rated_v(files.amplifier) / gain_of(run))


def _tolerance_a(run: Run, output_v: float, load_ohm: float) -> float:
    """Readings that differ by less have come to rest."""
    least_a = output_v**2 / load_ohm / run.files.amplifier.supply.nominal_v
    return max(SETTLED_PART * least_a, SETTLED_STEPS * _step_a(run.files.bench))


def _not_checked(run: Run, what: str) -> None:
    if run.proved.says_first(what):
        run.note(f"not checked before high power: {what}")


# -- what it takes -----------------------------------------------------------------------------------------------------


def worst_case_proving(state: ExpectedState) -> float:
    """How long the check of the load that is set takes, where it has not been made, s."""
    load_ohm, amplifier = state.load_ohm, state.amplifier
    if load_ohm is None or load_ohm in state.proved_loads or amplifier.amplifier_class == "A":
        return 0.0
    alone = drives_alone_without_hands(state.bench)
    channels = tuple(amplifier.channels) if alone else state.driven
    relays = relays_to_try(state.bench, amplifier, channels)
    state.proved_loads |= {load_ohm, *(relay.nominal_ohm for relay in relays)}
    ways = len(channels) if alone else 1
    places = ways + len(relays) if relays else 2 * ways
    each_s = sum(_place_s(state))
    return places * each_s + (ways * (RELAY_S + state.pace.ask_s("load")) if alone else 0.0)


def _place_s(state: ExpectedState) -> Iterator[float]:
    """Of one relay: it closes, the tone begins, the supply is read, the tone ends."""
    yield RELAY_S + state.pace.ask_s("load", 2.0)
    yield SETTLE_S + 2.0 * state.pace.switch_s + state.pace.set_s
    yield _USUAL_READINGS * max(READ_EVERY_S, state.pace.supply_s(0.0, 1.0))
