"""Every word of a dc supply's driver file, at a few volts and a small current, its outputs off."""

from __future__ import annotations

import math
from contextlib import suppress
from functools import partial
from typing import Any

from benchctl.documents.driver_file.language.steps import Way
from benchctl.documents.driver_file.language.templates import Value
from benchctl.instruments.exercise.exercise import Exercise, Plan, differ
from benchctl.instruments.exercise.findings import Verdict
from benchctl.instruments.exercise.settings import SettingTrial
from benchctl.instruments.exercise.suggest import number_form, written
from benchctl.instruments.exercise.switches import SwitchTrial
from benchctl.instruments.supply import CURRENT_TOLERANCE_A, VOLTAGE_TOLERANCE_V, Supply
from benchctl.scpi.errors import FormatError

# A voltage that hurts nobody and no amplifier, even where a word is wrong by a factor of two.
LOW_V, HIGH_V = 1.0, 2.0
# Above the voltages, so that protection does not trip on them.
PROTECTION_V = (4.0, 5.0)
# Small, and still steps apart on a supply of 120 A, whose current may go in steps of a hundredth of a per cent.
LEAST_A, PART_A = 0.2, 0.005
# A terminal that is off may float, and its meter have a zero of its own (common practice).
ZERO_V = 0.5
WATCHDOG_S = 60.0


class SupplyExercise(Exercise):
    """Outputs have their names from the bench file."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._set_v: dict[str, float] = {}
        self._switches = {name: self._switch(name) for name in self._outputs}

    @property
    def _supply(self) -> Supply:
        assert isinstance(self._role, Supply)
        return self._role

    @property
    def _outputs(self) -> dict[str, int]:
        return self._supply.outputs

    def plan(self) -> Plan:
        names = " and ".join(f"'{name}'" for name in self._outputs)
        protection = (
            f", and its protection to at most {PROTECTION_V[1]:g} V" if self.talk.has("set_overvoltage") else ""
        )
        return Plan(
            (
                f"supply: resets it, and sets output {names} to {LOW_V:g} V and {HIGH_V:g} V with a small current "
                f"limit{protection}, while the output is off.",
            ),
            (
                f"supply: switches output {names} on for a moment{', one after the other,' * (len(self._outputs) > 1)} "
                f"at {LOW_V:g} V with a small current limit. Nothing may be connected to it.",
            ),
        )

    def any_place(self) -> dict[str, Any]:
        return {"output": min(self._outputs.values())}

    def make_off(self) -> bool:
        return all(switch.make_off() for switch in self._switches.values())

    @property
    def switches(self) -> tuple[SwitchTrial, ...]:
        return tuple(self._switches.values())

    def make_off_again(self) -> None:
        for number in self._outputs.values():
            self.talk.say("output_off", output=number)

    def walk(self) -> None:
        for place, name in enumerate(self._outputs):
            self._set_voltage(name, place)
        self._look_for_mixed_outputs()
        for name in self._outputs:
            self._set_currents(name)
        for number in self._outputs.values():
            self._protection_words(number)
            self._sense(number)
            self._measure_off(number)
        self._watchdog()
        if not self._energises:
            self.not_energised("output_on")
        elif self.talk.findings.has_failed("set_voltage", "get_voltage", "set_current_limit", "get_current_limit"):
            self.talk.note("output_on", Verdict.NOT_TRIED, "the voltage or the current limit cannot be set for sure")
        else:
            self._try_on()

    # -- settings ----------------------------------------------------------------------------------------------

    def _set_voltage(self, name: str, place: int) -> None:
        """Each output gets a voltage of its own, so that one that is taken for another is noticed."""
        shift_v = place * max(0.1, 2 * self.half_step("voltage", LOW_V))
        self._set_v[name] = self.two("voltage", HIGH_V + shift_v, LOW_V + shift_v)[1]
        self._trial("voltage", "voltage_v", name, (HIGH_V + shift_v, LOW_V + shift_v), VOLTAGE_TOLERANCE_V)

    def _set_currents(self, name: str) -> None:
        small_a = self._small_a(name)
        self._trial("current_limit", "current_a", name, (2 * small_a, small_a), CURRENT_TOLERANCE_A)
        self._trial("overvoltage", "voltage_v", name, PROTECTION_V, VOLTAGE_TOLERANCE_V)
        self._trial("overcurrent", "current_a", name, (4 * small_a, 3 * small_a), CURRENT_TOLERANCE_A)

    def _trial(self, setting: str, value: str, name: str, tries: tuple[float, float], tolerance: float) -> None:
        if not self.talk.has(f"set_{setting}"):
            return
        way: Way = "down" if setting.startswith("over") else "nearest"
        most = self._rating_a(name) if value == "current_a" else math.inf
        both = self.two(setting, *tries, way, most)
        # Some supplies take voltage and current together only.
        others: dict[str, Value] = {"voltage_v": self._set_v[name], "current_a": self._small_a(name)}
        SettingTrial(
            f"set_{setting}",
            f"get_{setting}",
            value,
            value[-1].upper(),
            both,
            # Two values must stay apart, or a read-back that never changes would agree with both.
            partial(self._tolerance, setting, min(tolerance, 0.4 * abs(both[0] - both[1]))),
            {"output": self._outputs[name]},
            sent_as=lambda wanted: {**others, value: wanted},
        ).run(self.talk)

    def _tolerance(self, setting: str, tolerance: float, wanted: float) -> float:
        return tolerance + self.half_step(setting, wanted)

    def _small_a(self, name: str) -> float:
        return self.two("current_limit", 1.0, max(LEAST_A, PART_A * self._rating_a(name)))[1]

    def _rating_a(self, name: str) -> float:
        supply = self.file.instruments.supply
        return supply.outputs[name].current_a if supply is not None else 0.0

    def _look_for_mixed_outputs(self) -> None:
        """Each output must still have its own voltage after the others were set."""
        talk = self.talk
        if talk.findings.has_failed("set_voltage", "get_voltage") or not talk.has("get_voltage"):
            return
        numbers = [talk.number("get_voltage", output=number) for number in self._outputs.values()]
        found = [
            (f"'{name}'", number) for name, number in zip(self._outputs, numbers, strict=True) if number is not None
        ]
        wanted = [self._set_v[name] for name, number in zip(self._outputs, numbers, strict=True) if number is not None]
        if text := differ(found, wanted, VOLTAGE_TOLERANCE_V + self.half_step("voltage", LOW_V)):
            text = f"{text}: one output is taken for another; look whether each line chooses its {{output}}"
            for word, other in (("set_voltage", "get_voltage"), ("get_voltage", "set_voltage")):
                talk.note(word, Verdict.WRONG, text, suspects=[other])

    # -- what else it says -------------------------------------------------------------------------------------

    def _protection_words(self, number: int) -> None:
        talk, name = self.talk, next(name for name, each in self._outputs.items() if each == number)
        self.accepted("clear_protection", output=number)
        if talk.has("get_tripped"):
            tripped = talk.attempt("get_tripped", partial(self._supply.tripped_protections, name))
            if tripped:
                text = f"it says that a protection of '{name}' has tripped, with its output off and just cleared"
                talk.note("get_tripped", Verdict.WRONG, text)
            elif tripped is not None:
                talk.note(
                    "get_tripped", Verdict.ACCEPTED, "it says that nothing has tripped, and nothing was made to trip"
                )

    def _sense(self, number: int) -> None:
        """Where the voltage is held; at last at the terminals, so that no sense lead is missed."""
        for word, is_remote in (("remote_sense_on", True), ("remote_sense_off", False)):
            if not self.talk.has("get_remote_sense"):
                self.accepted(word, output=number)
            elif self.talk.has(word) and self.talk.say(word, output=number):
                self._look_at_sense(word, number, is_remote=is_remote)

    def _look_at_sense(self, word: str, number: int, *, is_remote: bool) -> None:
        answer = self.talk.ask("get_remote_sense", output=number)
        if answer is None:
            return
        form = self.talk.words("get_remote_sense").form_for(output=number)
        means = "neither yes nor no"
        with suppress(FormatError):
            means = "yes" if form.truth(answer) else "no"
        if means == ("yes" if is_remote else "no"):
            self.talk.note(word, Verdict.WORKS)
            self.talk.note("get_remote_sense", Verdict.WORKS)
        else:
            text = f"after {word} it answers {answer[:40]!r}, which means {means}"
            self.talk.note(word, Verdict.WRONG, text, suspects=["get_remote_sense"])

    def _measure_off(self, number: int) -> None:
        if not self.talk.has("measure"):
            return
        got = self.talk.numbers("measure", output=number)
        if got is not None and abs(got["voltage"]) > max(ZERO_V, HIGH_V + 1.0):
            text = f"measures {got['voltage']:g} V at an output that is off and was set to at most {HIGH_V:g} V"
            self.talk.note("measure", Verdict.WRONG, text)
        elif got is not None:
            self.talk.note("measure", Verdict.ACCEPTED, "with the output off, so only that it answers numbers is known")

    def _watchdog(self) -> None:
        if self.talk.has("arm_watchdog"):
            self.accepted("arm_watchdog", watchdog_s=WATCHDOG_S)
            self.accepted("feed_watchdog", "disarm_watchdog")
        if self.talk.has("get_watchdog_tripped") and self.talk.ask("get_watchdog_tripped") is not None:
            self.talk.note("get_watchdog_tripped", Verdict.ACCEPTED, "nothing was made to trip")

    # -- on for a moment ---------------------------------------------------------------------------------------

    def _switch(self, name: str) -> SwitchTrial:
        number = self._outputs[name]
        return SwitchTrial(
            self.talk, "output_on", "output_off", "get_output", f"output '{name}'", {"output": number},
            partial(self._shows_voltage, name),
        )  # fmt: skip

    def _try_on(self) -> None:
        for switch in self._switches.values():
            if not switch.try_on():
                return

    def _shows_voltage(self, name: str) -> bool | None:
        """Whether the voltage that was set is measured; this is also how `measure` is tried."""
        if not self.talk.has("measure"):
            return None
        got = self.talk.numbers("measure", output=self._outputs[name])
        if got is None:
            return None
        set_v = self._set_v[name]
        voltage, current = got["voltage"], got["current"]
        if abs(voltage - set_v) <= 0.1 * set_v:
            self.talk.note("measure", Verdict.WORKS)
            return True
        if abs(current - set_v) <= 0.1 * set_v:
            text = f"measures {voltage:g} V and {current:g} A with {set_v:g} V set and nothing connected"
            self.talk.note("measure", Verdict.WRONG, text, offer="exchange voltage and current in `measure`")
            return True
        if abs(voltage) > ZERO_V or abs(1000 * voltage - set_v) <= 0.1 * set_v:
            self._blame_measure(voltage, set_v)
            return True
        return False

    def _blame_measure(self, voltage: float, set_v: float) -> None:
        query = self.talk.words("measure")["voltage"]
        answer = self.talk.answers["voltage"]
        form = number_form(query, [(answer, set_v)], lambda got, wanted: abs(got - wanted) <= 0.1 * wanted)
        self.talk.note(
            "measure",
            Verdict.WRONG,
            f"measures {voltage:g} V ({answer}) where {set_v:g} V is set and the output is on, with nothing connected",
            offer=f"for voltage: `{written('voltage', query, form)}`" if form is not None else "",
            suspects=["set_voltage"],
        )
