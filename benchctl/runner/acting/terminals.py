"""The supply's voltage at the amplifier's terminals: measured there, and the supply set until it is as asked for.

Whatever measures there may be off its place or may lie, so it is believed only as far as the supply's own reading lets
it be: leads take a little and add nothing. Where the two contradict each other, the run ends before anything is set.
"""

from __future__ import annotations

from collections.abc import Iterator

from uncertainties import UFloat

from benchctl.documents.bench_file.sight import measures_terminals, terminal_point
from benchctl.errors import InstrumentError, InstrumentsDisagree
from benchctl.measure.agreement.comparison import Sight
from benchctl.measure.analyses.static_sag import AT_REST, REST
from benchctl.measure.analyses.supply_voltages import TERMINALS, settled_voltage
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import SUPPLY_VOLTAGE, Capture
from benchctl.measure.signal.supply import at_rest
from benchctl.measure.uncertainty import COVERAGE_FACTOR, ErrorOf, mean_of
from benchctl.quantity import render
from benchctl.runner.acting.contexts import reading_accuracies
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run, Trimming
from benchctl.runner.expected.state import ExpectedState

# A supply's slew, and the amplifier's converter coming to its new rails; common practice.
SUPPLY_SETTLE_S = 1.0
READINGS = 3
# After a drive the rails, and the supply, have come to rest (ten time constants of a common reservoir).
REST_S = 0.15
# The supply is set so often at most; a second time is enough unless its steps are coarse.
SETTINGS = 3
# The terminals must follow the supply at least so far, and by no more than twice that short of the whole.
FOLLOWS_PART = 0.5
_ADVICE = (
    "Look at the probe or the leads at the amplifier's terminals, their ratio or range in the bench file, and the "
    "supply leads with their plugs and fuse"
)


def set_supply(run: Run, voltage_v: float) -> None:
    """Another voltage of the main output; at the amplifier's terminals, where the amplifier was switched on so."""
    run.bench.supply.set_voltage(run.bench.main_output, voltage_v)
    run.wait(SUPPLY_SETTLE_S)
    run.set_to(supply_set_v=voltage_v)
    if run.trimming is not None:
        hold_at_terminals(run, voltage_v, run.trimming)


def hold_at_terminals(run: Run, voltage_v: float, trimming: Trimming) -> None:
    """Set the supply, which is at `voltage_v`, until the terminals have that, as near as its steps and what measures
    there allow.

    Raises:
        InstrumentsDisagree: what measures at the terminals contradicts the supply's reading, or does not follow it.
        InstrumentError: the supply would have to be set too far away, or too high.
    """
    set_v, seen = voltage_v, _believable(run, trimming)
    run.trimming = trimming
    run.set_to(supply_at="terminals")
    for _ in range(SETTINGS):
        if abs(voltage_v - seen.value) <= seen.uncertainty:
            break
        wanted_v = set_v + voltage_v - seen.value
        _refuse_too_far(run, wanted_v, voltage_v, trimming, seen)
        run.bench.supply.set_voltage(run.bench.main_output, wanted_v)
        run.wait(SUPPLY_SETTLE_S)
        moved_v, set_v, before = wanted_v - set_v, wanted_v, seen
        seen = _believable(run, trimming)
        _refuse_unmoved(moved_v, before, seen)
    run.note(_outcome(voltage_v, set_v, seen))


def _outcome(voltage_v: float, set_v: float, seen: Sight) -> str:
    shown = f"{seen.who} {render(seen.value, 'V')} ± {render(seen.uncertainty, 'V', digits=2)}"
    if set_v == voltage_v:
        return f"{shown}, which does not differ from {render(voltage_v, 'V')}: the supply is left at that"
    return f"{shown}: the supply is set to {render(set_v, 'V')} for {render(voltage_v, 'V')} there"


def _believable(run: Run, trimming: Trimming) -> Sight:
    """What the surest instrument at the terminals shows, unless the supply's own reading contradicts it."""
    seen = measure(run)
    if run.files.bench.instruments.supply is None or senses_remotely(run):
        return seen
    read = _sight(
        "the supply reads", _read(run, "supply_voltage", [run.read("supply_voltage") for _ in range(READINGS)])
    )
    room_v = seen.uncertainty + read.uncertainty
    lost_v = read.value - seen.value
    if -room_v <= lost_v <= trimming.most_v + room_v:
        return seen
    apart = f"{seen.who} {render(seen.value, 'V')} and {read.who} {render(read.value, 'V')} at its own output"
    why = (
        f"the leads would add {render(-lost_v, 'V', digits=3)}, and they can only take"
        if lost_v < 0.0
        else f"the leads would take {render(lost_v, 'V', digits=3)}, and the supply may be trimmed by "
        f"{render(trimming.most_v, 'V')} at most"
    )
    raise InstrumentsDisagree(f"{apart}: {why}. Nothing was trimmed", advice=f"{_ADVICE}.")


def measure(run: Run) -> Sight:
    """What the surest instrument at the amplifier's terminals shows now.

    Raises:
        InstrumentError: there is none.
    """
    seen = list(_seen(run))
    if not seen:
        raise InstrumentError(
            "nothing on the bench measures the supply's voltage at the amplifier's terminals",
            advice="Give a probe, a point of the multimeter or sense leads there in the bench file, or leave out 'at'.",
        )
    return min(seen, key=lambda sight: sight.uncertainty)


def _seen(run: Run) -> Iterator[Sight]:
    if values := terminal_readings(run).get(TERMINALS):
        yield _sight("at the amplifier's terminals the multimeter reads", _read(run, TERMINALS, values))
    if senses_remotely(run):
        values = [run.read("supply_voltage") for _ in range(READINGS)]
        yield _sight("the supply, by its sense leads, reads", _read(run, "supply_voltage", values))
    if run.bench.has("oscilloscope") and SUPPLY_VOLTAGE in run.bench.oscilloscope.inputs:
        yield _sight("at the amplifier's terminals the oscilloscope shows", _recorded(run))


def senses_remotely(run: Run) -> bool:
    """Whether the supply holds its voltage where its sense leads are."""
    supply = run.files.bench.instruments.supply
    return supply is not None and supply.main.remote_sense


def _read(run: Run, name: str, values: list[float]) -> UFloat:
    return ErrorOf(reading_accuracies(run.files.bench)[name]).on(mean_of(values))


def _recorded(run: Run) -> UFloat:
    """The mean of a record."""
    record = record_taking.idle_record()
    capture = record_taking.take(run, "terminals", record, run.conditions.level_v or 0.0, [SUPPLY_VOLTAGE])
    return settled_voltage(Signals(capture, run.accuracies()["accuracy"]), at_rest(capture))


def _sight(who: str, value: UFloat) -> Sight:
    return Sight(who, float(value.nominal_value), COVERAGE_FACTOR * float(value.std_dev))


def terminal_readings(run: Run) -> dict[str, list[float]]:
    """A few readings of the multimeter at the amplifier's terminals, where a scanner takes it there."""
    point = terminal_point(run.files.bench)
    return {} if point is None else {TERMINALS: [run.bench.multimeter.measure(point) for _ in range(READINGS)]}


def readings_at_rest(run: Run) -> dict[str, list[float]]:
    """What is read at the terminals before a drive, by the names of readings that are taken then."""
    if terminal_point(run.files.bench) is None and not senses_remotely(run):
        return {}
    mute(run)
    return {name + AT_REST: values for name, values in readings_now(run, after_s=REST_S).items()}


def readings_now(run: Run, after_s: float) -> dict[str, list[float]]:
    """What meters at the terminals read a while from now; nothing, and at once, where there are none."""
    if terminal_point(run.files.bench) is None and not senses_remotely(run):
        return {}
    run.wait(after_s)
    readings = terminal_readings(run)
    if senses_remotely(run):
        readings["supply_voltage"] = [run.read("supply_voltage") for _ in range(READINGS)]
    return readings


def record_at_rest(run: Run) -> dict[str, Capture]:
    """A record of the supply while nothing drives the amplifier; none where the oscilloscope does not see its
    voltage."""
    if not run.bench.has("oscilloscope") or SUPPLY_VOLTAGE not in (signals := record_taking.supply_signals(run)):
        return {}
    mute(run)
    run.wait(REST_S)
    return {REST: record_taking.take(run, "rest", record_taking.idle_record(), 0.0, signals)}


def _refuse_too_far(run: Run, wanted_v: float, voltage_v: float, trimming: Trimming, seen: Sight) -> None:
    if abs(wanted_v - voltage_v) <= trimming.most_v and wanted_v <= trimming.ceiling_v:
        return
    most = (
        f"it may be trimmed by {render(trimming.most_v, 'V')} at most"
        if wanted_v <= trimming.ceiling_v
        else f"amplifier, supply and over-voltage protection allow no more than {render(trimming.ceiling_v, 'V')}"
    )
    supply = run.bench.supply
    raise InstrumentError(
        f"{seen.who} {render(seen.value, 'V')}; for {render(voltage_v, 'V')} there the supply would be set to "
        f"{render(wanted_v, 'V')}, and {most}",
        instrument=supply.name,
        address=supply.session.address,
        advice=f"{_ADVICE}.",
    )


def _refuse_unmoved(moved_v: float, before: Sight, now: Sight) -> None:
    """What does not follow the supply is not at its leads, or shows an old value."""
    followed_v = now.value - before.value
    if abs(followed_v - moved_v) <= FOLLOWS_PART * abs(moved_v):
        return
    raise InstrumentsDisagree(
        f"the supply was set {render(moved_v, 'V', digits=3)} higher and {now.who} "
        f"{render(followed_v, 'V', digits=3)} more than before",
        advice=f"{_ADVICE}.",
    )


def need_sight_of_terminals(state: ExpectedState, what: str, instead: str) -> None:
    """Note a hazard where nothing measures there."""
    if not measures_terminals(state.bench):
        state.hazard(
            f"{what} needs the supply's voltage measured at the amplifier's terminals, and nothing on the bench "
            "measures there; give 'supply_voltage' under 'signals', a point of the multimeter with "
            f"'at_terminals: yes', or 'remote_sense: yes' in the bench file, or {instead}"
        )


def worst_case_at_rest(state: ExpectedState) -> float:
    """How long it takes, s, to record the supply before a drive."""
    if state.bench.signals.supply_voltage is None:
        return 0.0
    return REST_S + record_taking.IDLE_SPAN_S + state.asking_s(with_supply=True) + state.pace.switch_s


def worst_case_settling(state: ExpectedState) -> float:
    """How long it takes, s, to set another voltage, and to hold it at the terminals."""
    if not state.at_terminals:
        return SUPPLY_SETTLE_S
    looks = SETTINGS - 1  # before it is trimmed, and once after
    record_s = record_taking.IDLE_SPAN_S + state.asking_s(with_supply=True)
    each_s = record_s + state.pace.supply_s(1.0, READINGS) + state.pace.ask_s("multimeter", READINGS)
    return looks * (SUPPLY_SETTLE_S + each_s)
