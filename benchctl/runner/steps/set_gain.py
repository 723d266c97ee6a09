"""set_gain: the reading of each channel's gain, live, while a hand turns its control to what is wanted."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.model.criteria import Criterion
from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.measuring_steps import SetGain
from benchctl.documents.text.words import listed
from benchctl.errors import RequirementFailed
from benchctl.measure.analyses.gain_figures import GAIN, GainContext, gain
from benchctl.measure.signal.record import Capture
from benchctl.quantity import render
from benchctl.runner.acting.drive import load_and_frequency, mute, tone
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.record_check import refuse_coarse_record
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps.find_clean_level import SETTLE_S

# A hand wants to see what it does within the blink of an eye, and a person to read it.
READ_EVERY_S = 0.25
# So many readings in a row must be right: then the hand has come off the control.
STEADY_READINGS = 4
# 20 dB below rated power in all: the control may be turned up by 20 dB before anything clips.
QUIETER = Level(0.01, "rated")


@dataclass
class _Control:
    """The drive, and the gains that the hand is to make."""

    step: SetGain
    run: Run
    load_ohm: float
    frequency_hz: float
    level_v: float

    def context(self) -> GainContext:
        amplifier = self.run.files.amplifier
        rating = amplifier.rating(self.load_ohm)
        return GainContext(
            tones_hz={GAIN: self.frequency_hz},
            level_v=self.level_v,
            wanted_gain=wanted_gain(self.step, amplifier, self.load_ohm),
            rated_v=math.sqrt(rating.power_w * rating.load_ohm) if rating is not None else None,
            **self.run.accuracies(),
        )

    def take(self) -> Capture:
        record = record_taking.steady_record(self.frequency_hz)
        return record_taking.take(self.run, "gain", record, self.level_v, record_taking.driven_outputs(self.run))

    def wait(self, context: GainContext) -> bool:
        """Show readings until they are right, and stay so; False if that took too long."""
        deadline_s = self.run.clock.now() + self.step.timeout_s
        right = 0
        while right < STEADY_READINGS:
            gains = _gains(self.take(), context)
            wrong = self._wrong(gains, context.wanted_gain)
            right = 0 if wrong else right + 1
            self.run.observer.progress(_in_words(gains, context.wanted_gain))
            self.run.hands.turn(wrong)
            if right < STEADY_READINGS and self.run.clock.now() >= deadline_s:
                return False
            self.run.wait(READ_EVERY_S)
        return True

    def _wrong(self, gains: Mapping[str, float], wanted: float | None) -> dict[str, float]:
        """Each channel that is not at what is wanted or, where nothing is, not like the first -> the factor to it."""
        aim = wanted or next(iter(gains.values()))
        return {channel: aim / gain for channel, gain in gains.items() if abs(gain / aim - 1.0) > self.step.within}


def perform(step: SetGain, run: Run) -> None:
    """Drive, show, and wait for the hand; then measure what it has made.

    Raises:
        RequirementFailed: it took too long, and the run is to end then.
    """
    feed(run)
    load_ohm, frequency_hz = load_and_frequency(run)
    level_v = level_in_v(run, step.level or QUIETER, load_ohm)
    control = _Control(step, run, load_ohm, frequency_hz, level_v)
    context = control.context()
    run.note(_request(run.seen, context.wanted_gain))
    tone(run, level_v)
    run.wait(SETTLE_S)
    is_right = control.wait(context)
    capture = control.take()
    mute(run)
    run.analyse("gain", {GAIN: capture}, {}, context, _criteria(step, context))
    if not is_right:
        _out_of_time(step, run)


def _out_of_time(step: SetGain, run: Run) -> None:
    text = f"the gains were not set within {render(step.timeout_s / 60, 'min')}"
    if step.on_timeout == "end the run":
        raise RequirementFailed(text)
    run.note(text)


def _criteria(step: SetGain, context: GainContext) -> Mapping[str, Criterion]:
    """What was wanted is what the outcome is held to, unless the step says otherwise."""
    if context.wanted_gain is None:
        return step.expect
    return {"gain_error": Criterion(relation="within", bound=step.within, unit="1"), **step.expect}


def wanted_gain(step: SetGain, amplifier: Amplifier, load_ohm: float) -> float | None:
    """Volts for a volt; None where the channels are to be alike and no more."""
    if step.input_sensitivity_v is None:
        return step.gain
    return amplifier.rated_voltage_v(load_ohm) / step.input_sensitivity_v


def _gains(capture: Capture, context: GainContext) -> dict[str, float]:
    figures = gain({GAIN: capture}, {}, context)
    return {figure.channel: figure.value for figure in figures if figure.name == "gain"}


def _request(channels: Sequence[str], wanted: float | None) -> str:
    aim = "until they are alike" if wanted is None else f"to {_decibels(wanted)}"
    return f"turn the gain of {listed(channels)} {aim}; the reading is live"


def _in_words(gains: Mapping[str, float], wanted: float | None) -> str:
    """Each channel's gain, and by how much it is too high or too low."""
    aim = wanted or next(iter(gains.values()))
    parts = [
        f"{channel} {_decibels(value)} ({20.0 * math.log10(value / aim):+.2f} dB)" for channel, value in gains.items()
    ]
    return ", ".join(parts)


def _decibels(ratio: float) -> str:
    return f"{20.0 * math.log10(ratio):.2f} dB"


def worst_case(step: SetGain, state: ExpectedState) -> WorstCase:
    """As long as it takes to see that all is right, or until the time is over."""
    worst_case_feed(state, None)
    if state.unattended:
        state.hazard(
            "the gain control is turned by hand, and nobody is present in an unattended run; "
            "be present, or leave the step out"
        )
    load_ohm = state.load_ohm or 4.0
    frequency_hz = state.frequency_hz or 1000.0
    record = record_taking.steady_record(frequency_hz)
    refuse_coarse_record(state, record, frequency_hz)
    each_s = record_taking.lasts_s(record, state.bench) + record_taking.FETCH_S + state.asking_s()
    shortest_s = SETTLE_S + STEADY_READINGS * (each_s + READ_EVERY_S) + each_s
    power = state.tone(step.level or QUIETER, for_s=step.timeout_s)
    state.level = None
    if (wanted := wanted_gain(step, state.amplifier, load_ohm)) is not None:
        # A run that goes on with whatever the hand has made may have the higher of both.
        state.set_gain = wanted if step.on_timeout == "end the run" else max(wanted, state.gain)
    return WorstCase(duration_s=shortest_s, at_most_s=shortest_s + step.timeout_s, **power)
