"""Every word of an oscilloscope's driver file, its inputs at rest. Nothing of it can be energised.

A record is moved on the screen by a known offset: its codes must move by as much, and its volts must stay. Wrong byte
order, width, sign or scale cannot do both.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.templates import Value
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.instruments.exercise.exercise import Exercise, Plan
from benchctl.instruments.exercise.findings import Verdict
from benchctl.instruments.exercise.settings import SettingTrial
from benchctl.instruments.exercise.suggest import written
from benchctl.instruments.oscilloscope.acquiring import SYNC_LEVEL_V
from benchctl.instruments.oscilloscope.oscilloscope import Oscilloscope
from benchctl.instruments.oscilloscope.ranges import vertical_values
from benchctl.instruments.oscilloscope.record import Input, Record
from benchctl.instruments.oscilloscope.timing import setup_for
from benchctl.measure.signal.record import Capture, Trace
from benchctl.scpi.errors import FormatError

VOLTS_PER_DIVISION = (2.0, 1.0)
# On the screen, and far enough from the middle that noise does not matter.
MOVED_DIVISIONS = 2.0
# Noise, zero and the error of an offset, of an instrument with 3 % (common practice).
OFF_DIVISIONS = 0.5
RECORD = Record(span_s=0.01, pretrigger_s=0.001, samples=1000, triggered=False)
# A time base in steps of 1-2-5 and a memory from a table make a record longer, but not much shorter.
LEAST_SPAN, MOST_SPAN = 0.9, 30.0
PRETRIGGER_PART = 0.05
# By which of these names a driver file takes the length of a record.
TIME_BASES = ("seconds_per_division", "span_s", "interval_s", "sample_rate_hz")
RECORD_WORD, SCALE_WORD = "get_samples", "get_scale"
_POLLS, _POLL_S = 100, 0.05
_WAIT_S = 0.5


class OscilloscopeExercise(Exercise):
    """Each wired channel is set; records are taken of the first."""

    @property
    def _oscilloscope(self) -> Oscilloscope:
        assert isinstance(self._role, Oscilloscope)
        return self._role

    @property
    def _divisions(self) -> int:
        driver = self._oscilloscope.driver
        assert isinstance(driver, OscilloscopeDriver)
        return driver.divisions.vertical

    @property
    def _across(self) -> int:
        driver = self._oscilloscope.driver
        assert isinstance(driver, OscilloscopeDriver)
        return driver.divisions.horizontal

    @property
    def _channels(self) -> list[int]:
        return sorted({source.channel for source in self._oscilloscope.inputs.values()})

    def _source_of(self, channel: int) -> Input:
        return next(each for each in self._oscilloscope.inputs.values() if each.channel == channel)

    def plan(self) -> Plan:
        return Plan(
            (
                "oscilloscope: resets it, sets range, time base and triggers, and takes some records. Nothing may be "
                "driven at its probes.",
            )
        )

    def any_place(self) -> dict[str, Any]:
        return {"channel": self._channels[0]}

    def make_off(self) -> bool:
        return True

    def make_off_again(self) -> None:
        """There is nothing to switch off."""

    def walk(self) -> None:
        for channel in self._channels:
            self.accepted("show_channel", channel=channel)
            ratio = self._oscilloscope.probe_ratio(self._source_of(channel))
            self.accepted("set_probe", channel=channel, probe_ratio=ratio, probe_gain=1.0 / ratio)
            self._vertical(channel)
        for channel in self._channels[1:]:
            self.accepted("hide_channel", channel=channel)
        self._look_for_mixed_channels()
        self._triggers()
        if self._sets_record() and self._takes_record():
            self._move_record()
        self.accepted("hide_channel", channel=self._channels[0])

    # -- settings ----------------------------------------------------------------------------------------------

    def _vertical(self, channel: int) -> None:
        """Each channel is left at a range of its own."""
        tries = self.two("volts_per_division", *VOLTS_PER_DIVISION)
        if self._channels.index(channel) % 2:
            tries = (tries[1], tries[0])
        SettingTrial(
            "set_vertical",
            "get_vertical",
            "volts_per_division",
            "V",
            tries,
            lambda wanted: 0.02 * wanted,
            {"channel": channel},
            sent_as=self._vertical_values,
        ).run(self.talk)

    def _vertical_values(self, volts_per_division: float, moved_divisions: float = 0.0) -> Mapping[str, Value]:
        return vertical_values(volts_per_division, moved_divisions, self._divisions)

    def _look_for_mixed_channels(self) -> None:
        talk = self.talk
        if len(self._channels) < 2 or talk.findings.has_failed("set_vertical", "get_vertical"):
            return
        if not talk.has("get_vertical"):
            return
        tries = self.two("volts_per_division", *VOLTS_PER_DIVISION)
        for place, channel in enumerate(self._channels[:2]):
            got, wanted = talk.number("get_vertical", channel=channel), tries[0 if place % 2 else 1]
            if got is not None and abs(got - wanted) > 0.02 * wanted:
                text = (
                    f"channel {channel} reads back {got:g} V a division where {wanted:g} was set: one channel is "
                    "taken for another; see whether each line chooses its {channel}"
                )
                talk.note("set_vertical", Verdict.WRONG, text, suspects=["get_vertical"])
                talk.note("get_vertical", Verdict.WRONG, text, suspects=["set_vertical"])

    def _triggers(self) -> None:
        if self.file.signals.trigger.is_external:
            self.accepted("trigger_external", level_v=SYNC_LEVEL_V)
        self.accepted("trigger_channel", channel=self._channels[0], level_v=SYNC_LEVEL_V)
        self.accepted("single")
        self._waits_for_trigger()
        self.accepted("stop", "trigger_free")

    def _waits_for_trigger(self) -> None:
        """Armed, with nothing at the input to trigger on: the record cannot be whole."""
        talk = self.talk
        if not talk.has("get_finished") or talk.findings.has_failed("trigger_channel", "single"):
            return
        if talk.words("get_finished").waits:  # it would answer only with a trigger
            return
        talk.sleep(_WAIT_S)
        is_whole = self._is_finished()
        if is_whole:
            text = (
                f"says that the record is whole {_WAIT_S:g} s after it was armed, with nothing to trigger on; if "
                "nothing is driven at the probes, yes and no may be exchanged"
            )
            query: Query = talk.words("get_finished")
            exchanged = replace(query.form, yes=query.form.no, no=query.form.yes)
            offer = f"write `{written('get_finished', query, exchanged)}`"
            talk.note("get_finished", Verdict.WRONG, text, offer=offer, suspects=["trigger_channel", "single"])
        elif is_whole is False:
            talk.note("trigger_channel", Verdict.ACCEPTED, "it waits; that it triggers was not tried")

    def _is_finished(self) -> bool | None:
        answer = self.talk.ask("get_finished")
        if answer is None:
            return None
        query: Query = self.talk.words("get_finished")
        try:
            return query.form.truth(answer)
        except FormatError as error:
            self.talk.note("get_finished", Verdict.WRONG, str(error))
            return None

    # -- records -----------------------------------------------------------------------------------------------

    def _sets_record(self) -> bool:
        """Time base and memory by themselves, so that an error is theirs."""
        role, driver = self._oscilloscope, self._oscilloscope.driver
        assert isinstance(driver, OscilloscopeDriver)
        values = setup_for(RECORD, driver, role.ratings).values(self._across)
        return self.talk.say("set_record", **values) and self._tells_time_base(values)

    def _tells_time_base(self, values: Mapping[str, float | int | str]) -> bool:
        """It answers what `set_record` was given, or the next one that it has."""
        talk = self.talk
        used = [name for name in TIME_BASES if name in talk.words("set_record").uses]
        if not talk.has("get_time_base") or not used:
            return True
        got, wanted = talk.number("get_time_base"), float(values[used[0]])
        if got is None:
            return False
        if not LEAST_SPAN * wanted <= got <= MOST_SPAN * wanted:
            text = f"`{{{used[0]}}}` was set to {wanted:g}, and reads back {got:g} ({talk.answers['get_time_base']})"
            talk.note("get_time_base", Verdict.WRONG, text, suspects=["set_record"])
            talk.note("set_record", Verdict.WRONG, text, suspects=["get_time_base"])
            return False
        talk.note("get_time_base", Verdict.WORKS)
        return True

    def _takes_record(self) -> bool:
        """One record, word by word, up to the question whether it is whole."""
        talk = self.talk
        self.accepted("single")
        if talk.findings.has_failed("get_finished"):
            return False
        if not talk.has("get_finished"):
            return not talk.findings.has_failed("single")
        talk.sleep(MOST_SPAN * RECORD.span_s)  # so that a question that waits for the end finds it
        for _ in range(_POLLS):
            is_whole = self._is_finished()
            if is_whole:
                talk.note("get_finished", Verdict.WORKS)
                return True
            if is_whole is None:
                return False
            self.accepted("force_trigger")
            talk.sleep(_POLL_S)
        text = f"says for {_POLLS * _POLL_S:g} s that the record is not whole, with no trigger to wait for"
        talk.note("get_finished", Verdict.WRONG, text, suspects=["trigger_free", "single"])
        return False

    def _move_record(self) -> None:
        source = self._source_of(self._channels[0])
        signal, setting = source.signal, self.two("volts_per_division", *VOLTS_PER_DIVISION)[1]
        # The instrument takes and tells volts at the probe's tip where it was told of the probe.
        division = setting * source.per_volt / self._oscilloscope.probe_ratio(source)
        half_range = division * self._divisions / 2
        take = partial(self._oscilloscope.record_as_set, "exercise", {signal: half_range}, RECORD)
        captures: list[Capture] = []
        for divisions in (0.0, MOVED_DIVISIONS):
            values = self._vertical_values(setting, divisions)
            taken = self.talk.say("set_vertical", channel=source.channel, **values)
            capture = self.talk.attempt(RECORD_WORD, take, self._record_suspects) if taken else None
            if capture is None:
                return
            captures.append(capture)
        self.talk.say("set_vertical", channel=source.channel, **self._vertical_values(setting))
        before, after = (capture.traces[signal] for capture in captures)
        self._judge(before, after, division, captures[-1])

    @property
    def _gets_volts(self) -> bool:
        """Whether samples are volts, which stay where they are when the trace is moved."""
        driver = self._oscilloscope.driver
        assert isinstance(driver, OscilloscopeDriver)
        return driver.samples.are_volts

    @property
    def _record_suspects(self) -> list[str]:
        """What may be wrong where codes or their scale are."""
        return ["volts_per_code", SCALE_WORD, "samples", "prepare", "choose_source"]

    def _judge(self, before: Trace, after: Trace, division: float, capture: Capture) -> None:
        """`division` is that of the screen, in the unit of the traces."""
        word, scale_word = RECORD_WORD, SCALE_WORD
        suspects = self._record_suspects
        rest = [float(np.mean(trace.values())) / division for trace in (before, after)]
        spread = max(float(np.std(trace.values())) / division for trace in (before, after))
        moved = float(np.mean(after.codes) - np.mean(before.codes)) * before.scale / division
        if spread > OFF_DIVISIONS:
            text = f"the record of a quiet input spreads over {spread:.1f} divisions: byte order or width is wrong"
        elif not math.isclose(abs(moved), 0.0 if self._gets_volts else MOVED_DIVISIONS, abs_tol=OFF_DIVISIONS):
            text = f"the trace was moved by {MOVED_DIVISIONS:g} divisions, and its codes moved by {moved:.2f}"
        elif max(map(abs, rest)) > OFF_DIVISIONS:
            text = (
                f"a quiet input shows {rest[0]:.2f} divisions, and {rest[1]:.2f} after the trace was moved by "
                f"{MOVED_DIVISIONS:g}: the zero of the codes is not taken as the instrument means it"
            )
            suspects = ["volts_at_zero", "zero_code", "reference_code", scale_word, "samples", "set_vertical"]
        else:
            self._judge_time(capture, word, scale_word)
            return
        self.talk.note(word, Verdict.WRONG, text, suspects=suspects)

    def _judge_time(self, capture: Capture, word: str, scale_word: str) -> None:
        """The values are right: now how long the record is, and where its trigger lies."""
        talk = self.talk
        for each in (word, scale_word, "show_channel", "single"):
            talk.note(each, Verdict.WORKS)
        if talk.has("choose_source"):
            talk.note("choose_source", Verdict.ACCEPTED, "a record was taken with it, and looks as it should")
        samples = len(next(iter(capture.traces.values())).codes)
        span_s, before_s = samples * capture.interval_s, -capture.start_s
        if not LEAST_SPAN * RECORD.span_s <= span_s <= MOST_SPAN * RECORD.span_s:
            text = f"a record of {RECORD.span_s:g} s was set, and {span_s:g} s came ({samples} samples)"
        elif abs(before_s - RECORD.pretrigger_s) > PRETRIGGER_PART * span_s:
            text = f"{RECORD.pretrigger_s:g} s before the trigger were set, and {before_s:g} s came"
        else:
            talk.note("set_record", Verdict.WORKS)
            return
        talk.note("set_record", Verdict.WRONG, text, suspects=[scale_word, "interval", "start"])
