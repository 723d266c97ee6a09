"""A person at a desk drives the amplifier: each key does one thing, and the bench is looked at in between."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from benchctl.documents.sequence_file.bench_steps import DriveByHand, PowerOff, PowerOn
from benchctl.errors import MeasurementError
from benchctl.instruments.bursts.burst import Burst
from benchctl.quantity import render
from benchctl.runner.acting.agreement import before_power
from benchctl.runner.acting.desk import Desk, OutputReading, Readings, Wish, WishKind
from benchctl.runner.acting.drive import load_and_frequency, mute, set_frequency, start_burst, stop_burst, tone
from benchctl.runner.acting.inputs import hazards_of_driving_alone, keep_fed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.load_change import set_load
from benchctl.runner.acting.protection import ProtectionWatch
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.load_ratings import rated_loads_on
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.supply_draw import burst_too_long_in_words
from benchctl.runner.steps.by_hand.looks import Look, look_at, outputs_of
from benchctl.runner.steps.find_clean_level import SETTLE_S
from benchctl.runner.steps.power import perform_off, perform_on

# Between two looks at the keys, and between two looks at the amplifier.
KEYS_EVERY_S = 0.05
LOOK_EVERY_S = 0.25
# One press makes the signal this much louder or softer.
STEP_DB, LARGE_STEP_DB = 1.0, 6.0
# A signal starts so far below the highest level, and cannot be set lower than that below it.
START_DB, LOWEST_DB = -30.0, -80.0
# What most people would begin with.
FIRST_HZ = 1000.0


@dataclass
class ByHand:
    """The bench while a person drives it.

    `level_v` is the level that the signal has, or will have when it is switched on. `watch` notices when the amplifier
    protects itself; it belongs to one load, frequency and kind of signal.
    """

    step: DriveByHand
    run: Run
    desk: Desk
    in_bursts: bool = False
    level_v: float = 0.0
    watch: ProtectionWatch | None = None
    shown: Readings = field(default_factory=Readings)
    last_key_s: float = 0.0
    next_look_s: float = 0.0

    def go_on(self) -> None:
        run, ends_s = self.run, self.run.clock.now() + self.step.at_most_s
        self.last_key_s = run.clock.now()
        self._begin()
        while run.clock.now() < ends_s:
            for wish in self.desk.wishes():
                self.last_key_s = run.clock.now()
                if wish.kind == "end":
                    return
                self._try(wish)
            self._leave_alone()
            self._look()
            run.wait(KEYS_EVERY_S)
        run.note(f"the time of this step is over ({render(self.step.at_most_s, 's')})")

    def _begin(self) -> None:
        """The load and the frequency that most people would begin with, and a low level."""
        loads = rated_loads_on(self.run.files.bench, self.run.files.amplifier)
        if self.run.conditions.load_ohm is None:
            set_load(self.run, loads[0])
        if self.run.conditions.frequency_hz is None:
            first_hz = min(self.step.frequencies_hz, key=lambda each: abs(math.log(each / FIRST_HZ)))
            set_frequency(self.run, first_hz)
        self.level_v = self._highest_v() * _ratio(START_DB)

    # -- what is asked for ---------------------------------------------------------------------------------------

    def _try(self, wish: Wish) -> None:
        """What cannot be done is said, and the signal is off then; only what ends any run ends this."""
        try:
            self._wishes[wish.kind](self, wish)
        except MeasurementError as reason:
            self._silence()
            self.run.note(str(reason))
        self.next_look_s = 0.0

    def _switch(self, _wish: Wish) -> None:
        if self._is_on:
            self._silence()
            perform_off(PowerOff(), self.run)
            return
        load_ohm = self.run.conditions.load_ohm
        step = PowerOn(voltage_v=self.step.voltage_v, current_limit_a=self.step.current_limit_a)
        perform_on(step, self.run)
        self.run.note(f"the amplifier is on, at {render(step.voltage_v, 'V')}")
        set_load(self.run, load_ohm or rated_loads_on(self.run.files.bench, self.run.files.amplifier)[0])

    def _switch_signal(self, _wish: Wish) -> None:
        if self._is_driven:
            self._silence()
        elif not self._is_on:
            self.run.note("the amplifier is off; switch it on first")
        else:
            self._drive()

    def _change_level(self, by_db: float) -> None:
        highest_v = self._highest_v()
        wanted_v = self.level_v * _ratio(by_db)
        if wanted_v > highest_v * (1.0 + 1e-9):
            self.run.note(f"{self.step.highest} is the highest level that this run allows")
        lowest_v = highest_v * _ratio(LOWEST_DB)
        self.level_v = self.run.bench.generator.settable(min(max(wanted_v, lowest_v), highest_v))
        if self._is_driven:
            self._drive()

    def _change_frequency(self, by: int) -> None:
        """The signal goes on; a burst must be told anew."""
        offered = sorted(self.step.frequencies_hz)
        now_hz = self.run.conditions.frequency_hz or FIRST_HZ
        above = sum(each <= now_hz * (1.0 + 1e-9) for each in offered)
        index = above - 1 + by if by > 0 else sum(each < now_hz * (1.0 - 1e-9) for each in offered) + by
        set_frequency(self.run, offered[min(max(index, 0), len(offered) - 1)])
        self.watch = None
        if self._is_driven:
            self._drive()

    def _next_load(self, _wish: Wish) -> None:
        """Always without a signal; the highest level follows from the load, so the next signal starts low again."""
        offered = rated_loads_on(self.run.files.bench, self.run.files.amplifier)
        now = self.run.conditions.load_ohm
        self._silence()
        set_load(self.run, offered[(offered.index(now) + 1) % len(offered)] if now in offered else offered[0])
        self.level_v = min(self.level_v, self._highest_v())

    def _switch_bursts(self, _wish: Wish) -> None:
        was_driven = self._is_driven
        self._silence()
        frequency_hz = self.run.conditions.frequency_hz or FIRST_HZ
        if not self.in_bursts and self.step.cycles / frequency_hz >= self.step.every_s:
            length_s = self.step.cycles / frequency_hz
            raise MeasurementError(burst_too_long_in_words(self.step.cycles, length_s, self.step.every_s))
        self.in_bursts = not self.in_bursts
        if was_driven:
            self._drive()

    def _next_channel(self, _wish: Wish) -> None:
        """All, then each alone, then all again."""
        amplifier = self.run.files.amplifier
        state = ExpectedState(self.run.files.bench, amplifier, unattended=False)
        if reasons := list(hazards_of_driving_alone(state)):
            raise MeasurementError(reasons[0])
        every = tuple(amplifier.channels)
        ways = [every, *((channel,) for channel in every)] if len(every) > 1 else [every]
        self._silence()
        keep_fed(self.run, ways[(ways.index(self.run.driven) + 1) % len(ways)] if self.run.driven in ways else every)

    def _hold(self, _wish: Wish) -> None:
        self.shown = replace(self.shown, is_held=not self.shown.is_held)

    def _keep(self, _wish: Wish) -> None:
        """A record with its figures; of bursts at a set level the record alone, for no figure is defined of them."""
        if not self._is_on:
            self.run.note("the amplifier is off; there is nothing to keep")
            return
        look = self._taken()
        if not look.analysis:
            kept = self.run.recorder.keep(look.capture)
            self.run.note(f"kept {kept.name}, without figures: bursts at a level that was set have none")
            return
        figures = self.run.analyse(look.analysis, look.captures, look.readings, look.context, {})
        self.run.note(f"kept {' and '.join(dict.fromkeys(each.capture for each in figures if each.capture))}")

    def _note(self, wish: Wish) -> None:
        if wish.text.strip():
            self.run.note_of_a_person(wish.text.strip())

    def _stay(self, _wish: Wish) -> None:
        """A key was pressed, and that is all."""

    _wishes: Mapping[WishKind, Callable[[ByHand, Wish], None]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self._wishes = {
            "switch": ByHand._switch,
            "drive": ByHand._switch_signal,
            "louder": lambda self, _: self._change_level(STEP_DB),
            "softer": lambda self, _: self._change_level(-STEP_DB),
            "much louder": lambda self, _: self._change_level(LARGE_STEP_DB),
            "much softer": lambda self, _: self._change_level(-LARGE_STEP_DB),
            "higher": lambda self, _: self._change_frequency(1),
            "lower": lambda self, _: self._change_frequency(-1),
            "load": ByHand._next_load,
            "bursts": ByHand._switch_bursts,
            "channel": ByHand._next_channel,
            "hold": ByHand._hold,
            "keep": ByHand._keep,
            "note": ByHand._note,
            "present": ByHand._stay,
        }

    # -- the signal ----------------------------------------------------------------------------------------------

    @property
    def _is_on(self) -> bool:
        return self.run.conditions.supply_set_v is not None

    @property
    def _is_driven(self) -> bool:
        return self.run.conditions.level_v is not None

    def _highest_v(self) -> float:
        return level_in_v(self.run, self.step.highest, self.run.conditions.load_ohm)

    def _drive(self) -> None:
        """The signal at the level that is wanted. Before the first one instruments are compared under a low tone."""
        run, level_v = self.run, min(self.level_v, self._highest_v())
        load_ohm, frequency_hz = load_and_frequency(run)
        if not run.has_looked:
            self._silence()
            before_power(run, level_v)
        if self.watch is None:
            self.watch = ProtectionWatch(run, load_ohm, frequency_hz)
        if self.in_bursts:
            low_v = level_v * self.step.low_level_ratio
            start_burst(run, Burst(frequency_hz, self.step.cycles, level_v, low_v, self.step.every_s), "set")
        else:
            tone(run, level_v)
        run.wait(SETTLE_S)

    def _bursts_in_words(self) -> str:
        return f"bursts of {self.step.cycles} cycles every {render(self.step.every_s, 's')}"

    def _silence(self) -> None:
        self.watch = None
        if self._is_driven and self.in_bursts:
            stop_burst(self.run)
        else:
            mute(self.run)

    def _leave_alone(self) -> None:
        """The signal goes off where nobody has pressed a key for so long: perhaps nobody is there."""
        if self._is_driven and self.run.clock.now() - self.last_key_s >= self.step.key_every_s:
            self._silence()
            self.run.note(f"no key for {render(self.step.key_every_s, 's')}, so the signal is off")

    # -- what is shown -------------------------------------------------------------------------------------------

    def _look(self) -> None:
        """Look at the amplifier now and then; the rest of what is shown is always of now."""
        now_s = self.run.clock.now()
        if now_s >= self.next_look_s:
            self._read_outputs()
            self.next_look_s = self.run.clock.now() + LOOK_EVERY_S
        left_s = self.step.key_every_s - (self.run.clock.now() - self.last_key_s)
        self.shown = replace(
            self.shown,
            is_on=self._is_on,
            is_driven=self._is_driven,
            level_v=self.level_v,
            bursts=self._bursts_in_words() if self.in_bursts else "",
            wanted=self.run.conditions,
            left_s=max(left_s, 0.0) if self._is_driven else None,
        )
        self.desk.show(self.shown)

    def _read_outputs(self) -> None:
        if self.shown.is_held:
            return
        outputs: dict[str, OutputReading] = {}
        try:
            if self._is_on:
                outputs = outputs_of(self._taken())
        except MeasurementError as reason:  # the amplifier protects itself, or no range shows it whole
            self._silence()
            self.run.note(str(reason))
        self.shown = replace(self.shown, outputs=outputs, taken_s=self.run.clock.now())

    def _taken(self) -> Look:
        """A fresh record; of a steady tone the watch looks at it first."""
        bursts = self.in_bursts and self._is_driven
        look = look_at(self.run, self.step.cycles if bursts else None, self.step.every_s)
        if look.analysis == "continuous" and self.watch is not None:
            self.watch.check(look.capture, self.run.conditions.level_v or 0.0)
        return look


def _ratio(decibels: float) -> float:
    return float(10.0 ** (decibels / 20.0))
