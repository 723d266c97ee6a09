"""The instruments of an open bench, each with what a program may do to it."""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.errors import UsageError
from benchctl.python.at_bench.session import Session
from benchctl.python.captures import RecordedCapture, recorded
from benchctl.quantity import render
from benchctl.runner.steps.by_hand.bench_in_hand import BenchInHand

_OFF = "the amplifier is off; switch it on first"


@dataclass(frozen=True)
class SupplyReading:
    """What the supply shows of its main output."""

    voltage_v: float
    current_a: float


class _Role:
    def __init__(self, session: Session) -> None:
        self._session = session

    def __repr__(self) -> str:
        return f"<{type(self).__name__}>"


class GeneratorAtBench(_Role):
    """The function generator. Levels are V RMS of the sine at the amplifier's input."""

    @property
    def highest_level_v(self) -> float:
        """The highest level that this session allows at the load that is connected."""
        return self._session.do(BenchInHand.highest_v)

    @property
    def level_v(self) -> float:
        """The level that the signal has, or will have when it is switched on."""
        return self._session.do(lambda bench: bench.level_v)

    @property
    def frequency_hz(self) -> float | None:
        """The frequency that is set."""
        return self._session.run.conditions.frequency_hz

    @property
    def is_on(self) -> bool:
        """Whether the signal is on."""
        return self._session.do(lambda bench: bench.is_driven)

    def set_level(self, level_v: float) -> float:
        """Set the level; a signal that is on goes there. Returns the nearest level that the generator can be set to.

        Raises:
            UsageError: it is more than this session allows, or too little.
        """

        def work(bench: BenchInHand) -> float:
            lowest_v, highest_v = bench.lowest_v(), bench.highest_v()
            if not lowest_v <= level_v <= highest_v * (1.0 + 1e-9):
                raise UsageError(
                    f"this session allows levels from {render(lowest_v, 'V')} to {render(highest_v, 'V')} "
                    f"({bench.step.highest}), not {render(level_v, 'V')}"
                )
            bench.set_level(min(level_v, highest_v))
            return bench.level_v

        return self._session.do(work)

    def set_frequency(self, frequency_hz: float) -> None:
        """Set the frequency; a signal that is on goes on.

        Raises:
            UsageError: it is no audio frequency of this session.
        """

        def work(bench: BenchInHand) -> None:
            lowest_hz, highest_hz = min(bench.step.frequencies_hz), max(bench.step.frequencies_hz)
            if not lowest_hz <= frequency_hz <= highest_hz:
                raise UsageError(
                    f"this session allows frequencies from {render(lowest_hz, 'Hz')} to {render(highest_hz, 'Hz')}, "
                    f"not {render(frequency_hz, 'Hz')}"
                )
            bench.set_frequency(frequency_hz)

        self._session.do(work)

    def on(self, *, bursts: bool = False) -> None:
        """Switch the signal on: a steady tone, or bursts of it.

        Raises:
            UsageError: the amplifier is off.
            MeasurementError: it protects itself, or the bursts would be longer than their period.
        """

        def work(bench: BenchInHand) -> None:
            if not bench.is_on:
                raise UsageError(_OFF)
            if bench.in_bursts != bursts:
                bench.set_bursts(bursts)
            bench.drive()

        self._session.do(work)

    def off(self) -> None:
        """Switch the signal off."""
        self._session.do(BenchInHand.silence)


class OscilloscopeAtBench(_Role):
    """The oscilloscope, on the signals that the bench file wires to it."""

    def capture(self) -> RecordedCapture:
        """Take a record of what the amplifier does now, and keep it in the run folder.

        Raises:
            UsageError: the amplifier is off.
            MeasurementError: no range shows the signals whole.
        """

        def work(bench: BenchInHand) -> RecordedCapture:
            if not bench.is_on:
                raise UsageError(_OFF)
            recorder = bench.run.recorder
            kept = recorder.keep(bench.take().capture)
            return recorded(kept, kept.conditions, recorder.simulation.is_simulated)

        return self._session.do(work)


class LoadAtBench(_Role):
    """The load on the amplifier's outputs, in nominal ohm."""

    @property
    def choices_ohm(self) -> tuple[float, ...]:
        """The loads that can be connected: those of the rating plate that the bench has."""
        return self._session.do(lambda bench: bench.loads_ohm)

    @property
    def connected_ohm(self) -> float | None:
        """The load that is connected; None if none is."""
        return self._session.run.conditions.load_ohm

    def connect(self, nominal_ohm: float) -> None:
        """Connect this load to every channel; the signal goes off before.

        Raises:
            UsageError: the amplifier is not rated for it, or the bench does not have it.
        """

        def work(bench: BenchInHand) -> None:
            near = [ohm for ohm in bench.loads_ohm if abs(ohm - nominal_ohm) < 1e-3 * ohm]
            if not near:
                choices = " or ".join(render(ohm, "ohm") for ohm in bench.loads_ohm)
                raise UsageError(f"this session can connect {choices}, not {render(nominal_ohm, 'ohm')}")
            bench.set_load(near[0])

        self._session.do(work)


class SupplyAtBench(_Role):
    """The supply. `switch_on` and `switch_off` of the bench switch it, with its protection set."""

    def measure(self) -> SupplyReading:
        """Voltage and current of the main output, as the supply reads them now."""

        def work(bench: BenchInHand) -> SupplyReading:
            read = bench.run.read_supply()
            return SupplyReading(read["supply_voltage"], read["supply_current"])

        return self._session.do(work)


class ThermometerAtBench(_Role):
    """The thermometer, by the names of its channels in the bench file."""

    @property
    def channels(self) -> tuple[str, ...]:
        """Their names."""
        return tuple(self._session.run.bench.thermometer.channels)

    def measure(self, channel: str) -> float:
        """The temperature of a channel, degC; an open sensor is an error.

        Raises:
            UsageError: there is no such channel.
        """
        _among(channel, self.channels, "channel")
        return self._session.do(lambda bench: bench.run.bench.thermometer.measure(channel))


class MultimeterAtBench(_Role):
    """The multimeter, by the names of its points in the bench file."""

    @property
    def points(self) -> tuple[str, ...]:
        """Their names."""
        return tuple(self._session.run.bench.multimeter.points)

    def measure(self, point: str) -> float:
        """What a point has now: V, ohm or degC, as the bench file says. An overload is an error, never a number.

        Raises:
            UsageError: there is no such point.
        """
        _among(point, self.points, "point")
        return self._session.do(lambda bench: bench.run.bench.multimeter.measure(point))


def _among(name: str, names: tuple[str, ...], what: str) -> None:
    if name not in names:
        raise UsageError(f"there is no {what} '{name}'; the bench file has {', '.join(names)}")
