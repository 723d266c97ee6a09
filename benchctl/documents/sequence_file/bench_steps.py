"""Steps that bring the bench into a state and leave it there: power, settings, waits. None gives figures but the
ramp of a first power-up, which is the way that some amplifiers are switched on."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from benchctl.documents.model.criteria import (
    BelowAmperes,
    BelowCelsius,
    Criterion,
    Expectations,
    WithinAmperes,
    WithinKelvins,
    WithinVolts,
    expecting,
)
from benchctl.documents.model.fields import (
    AudioHertz,
    PositiveAmperes,
    PositiveOhms,
    PositiveSeconds,
    PositiveVolts,
    Volts,
    bounded,
)
from benchctl.documents.model.level import LEVEL, DriveLevel, Level
from benchctl.documents.model.model_base import PathProblem, doubled
from benchctl.documents.sequence_file.step_base import (
    DRIVEN,
    CycleCount,
    DrivenInputs,
    Named,
    OnTimeout,
    RestLevel,
    StepBase,
)
from benchctl.quantity import in_minutes

# In steps of 50 mV that leads to 50 V.
MOST_RAMP_STEPS = 1000
# Where the end of the heating is asked for.
HEATING_FIGURES = (
    "heatsink_temperature",
    "final_heatsink_temperature",
    "heatsink_time_constant",
    "heatsink_time_constant_fast",
)
# Four times that is still a watt: a generator may give twice what it is set to.
HIGHEST_CHECK_W = 0.25
RAMP_FIGURES = ("ramp_voltage", "ramp_current", "idle_current", "idle_current_rise", "dc_offset")


class PowerOn(StepBase):
    """Switch on: the supply first, then the remote turn-on lead; then wait until the amplifier idles."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "supply")

    kind: Literal["power_on"] = "power_on"
    voltage_v: PositiveVolts = Field(description="voltage of the main supply output")
    current_limit_a: PositiveAmperes = Field(description="current limit of the main supply output")
    overvoltage_v: PositiveVolts | None = Field(
        default=None,
        description="level of the supply's own over-voltage protection; if left out, the highest voltage of "
        "the amplifier file",
    )
    overcurrent_a: PositiveAmperes | None = Field(
        default=None,
        description="level of the supply's own over-current protection; if left out, 1.1 times `current_limit`",
    )
    timeout_s: PositiveSeconds = Field(default=30.0, description="the longest wait for the amplifier to idle")
    at: Literal["supply", "terminals", "terminals or supply"] = Field(
        default="supply",
        description="where `voltage` holds: at the supply's own output, or at the amplifier's terminals while it idles;"
        " then a probe, the multimeter or sense leads must measure there, and the supply is trimmed now and after each "
        "later `set` of its voltage. `terminals or supply`: at the terminals on a bench that measures there",
    )
    trim_v: Annotated[Volts, bounded("V", above=0, at_most=1)] = Field(
        default=0.5,
        description="with `at: terminals`, how far the supply may be set from `voltage`; if more is needed, the run "
        "ends",
    )

    def problems(self) -> Iterator[PathProblem]:
        if self.overvoltage_v is not None and self.overvoltage_v <= self.voltage_v:
            yield PathProblem(
                ("overvoltage",), "over-voltage protection must lie above the voltage, or it trips at once"
            )
        if self.overcurrent_a is not None and self.overcurrent_a < self.current_limit_a:
            yield PathProblem(("overcurrent",), "over-current protection must not lie below the current limit")


class PowerOff(StepBase):
    """Switch off: the remote turn-on lead first, then the supply."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "supply")

    kind: Literal["power_off"] = "power_off"


class Set(StepBase):
    """Change load, frequency, drive level, supply voltage or the driven inputs, and leave the rest as it is."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator",)

    kind: Literal["set"] = "set"
    load_ohm: PositiveOhms | None = Field(default=None, description="nominal resistance at every driven channel")
    frequency_hz: AudioHertz | None = Field(default=None, description="frequency of the generator")
    level: DriveLevel | None = Field(
        default=None,
        description=LEVEL,
    )
    supply_v: PositiveVolts | None = Field(
        default=None, description="voltage of the main supply output, while it is on"
    )
    driven: DrivenInputs | None = Field(
        default=None, description=f"{DRIVEN}; it holds until the next `set` of it, and at the beginning it is `all`"
    )

    def problems(self) -> Iterator[PathProblem]:
        values = (self.load_ohm, self.frequency_hz, self.level, self.supply_v, self.driven)
        if all(value is None for value in values):
            yield PathProblem((), "nothing to set; give load, frequency, level, supply or driven")


class Hold(StepBase):
    """Leave everything as it is for a time."""

    kind: Literal["hold"] = "hold"
    for_s: PositiveSeconds = Field(description="how long", examples=["10 s"])


class Cool(StepBase):
    """Wait without a signal until the heatsink is cool enough."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "thermometer")

    kind: Literal["cool"] = "cool"
    heatsink: BelowCelsius = Field(
        description="the temperature to wait for, such as `below 45 degC`", examples=["below 45 degC"]
    )
    timeout_s: PositiveSeconds = Field(default=3600.0, description="the longest wait")
    on_timeout: OnTimeout = Field(default="end the run", description="what to do if that time is not enough")
    without_thermometer_s: PositiveSeconds | None = Field(
        default=None,
        description="how long to wait instead where nothing watches the heatsink; if left out, three time constants "
        "of the amplifier's heatsink",
    )


class Settle(StepBase):
    """Wait until a signal changes by less than a bound within a given time."""

    AT_TIMES: ClassVar[tuple[str, ...]] = HEATING_FIGURES

    kind: Literal["settle"] = "settle"
    heatsink: WithinKelvins | None = Field(default=None, description="the change that is allowed, such as `within 1 K`")
    supply_current: WithinAmperes | None = Field(
        default=None, description="the change that is allowed, such as `within 50 mA`"
    )
    per_s: PositiveSeconds = Field(default=60.0, description="the time over which the change is looked at")
    predicted_end: WithinKelvins | None = Field(
        default=None,
        description="end the wait early once the heatsink's final temperature is predicted so well, such as "
        "`within 1 K`; that temperature becomes a figure",
    )
    timeout_s: PositiveSeconds = Field(default=1800.0, description="the longest wait")
    on_timeout: OnTimeout = Field(default="end the run", description="what to do if that time is not enough")
    without_thermometer_s: PositiveSeconds | None = Field(
        default=None,
        description="how long to wait in place of `heatsink` and `predicted_end` where nothing watches the heatsink; "
        "if left out, three time constants of the amplifier's heatsink. It is never longer than `timeout`",
    )

    @property
    def roles(self) -> tuple[str, ...]:
        asked = {"thermometer": self.heatsink or self.predicted_end, "supply": self.supply_current}
        return tuple(role for role, criterion in asked.items() if criterion is not None)

    def problems(self) -> Iterator[PathProblem]:
        if self.heatsink is None and self.supply_current is None and self.predicted_end is None:
            wanted = "heatsink, supply_current or predicted_end, such as 'heatsink: within 1 K'"
            yield PathProblem((), f"nothing to settle; give {wanted}")
        if self.timeout_s < self.per_s:
            yield PathProblem(("timeout",), "the timeout must not be shorter than 'per'")


class RampSupply(Named):
    """First power-up after a repair: raise the voltage in steps under a low current limit, and check at each step.
    The first thing that is wrong ends the run."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope", "supply")

    kind: Literal["ramp_supply"] = "ramp_supply"
    voltage_v: PositiveVolts = Field(description="voltage of the main supply output at the end of the ramp")
    current_limit_a: PositiveAmperes = Field(
        examples=["2 A"],
        description="current limit of the main supply output: a little above the idle current that you expect",
    )
    from_v: PositiveVolts = Field(default=2.0, description="voltage at which the ramp begins")
    step_v: PositiveVolts = Field(default=1.0, description="the most that the voltage rises in one step")
    dwell_s: PositiveSeconds = Field(default=4.0, description="how long each voltage is held and checked")
    wake_at_v: PositiveVolts | None = Field(
        default=None,
        description="voltage from which the remote turn-on lead is on; if left out, the lowest supply voltage"
        " of the amplifier file",
    )
    start_timeout_s: PositiveSeconds = Field(
        default=30.0,
        description="how long the amplifier's converter may take to start under the current limit; after that"
        " the ramp stops",
    )
    supply_current: BelowAmperes | None = Field(
        default=None, description="what the current must be at each voltage, such as `below 2.5 A`"
    )
    dc_offset: WithinVolts = Field(
        default=Criterion(relation="within", bound=0.1, unit="V"), description="what the dc at each output must be"
    )
    rise: WithinAmperes = Field(
        default=Criterion(relation="within", bound=0.1, unit="A"),
        description="how much the current may rise while a voltage is held",
    )
    expect: Annotated[Expectations, *expecting(*RAMP_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `idle_current: below 2 A`"
    )

    @property
    def steps_up(self) -> int:
        """How many times the voltage rises."""
        return max(math.ceil((self.voltage_v - self.from_v) / self.step_v - 1e-9), 1)

    def problems(self) -> Iterator[PathProblem]:
        if self.from_v >= self.voltage_v:
            yield PathProblem(("from",), "the ramp must begin below the voltage it leads to")
        elif self.steps_up > MOST_RAMP_STEPS:
            takes = in_minutes(self.steps_up * self.dwell_s)
            yield PathProblem(
                ("step",),
                f"the voltage would rise {self.steps_up} times and take {takes}; at most {MOST_RAMP_STEPS} times are "
                "allowed; give a larger 'step'",
            )


class DriveByHand(StepBase):
    """Let a person drive the amplifier with keys, under the same guard as any run: `benchctl manual`. The person
    switches it on; without a key for some time the signal goes off."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope", "load", "supply")

    kind: Literal["drive_by_hand"] = "drive_by_hand"
    voltage_v: PositiveVolts = Field(description="voltage of the main supply output")
    current_limit_a: PositiveAmperes = Field(description="current limit of the main supply output")
    highest: DriveLevel = Field(
        default=Level(0.125, "rated"),
        description="the highest level that keys can set, such as `12.5 % rated` or `20 W`",
        json_schema_extra={"default": "12.5 % rated"},
    )
    frequencies_hz: tuple[AudioHertz, ...] = Field(
        default=(20.0, 50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 10e3, 20e3),
        min_length=1,
        description="the frequencies that keys can set",
        json_schema_extra={"default": ["20 Hz", "100 Hz", "1 kHz", "10 kHz", "20 kHz"]},
    )
    cycles: CycleCount = Field(default=20, description="length of the bursts, in whole cycles")
    every_s: PositiveSeconds = Field(default=0.5, description="time from the start of one burst to the next")
    low_level_ratio: RestLevel = Field(
        default=0.1,
        alias="low_level",
        description="level between the bursts, relative to the level in the burst, such as `-20 dB`",
    )
    key_every_s: PositiveSeconds = Field(
        default=60.0, description="the signal goes off if no key is pressed for so long", examples=["60 s"]
    )
    at_most_s: PositiveSeconds = Field(default=4 * 3600.0, description="the step ends after so long", examples=["4 h"])

    def problems(self) -> Iterator[PathProblem]:
        if self.highest.of == "clean":
            yield PathProblem(("highest",), "no clean level is known here; give the highest level in V, W or % rated")
        yield from doubled(self.frequencies_hz, "frequencies")


class CheckBench(StepBase):
    """Check the bench with itself before an amplifier pays for a mistake in its wiring: zeros, sensors, supply, which
    input answers at which output, and each relay of the load. The amplifier is switched on under a low current limit
    and driven with a fraction of a watt. Everything that is found is told; the run then ends."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope", "load", "supply")

    kind: Literal["check_bench"] = "check_bench"
    voltage_v: PositiveVolts = Field(description="voltage of the main supply output")
    current_limit_a: PositiveAmperes = Field(
        description="current limit of the main supply output, a little above what the check draws", examples=["5 A"]
    )
    frequency_hz: AudioHertz = Field(
        default=1000.0, description="frequency of the tone; one that the amplifier's filters pass"
    )
    level: DriveLevel = Field(
        default=Level(0.2, "watts"),
        description="level of the tone, such as `200 mW`; a load setting that is wrong makes four times that",
        json_schema_extra={"default": "200 mW"},
    )
    warm_s: PositiveSeconds = Field(
        default=60.0, description="how long the amplifier idles while the temperature sensors are watched"
    )

    def problems(self) -> Iterator[PathProblem]:
        if self.level.of != "watts" or self.level.value > HIGHEST_CHECK_W:
            yield PathProblem(("level",), f"give a power of at most {HIGHEST_CHECK_W:g} W: the check must be harmless")


class MoveProbe(StepBase):
    """Have a person move the probes to other outputs. Nobody writes it: the plan has it where one probe must serve
    several outputs."""

    kind: Literal["move_probe"] = "move_probe"
    outputs: tuple[str, ...]


BenchStep = PowerOn | Set | Hold | Cool | Settle | RampSupply | DriveByHand | CheckBench | PowerOff
