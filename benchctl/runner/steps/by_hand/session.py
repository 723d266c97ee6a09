"""A person at a desk drives the amplifier: each key does one thing, and the bench is looked at in between."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from benchctl.documents.sequence_file.bench_steps import DriveByHand
from benchctl.errors import MeasurementError
from benchctl.quantity import render
from benchctl.runner.acting.desk import Desk, OutputReading, Readings, Wish, WishKind
from benchctl.runner.acting.run import Run
from benchctl.runner.steps.by_hand.bench_in_hand import FIRST_HZ, BenchInHand, ratio
from benchctl.runner.steps.by_hand.looks import outputs_of

# Between two looks at the keys, and between two looks at the amplifier.
KEYS_EVERY_S = 0.05
LOOK_EVERY_S = 0.25
# One press makes the signal this much louder or softer.
STEP_DB, LARGE_STEP_DB = 1.0, 6.0


@dataclass
class ByHand:
    """What a person at a desk asks for, and what they are shown."""

    step: DriveByHand
    run: Run
    desk: Desk
    shown: Readings = field(default_factory=Readings)
    last_key_s: float = 0.0
    next_look_s: float = 0.0
    bench: BenchInHand = field(init=False)

    def go_on(self) -> None:
        run, ends_s = self.run, self.run.clock.now() + self.step.at_most_s
        self.last_key_s = run.clock.now()
        self.bench.begin()
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

    # -- what is asked for ---------------------------------------------------------------------------------------

    def _try(self, wish: Wish) -> None:
        """What cannot be done is said, and the signal is off then; only what ends any run ends this."""
        try:
            self._wishes[wish.kind](self, wish)
        except MeasurementError as reason:
            self.bench.silence()
            self.run.note(str(reason))
        self.next_look_s = 0.0

    def _switch(self, _wish: Wish) -> None:
        if self.bench.is_on:
            self.bench.switch_off()
        else:
            self.bench.switch_on()

    def _switch_signal(self, _wish: Wish) -> None:
        if self.bench.is_driven:
            self.bench.silence()
        elif not self.bench.is_on:
            self.run.note("the amplifier is off; switch it on first")
        else:
            self.bench.drive()

    def _change_level(self, by_db: float) -> None:
        highest_v = self.bench.highest_v()
        wanted_v = self.bench.level_v * ratio(by_db)
        if wanted_v > highest_v * (1.0 + 1e-9):
            self.run.note(f"{self.step.highest} is the highest level that this run allows")
        self.bench.set_level(min(max(wanted_v, self.bench.lowest_v()), highest_v))

    def _change_frequency(self, by: int) -> None:
        offered = sorted(self.step.frequencies_hz)
        now_hz = self.run.conditions.frequency_hz or FIRST_HZ
        above = sum(each <= now_hz * (1.0 + 1e-9) for each in offered)
        index = above - 1 + by if by > 0 else sum(each < now_hz * (1.0 - 1e-9) for each in offered) + by
        self.bench.set_frequency(offered[min(max(index, 0), len(offered) - 1)])

    def _next_load(self, _wish: Wish) -> None:
        offered = self.bench.loads_ohm
        now = self.run.conditions.load_ohm
        self.bench.set_load(offered[(offered.index(now) + 1) % len(offered)] if now in offered else offered[0])

    def _switch_bursts(self, _wish: Wish) -> None:
        self.bench.set_bursts(not self.bench.in_bursts)

    def _next_channel(self, _wish: Wish) -> None:
        """All, then each alone, then all again."""
        every = tuple(self.run.files.amplifier.channels)
        ways = [every, *((channel,) for channel in every)] if len(every) > 1 else [every]
        driven = self.run.driven
        self.bench.drive_channels(ways[(ways.index(driven) + 1) % len(ways)] if driven in ways else every)

    def _hold(self, _wish: Wish) -> None:
        self.shown = replace(self.shown, is_held=not self.shown.is_held)

    def _keep(self, _wish: Wish) -> None:
        """A record with its figures; of bursts at a set level the record alone."""
        if not self.bench.is_on:
            self.run.note("the amplifier is off; there is nothing to keep")
            return
        kept = self.bench.keep()
        without = "" if kept.figures else ", without figures: bursts at a level that was set have none"
        self.run.note(f"kept {' and '.join(kept.captures)}{without}")

    def _note(self, wish: Wish) -> None:
        if wish.text.strip():
            self.run.note_of_a_person(wish.text.strip())

    def _stay(self, _wish: Wish) -> None:
        """A key was pressed, and that is all."""

    def _act(self, wish: Wish) -> None:
        if wish.act is not None:
            wish.act(self.bench)

    _wishes: Mapping[WishKind, Callable[[ByHand, Wish], None]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self.bench = BenchInHand(self.step, self.run)
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
            "act": ByHand._act,
            "present": ByHand._stay,
        }

    def _leave_alone(self) -> None:
        """The signal goes off where nobody has pressed a key for so long: perhaps nobody is there."""
        if self.bench.is_driven and self.run.clock.now() - self.last_key_s >= self.step.key_every_s:
            self.bench.silence()
            self.run.note(f"no key for {render(self.step.key_every_s, 's')}, so the signal is off")

    # -- what is shown -------------------------------------------------------------------------------------------

    def _look(self) -> None:
        """Look at the amplifier now and then; the rest of what is shown is always of now."""
        now_s, bench = self.run.clock.now(), self.bench
        if now_s >= self.next_look_s:
            self._read_outputs()
            self.next_look_s = self.run.clock.now() + LOOK_EVERY_S
        left_s = self.step.key_every_s - (self.run.clock.now() - self.last_key_s)
        self.shown = replace(
            self.shown,
            is_on=bench.is_on,
            is_driven=bench.is_driven,
            level_v=bench.level_v,
            bursts=bench.bursts_in_words() if bench.in_bursts else "",
            wanted=self.run.conditions,
            left_s=max(left_s, 0.0) if bench.is_driven else None,
        )
        self.desk.show(self.shown)

    def _read_outputs(self) -> None:
        if self.shown.is_held:
            return
        outputs: dict[str, OutputReading] = {}
        try:
            if self.bench.is_on:
                outputs = outputs_of(self.bench.take())
        except MeasurementError as reason:  # the amplifier protects itself, or no range shows it whole
            self.bench.silence()
            self.run.note(str(reason))
        self.shown = replace(self.shown, outputs=outputs, taken_s=self.run.clock.now())
