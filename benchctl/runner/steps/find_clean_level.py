"""find_clean_level: the highest steady level that keeps a distortion bound, searched from below."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict

from benchctl.archive.journal.events import CLEAN_LEVEL
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.sequence_file.power_steps import FindCleanLevel
from benchctl.instruments.oscilloscope.acquiring import POLL_S
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.analyses.by_step import steady_tones
from benchctl.measure.analyses.context import ContinuousContext
from benchctl.measure.signal.distortion import BAND_HZ, Heard
from benchctl.quantity import render
from benchctl.runner.acting.agreement import before_power, worst_case_look
from benchctl.runner.acting.drive import load_and_frequency, mute, tone
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.protection import ProtectionWatch
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.record_check import longest_record_s, refuse_coarse_record
from benchctl.runner.acting.run import CleanLevel, Run
from benchctl.runner.expected.limit_reach import warn_of_short_search
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps.search import Exposure, rated_level_v, run_rested_search, search_from, usual_exposures

# Rails and supply have come to rest: ten time constants of a common reservoir.
SETTLE_S = 0.15
# Between exposures the amplifier rests, so that a search heats it little.
REST_S = 0.2
# So many of a search's exposures are near full power.
FULL_POWER_EXPOSURES = 6
# Of a class D amplifier, distortion above this part of the bound is looked at twice where a carrier may have made it.
_CHECKED_FROM = 0.5
# A clipped sine has its first odd harmonics at three and five times its frequency.
HARMONICS_SEEN = 5


def perform(step: FindCleanLevel, run: Run) -> None:
    """Search, and remember the level for the steps that follow."""
    feed(run, step.driven)
    load_ohm, frequency_hz = load_and_frequency(run)
    before_power(run, step.from_v, step.to_v)
    context = steady_context(run, load_ohm, frequency_hz)
    run.clean_levels.pop((load_ohm, frequency_hz, run.fed), None)  # found on a colder amplifier, perhaps

    watch = ProtectionWatch(run, load_ohm, frequency_hz, ends_run=step.on_protection == "end the run", may_clip=True)

    def expose(level_v: float) -> Exposure:
        tone(run, level_v, "tried")
        run.wait(SETTLE_S)
        record = tone_record(run.files.amplifier, frequency_hz)
        capture = record_taking.take(run, "search", record, level_v, record_taking.driven_outputs(run))
        watch.check_steady(capture, level_v)
        try:
            heard = steady_tones(capture, context)
            if record_taking.may_fold(run, capture) and worst_of(heard) > _CHECKED_FROM * step.thd_n:
                record = record_taking.check_record(frequency_hz)
                check = record_taking.take(run, "search", record, level_v, record_taking.driven_outputs(run))
                heard = less_folded(heard, steady_tones(check, context))
        finally:
            mute(run)
        run.wait(REST_S)
        return Exposure.of(heard, level_v)

    expected_v = expected_level_v(run, load_ohm)
    outcome = run_rested_search(
        run, lambda: search_from(run, step, step.from_v, expected_v=expected_v), expose, "clean steady level"
    )
    supply_v = run.conditions.supply_set_v
    found = CleanLevel(outcome.level_v, step.thd_n, supply_v, outcome.at_least, outcome.level_u)
    run.clean_levels[load_ohm, frequency_hz, run.fed] = found
    run.recorder.event(CLEAN_LEVEL, load_ohm=load_ohm, frequency_hz=frequency_hz, driven=list(run.fed), **asdict(found))
    run.note(f"clean steady level {found.level_v:.4g} V")


def steady_context(
    run: Run, load_ohm: float, frequency_hz: float, found: CleanLevel | None = None
) -> ContinuousContext:
    """What an analysis of a steady tone must know, with the loads as warm as they are now.

    `found`: the level, where it is one that a search found.
    """
    return ContinuousContext(
        frequency_hz=frequency_hz,
        loads=run.loads(load_ohm),
        band_hz=distortion_band_hz(frequency_hz),
        low_pass_hz=low_pass_hz(run.files.amplifier, frequency_hz),
        at_least={} if found is None else dict(found.at_least),
        level_u=0.0 if found is None else found.level_u,
        halves=run.halves,
        **run.accuracies(),
    )


def distortion_band_hz(frequency_hz: float) -> float:
    """20 kHz as AES17 has it; above 4 kHz wide enough that clipping shows its harmonics (common practice)."""
    return max(BAND_HZ, HARMONICS_SEEN * frequency_hz)


def low_pass_hz(amplifier: Amplifier, frequency_hz: float) -> float | None:
    """The edge of what counts at the outputs: of class D the band in which distortion is looked for, of others all."""
    return distortion_band_hz(frequency_hz) if record_taking.is_switching(amplifier) else None


def tone_record(amplifier: Amplifier, frequency_hz: float) -> Record:
    """A record of a steady tone that shows its distortion."""
    return record_taking.steady_record(frequency_hz, switching=record_taking.is_switching(amplifier))


def worst_of(heard: Mapping[str, Heard]) -> float:
    """The highest distortion of any channel, as a ratio."""
    return max(one.distortion.ratio for one in heard.values())


def less_folded(heard: Mapping[str, Heard], check: Mapping[str, Heard]) -> dict[str, Heard]:
    """Of two records at different sample rates, each channel's with less distortion: a carrier only adds."""
    return {channel: min(one, check[channel], key=lambda each: each.distortion.ratio) for channel, one in heard.items()}


def expected_level_v(run: Run, load_ohm: float) -> float | None:
    """The level that gives rated power, where the plate has a rating for this load; a guess, no more."""
    return rated_level_v(run.files.amplifier, load_ohm)


def refuse_coarse_tone(state: ExpectedState, frequency_hz: float) -> None:
    """Note a hazard where the oscilloscope cannot show the distortion of a steady tone."""
    lowest_hz = record_taking.STEADY_CYCLES / longest_record_s(state, BAND_HZ)
    instead = f"use a frequency of {render(lowest_hz, 'Hz', digits=2)} or more" if frequency_hz < lowest_hz else ""
    record = tone_record(state.amplifier, frequency_hz)
    refuse_coarse_record(state, record, distortion_band_hz(frequency_hz), instead or "use a lower frequency")


def worst_case(step: FindCleanLevel, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, step.driven)
    state.level = None
    state.will_find_clean_level()
    warn_of_short_search(step, state)
    frequency_hz = state.frequency_hz or 1e3
    record = tone_record(state.amplifier, frequency_hz)
    refuse_coarse_tone(state, frequency_hz)
    lasts_s = record_taking.lasts_s(record, state.bench)
    each_s = SETTLE_S + lasts_s + 2 * POLL_S + state.pace.switch_s + state.asking_s()
    rest_s = REST_S + state.pace.switch_s + state.pace.set_s
    duration_s = (
        worst_case_look(state) + state.temperatures_s(load=1) + usual_exposures(step, state) * (each_s + rest_s)
    )
    for_s = FULL_POWER_EXPOSURES * each_s
    return WorstCase(duration_s=duration_s, **state.full_power(for_s=for_s, parts=FULL_POWER_EXPOSURES))
