"""The state that the bench will be in when a step begins, and what a drive does in it, from the documents alone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.sight import probes_are_moved, seen_outputs
from benchctl.documents.model.level import Level
from benchctl.documents.model.limits import AMBIENT, HEATSINK
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.signal.thermal import Curve, heating
from benchctl.quantity import render
from benchctl.runner.expected.capability import EXPECTED, MOST, Assumptions, Capability, idle_a
from benchctl.runner.expected.expected_step import ExpectedStep
from benchctl.runner.expected.fitted_power import FittedPowers
from benchctl.runner.expected.fuse_load import FuseLoad, Train, fuse_loads, rms_over_mean
from benchctl.runner.expected.levels import output_v
from benchctl.runner.expected.pace import Pace
from benchctl.runner.expected.supply_draw import RESERVOIR_S, Bursts, SupplyDraw, draw_of, together
from benchctl.runner.expected.worst_case import Power, WorstCase

# The edges of a square wave shoot over by as much as half of the peak in a stage that is hardly damped (a second-order
# response of damping 0.2, whose step shoots over by 53 % of the step from zero).
MOST_OVERSHOOT = 1.0
# Nobody has read a thermometer yet.
AMBIENT_C = 25.0


def level_hazards(level_v: float, bench: Bench) -> Iterator[str]:
    """The hazards of a level of the generator, V RMS."""
    generator = bench.instruments.generator
    highest_v = math.inf if generator is None else generator.ratings.level_v
    if level_v > highest_v:
        yield (
            f"a level of {render(level_v, 'V')} is more than the generator gives, {render(highest_v, 'V')}; "
            "lower it, or turn the amplifier's gain up"
        )


@dataclass
class ExpectedState:
    """The state that the bench will be in when a step begins, as far as the documents tell."""

    bench: Bench
    amplifier: Amplifier
    supply_v: float | None = None
    current_limit_a: float | None = None
    at_terminals: bool = False
    load_ohm: float | None = None
    frequency_hz: float | None = None
    level: Level | None = None
    set_gain: float | None = None
    has_looked: bool = False
    has_paths: bool = False
    proved_loads: frozenset[float] = frozenset()
    looked_s: float = 0.0  # how long instruments are compared in this step before it is driven
    has_zeros: bool = False
    own_records: tuple[Record, ...] = ()  # of the oscilloscope's own noise, taken with its zeros
    asked_driven: str | tuple[str, ...] = "all"
    driven: tuple[str, ...] = ()
    clean_levels: set[tuple[float | None, float | None, tuple[str, ...]]] = field(default_factory=set)
    seen: tuple[str, ...] = ()
    is_square: bool = False
    unattended: bool = False
    pace: Pace = field(default_factory=Pace)
    heatsink_c: float = AMBIENT_C
    # Channel and load -> what its resistor still holds of earlier overloads, in seconds of its rated power.
    load_overload_s: dict[tuple[str, float], float] = field(default_factory=dict)
    fitted: FittedPowers | None = None
    hazards: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        if not self.seen and not probes_are_moved(self.bench, self.amplifier):
            self.seen = seen_outputs(self.bench, self.amplifier)
        self.fitted = self.fitted or FittedPowers(self.amplifier, self.bench)
        self.driven = self.driven or tuple(self.amplifier.channels)
        if self.load_ohm is None and self.bench.loads is not None:
            self.load_ohm = self.bench.loads.connected_ohm

    def hazard(self, text: str) -> None:
        """Add a hazard of the step that is being checked."""
        self.hazards.append(text)

    def warning(self, text: str) -> None:
        """Add a warning about the step that is being checked."""
        self.warnings.append(text)

    def change_load_by_hand(self) -> None:
        """Add a hazard if a person connects the loads and nobody is present."""
        if self.unattended and self.bench.loads is not None:
            self.hazard(
                "another load is connected by hand, and nobody is present in an unattended run; be present, or use one "
                "load for the whole run, which 'connected' under 'loads' in the bench file names"
            )

    def will_find_clean_level(self) -> None:
        """Note that from now on a clean level is known for the load and the frequency that are set."""
        self.clean_levels.add((self.load_ohm, self.frequency_hz, self.driven))

    def needs_clean_level(self, instead: str, why: str = "no level is given") -> None:
        """Add a hazard unless a clean level will be known for this load and this frequency; `instead`: what to give.

        A level that was found for another load or frequency does not count. If load or frequency is not set, that is
        the hazard.
        """
        if (
            self.load_ohm is None
            or self.frequency_hz is None
            or (self.load_ohm, self.frequency_hz, self.driven) in self.clean_levels
        ):
            return
        place = f"{render(self.load_ohm, 'ohm')} and {render(self.frequency_hz, 'Hz')}"
        self.hazard(f"{why}, and no find_clean_level comes before it at {place}; put one before it, or {instead}")

    # -- talking to the instruments -----------------------------------------------------------------------------

    def asking_s(self, *, with_supply: bool = False) -> float:
        """How long it takes to set up a record of the outputs and to fetch it, beyond the record itself."""
        signals = self.bench.signals
        supply = [wired for wired in (signals.supply_current, signals.supply_voltage) if wired is not None]
        return self.pace.record_s(max(len(self.seen), 1) + (len(supply) if with_supply else 0))

    def temperatures_s(self, *, heatsink: int = 0, load: int = 0, ambient: int = 0) -> float:
        """The time of so many readings of the heatsink, the load resistors and the air, where they have sensors."""
        thermometer = self.bench.instruments.thermometer
        sensors = dict(thermometer.channels.items()) if thermometer is not None else {}
        asked = {HEATSINK: heatsink, "load": load, AMBIENT: ambient}
        return self.pace.ask_s("thermometer", sum(asked[sensor] for sensor in asked if sensor in sensors))

    # -- what drives it ----------------------------------------------------------------------------------------

    def tone(self, level: Level, *, for_s: float, bursts: Bursts | None = None) -> Power:
        """A tone at a level, steady or in bursts. It is clipped if the amplifier cannot give as much."""
        if level.of == "clean":
            self.needs_clean_level("give a level in V or W", f"the level is {level}")
        expected, most = self._into_load(EXPECTED), self._into_load(MOST)
        self.hazards += level_hazards(math.sqrt(self._asked_w(level, most) * most.load_ohm) / self.gain, self.bench)
        draw = draw_of(expected, self._asked_w(level, expected), for_s, bursts)
        return self._power(self._asked_w(level, most), draw, bursts)

    def square_wave(self, level: Level, *, for_s: float) -> Power:
        """A steady square wave with the peak of the sine at a level."""
        power = replace(self, is_square=True).tone(level, for_s=for_s)
        power["output_peak_v"] *= 1.0 + MOST_OVERSHOOT
        return power

    def _asked_w(self, level: Level, amplifier: Capability) -> float:
        """The power that a level asks for in each load. The clean level counts as that of full power."""
        match level.of:
            case "volts":
                return (level.value * self.gain) ** 2 / amplifier.load_ohm
            case "clean":
                return level.value**2 * amplifier.full_w
            case _:
                return output_v(level, self.amplifier, amplifier.load_ohm) ** 2 / amplifier.load_ohm

    def full_power(self, *, for_s: float, bursts: Bursts | None = None, parts: int = 1) -> Power:
        """As much as the amplifier gives continuously, steady or in bursts; `parts`: with pauses, so many in all."""
        expected = self._into_load(EXPECTED)
        draw = draw_of(expected, expected.full_w, for_s, bursts)
        draw = replace(draw, unbroken_s=draw.unbroken_s / parts)
        return self._power(self._into_load(MOST).full_w, draw, bursts)

    def full_bursts(self, *, for_s: float, trains: Sequence[tuple[Bursts, float]]) -> Power:
        """The most that the amplifier gives in single bursts that last `for_s` in all.

        In a short burst the reservoir adds to the power and supplies the current. A burst that lasts longer draws from
        the supply what a steady tone draws. `trains`: the bursts, each with how long they follow each other near full
        drive.
        """
        most, expected = self._into_load(MOST), self._into_load(EXPECTED)
        draws = (draw_of(expected, expected.full_w, near_full_s, bursts) for bursts, near_full_s in trains)
        power = self._power(most.full_w, together(draws), None)
        power["for_s"], power["load_w"] = for_s, most.burst_w
        power["output_peak_v"] = math.sqrt(2.0 * most.burst_w * most.load_ohm)
        are_short = all(bursts.burst_s <= RESERVOIR_S for bursts, _ in trains)
        over_steady = most.assumptions.burst_over_rated / most.assumptions.over_rated if are_short else 1.0
        power["supply_a"] *= over_steady
        power["fuse_loads"] = self._fuse_loads(most.full_w, trains, over_steady)
        return power

    def _fuse_loads(self, asked_w: float, trains: Sequence[Train], over_steady: float = 1.0) -> tuple[FuseLoad, ...]:
        """The fuse loads of trains of bursts in which the supply gives so many times what it gives for a steady tone,
        limited by its current limit.
        """
        most, limit_a = self._into_load(MOST), self.current_limit_a or math.inf
        low_ratio = max((bursts.low_level_ratio for bursts, _ in trains if bursts is not None), default=0.0)
        ripple = rms_over_mean(self.amplifier, self.frequency_hz)
        full_a = min(over_steady * ripple * most.supply_a(asked_w), limit_a)
        return fuse_loads(full_a, min(ripple * most.supply_a(asked_w * low_ratio**2), limit_a), trains)

    def _into_load(self, assumptions: Assumptions) -> Capability:
        """Into the load that is set; if none is set, which is a hazard of its own, into a rated one."""
        load_ohm = self.load_ohm or self.amplifier.rated[0].load_ohm
        supply_v = self.supply_v or self.amplifier.supply.nominal_v
        driven = len(self.driven)
        if self.fitted is not None and (found := self.fitted.at(load_ohm, supply_v)) is not None:
            assumptions = found.most if assumptions.are_worst else found.expected
        return Capability(self.amplifier, load_ohm, supply_v, assumptions, driven=driven, is_square=self.is_square)

    def _power(self, asked_w: float, draw: SupplyDraw, bursts: Bursts | None) -> Power:
        """The power into one load. If bursts follow each other, the load is heated by the mean, and the supply carries
        each burst that lasts longer than the reservoir.
        """
        most = self._into_load(MOST)
        burst_w, burst_a = most.given_w(asked_w), most.supply_a(asked_w)
        power = Power(
            load_ohm=self.load_ohm,
            load_w=burst_w,
            for_s=draw.for_s,
            supply_a=burst_a,
            fuse_loads=self._fuse_loads(asked_w, ((bursts, draw.for_s),)),
            output_peak_v=math.sqrt(2.0 * min(asked_w, most.burst_w) * most.load_ohm),
            draw=draw,
        )
        if bursts is None:
            return power
        rest_w, rest_part = asked_w * bursts.low_level_ratio**2, 1.0 - bursts.duty
        rest_a = most.supply_a(rest_w)
        power["load_w"] = bursts.duty * burst_w + rest_part * most.given_w(rest_w)
        if bursts.burst_s <= RESERVOIR_S:
            power["supply_a"] = bursts.duty * burst_a + rest_part * rest_a
        return power

    @property
    def gain(self) -> float:
        """Volts at the output for a volt of the generator: as a person has set it in this run, else as the amplifier
        file says.
        """
        return self.set_gain or self.amplifier.gain_ratio

    @property
    def rated_level_v(self) -> float:
        """The generator's level, V rms, that should give rated power into the load, as it is at this supply voltage."""
        rated = self._into_load(EXPECTED)
        return math.sqrt(rated.rated_w * rated.load_ohm) / self.gain

    # -- what comes of it --------------------------------------------------------------------------------------

    @property
    def idle_a(self) -> float:
        """The supply's current while nothing drives the amplifier."""
        return 0.0 if self.supply_v is None else idle_a(self.amplifier, self.supply_v)

    def warming(self, draw: SupplyDraw | None = None) -> Curve:
        """How the heatsink's temperature goes on from here, undriven or under a draw."""
        heat_w = self.idle_a * (self.supply_v or 0.0) + (0.0 if draw is None else draw.heat_w)
        return self._heating(heat_w)

    def _heating(self, heat_w: float) -> Curve:
        k_per_w, time_constant_s = self.amplifier.heatsink_k_per_w, self.amplifier.heatsink.time_constant_s
        return heating(self.heatsink_c, AMBIENT_C, heat_w, k_per_w, time_constant_s)

    def go_through(self, worst: WorstCase, begins_s: float) -> ExpectedStep:
        """What to expect of a step in this state. The heatsink is left as the step leaves it.

        The step's drives are taken as spread evenly over it.
        """
        duration_s, supply_v, draw = worst.expected_s, self.supply_v or 0.0, worst.draw
        # An open drive is foreseen at its longest, and may be likely to end before.
        part = min(1.0, duration_s / draw.for_s) if draw.for_s else 0.0
        energy_j = self.idle_a * supply_v * duration_s + part * draw.supply_j
        heat_w = (energy_j - part * draw.loads_j) / duration_s if duration_s else 0.0
        expected = ExpectedStep(
            begins_s=begins_s,
            duration_s=duration_s,
            energy_j=energy_j,
            supply_a=energy_j / supply_v / duration_s if supply_v and duration_s else self.idle_a,
            peak_a=max(draw.peak_a, self.idle_a),
            read_a=max(draw.read_a, self.idle_a),
            unbroken_s=min(draw.unbroken_s, duration_s) if draw.for_s else duration_s,
            supply_v=self.supply_v,
            heatsink=self._heating(heat_w),
        )
        self.heatsink_c = expected.heatsink_c
        return expected
