"""Every word of a thermometer's driver file: each channel is read, and the readings must be those of a room."""

from __future__ import annotations

import math
from typing import Any

from benchctl.instruments.exercise.exercise import Exercise, Plan
from benchctl.instruments.exercise.findings import Verdict
from benchctl.instruments.exercise.suggest import number_form, written
from benchctl.instruments.thermometer import Thermometer

# A workshop with everything off for a while; a heatsink may still be warm from before.
ROOM_C = (0.0, 45.0)
WARM_C = 90.0


class ThermometerExercise(Exercise):
    """Nothing of it can be energised."""

    @property
    def _thermometer(self) -> Thermometer:
        assert isinstance(self._role, Thermometer)
        return self._role

    def plan(self) -> Plan:
        return Plan(
            ("thermometer: resets it, and reads each of its channels. Everything on the bench should be cold.",)
        )

    def any_place(self) -> dict[str, Any]:
        channels = tuple(self._thermometer.channels.values())
        return {"channel": channels[0], "channels": channels}

    def make_off(self) -> bool:
        return True

    def make_off_again(self) -> None:
        """There is nothing to switch off."""

    def walk(self) -> None:
        word, talk = "measure_temperature", self.talk
        found: dict[str, float] = {}
        for name, channel in self._thermometer.channels.items():
            got = talk.number_in(word, self._thermometer.form_for(name), channel=channel)
            if got is None:
                return
            found[name] = got
            if math.isnan(got):
                talk.note(word, Verdict.WRONG, f"channel {channel} ('{name}') has no reading: is its sensor there?")
            elif not ROOM_C[0] <= got <= ROOM_C[1]:
                self._not_of_a_room(name, channel, got)
        if len(found) > 1 and len(set(found.values())) == 1:
            text = f"every channel answers the same, {got:g} degC: look whether the line chooses its {{channel}}"
            talk.note(word, Verdict.WRONG, text)
        else:
            talk.note(word, Verdict.WORKS)

    def _not_of_a_room(self, name: str, channel: int, got_c: float) -> None:
        """Another unit that would make it a room's temperature is offered."""
        word, talk = "measure_temperature", self.talk
        query = talk.words(word)
        answer = talk.answers[word]
        form = number_form(query, [(answer, 22.0)], lambda got, _: ROOM_C[0] <= got <= ROOM_C[1])
        text = (
            f"channel {channel} ('{name}') reads {got_c:g} degC ({answer}), which is no temperature of a bench at rest"
        )
        if form is not None or got_c > WARM_C or got_c < ROOM_C[0]:
            offer = f"write `{written(word, query, form)}`" if form is not None else ""
            talk.note(word, Verdict.WRONG, text, offer=offer, suspects=["prepare"])
