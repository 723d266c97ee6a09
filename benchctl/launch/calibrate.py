"""A bench opened for its calibration: load resistors are connected and instruments read; nothing is energised."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from uncertainties import UFloat

from benchctl.clock import Clock, RealClock
from benchctl.documents.bench_file.bench import Bench as BenchFile
from benchctl.documents.bench_file.multimeter import ResistancePoint
from benchctl.documents.bench_file.resistors import LoadResistor, Resistor
from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.errors import MeasurementError, PreflightRefused
from benchctl.guard.bench_lock import bench_lock
from benchctl.instruments.bench import Bench, open_bench
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.load import RelayBank
from benchctl.instruments.oscilloscope.record import Record
from benchctl.instruments.role import Role
from benchctl.launch.instruments import ANY_AMPLIFIER
from benchctl.launch.simulated.virtual_time import VirtualBench, in_virtual_time
from benchctl.measure.calibration import READINGS, Warmth
from benchctl.measure.uncertainty import Accuracy, mean_of
from benchctl.quantity import render
from benchctl.runner.acting.contexts import point_accuracies

LOAD = "load"
DEAD_V = 1.0
"""A supply that shows less is off: what its zero may be off by, and no amplifier wakes at it (common practice)."""

SETTLE_S = 1.0
"""A contact has come to rest, and a multimeter has found its range (common practice)."""
RECORD = Record(span_s=0.2, pretrigger_s=0.0, samples=10_000, triggered=False)
"""Whole cycles of 50 and of 60 Hz."""

PARTS = 10


@dataclass(frozen=True)
class Level:
    """A steady signal as the oscilloscope shows it, and the full scale of the range; in the signal's unit, by the probe
    of the bench file."""

    mean: UFloat
    full_scale: float


@dataclass
class Desk:
    """The instruments that help to calibrate the bench, and the bench file.

    `touch`, `connect_by_hand` and `refer` do on a simulated bench what a person does at a real one: the multimeter's
    leads to a point, a load, a reference to a probe.
    """

    file: BenchFile
    bench: Bench
    clock: Clock
    touch: Callable[[str], None]
    connect_by_hand: Callable[[float | None], None]
    refer: Callable[[str, float, bool], None]
    _prepared: set[str] = field(default_factory=set)

    def points_for(self, channel: str) -> Sequence[str]:
        """The multimeter's points that may measure the loads of an output: the one named for it, else all of them."""
        multimeter = self.file.instruments.multimeter
        if multimeter is None:
            return ()
        points = [name for name, point in multimeter.points.items() if isinstance(point, ResistancePoint)]
        named = [name for name in points if name == f"load {channel}"]
        return named or points

    def words_of(self, point: str) -> str:
        """What the multimeter is asked for at a point."""
        multimeter = self.bench.multimeter
        messages = multimeter.question_for(point).messages(**multimeter.values_for(point))
        return ", ".join(message.text for message in messages)

    def accuracy_at(self, point: str) -> Accuracy:
        """Of the multimeter there."""
        multimeter = self.file.instruments.multimeter
        assert multimeter is not None
        (accuracy,) = point_accuracies(multimeter)[point]
        return accuracy

    def check_dead(self) -> None:
        """Refuse to switch load relays while the supply feeds something.

        Raises:
            PreflightRefused: it does.
            InstrumentError: it does not say.
        """
        for name in self.file.instruments.supply.outputs if self.file.instruments.supply is not None else ():
            volts, _ = self.bench.supply.measure(name)
            if not abs(volts) < DEAD_V:
                said = f"the supply's output '{name}' reads {render(volts, 'V')}"
                raise PreflightRefused([f"{said}; switch it off, and take the amplifier off the loads"])

    def connect(self, resistor: LoadResistor) -> None:
        """Connect one resistor and no other; without relays a person has done it.

        Raises:
            InstrumentError: the relays do not confirm it.
        """
        if isinstance(resistor, Resistor):
            load = self.bench.load
            assert isinstance(load, RelayBank)
            self._prepare(load)
            load.connect_alone(resistor.relay)
        else:
            self.connect_by_hand(resistor.nominal_ohm)
        self.clock.sleep(SETTLE_S)

    def disconnect(self) -> None:
        """Take off all loads that were connected by relays.

        Raises:
            InstrumentError: the relays do not confirm it.
        """
        if "load" in self._prepared:
            self.bench.load.disconnect()

    def _prepare(self, role: Role) -> None:
        """Once, at its first use."""
        if role.name not in self._prepared:
            role.prepare()
            self._prepared.add(role.name)

    def resistances(self, point: str) -> list[float]:
        """Readings of the multimeter at a point, ohm.

        Raises:
            InstrumentError: it shows an overload, or does not answer.
        """
        self.touch(point)
        self._prepare(self.bench.multimeter)
        self.clock.sleep(SETTLE_S)
        return [self.bench.multimeter.measure(point) for _ in range(READINGS)]

    def seen(self, signal: str, value: float, *, by_plain_lead: bool = False, half_range: float | None = None) -> Level:
        """What the oscilloscope shows of a steady signal at a probe.

        Args:
            signal: as wired.
            value: what a reference reads of it; a simulated bench has it there.
            by_plain_lead: at the input, by a plain lead in place of the probe.
            half_range: half of the screen in the signal's unit, to stay on a range; None chooses one that fits.

        Raises:
            MeasurementError: it does not fit.
            InstrumentError: the oscilloscope fails.
        """
        self.refer(signal, value, by_plain_lead)
        oscilloscope = self.bench.oscilloscope
        self._prepare(oscilloscope)
        if not oscilloscope.records_freely:
            raise MeasurementError("the oscilloscope's driver file has no way to record without a trigger")
        self.clock.sleep(SETTLE_S)
        if half_range is None:
            taken = oscilloscope.capture("calibration", [signal], RECORD, {signal: abs(value)})
        else:
            taken = oscilloscope.record_as_set("calibration", {signal: half_range}, RECORD)
        trace = taken.traces[signal]
        if trace.is_clipped:
            raise MeasurementError("the record goes beyond the range on which the probe was read")
        means = [float(part.mean()) for part in np.array_split(trace.values(), PARTS)]
        return Level(mean_of(means, f"scatter of the record of {signal}"), trace.full_scale)

    def load_warmth(self) -> Warmth | None:
        """What the sensor at the load resistors shows; None where there is none."""
        thermometer = self.file.instruments.thermometer
        if thermometer is None or thermometer.channels.load is None:
            return None
        self._prepare(self.bench.thermometer)
        if self.bench.thermometer.asks_for_all:
            temperature_c = self.bench.thermometer.measure_all()[LOAD]
        else:
            temperature_c = self.bench.thermometer.measure(LOAD)
        return Warmth(temperature_c, thermometer.accuracy.temperature.fixed)


@contextmanager
def open_desk(bench_file: str | Path, *, simulated: bool = False) -> Iterator[Desk]:
    """The instruments of a bench file; a role that nothing is asked of is not connected to.

    Raises:
        DocumentError: a file is wrong.
        PreflightRefused: a run uses one of the instruments.
    """
    file = load_bench(bench_file, needs_calibration=False)
    with ExitStack() as stack:
        if simulated:
            virtual = stack.enter_context(in_virtual_time(file, load_amplifier(ANY_AMPLIFIER)))
            yield _simulated(file, virtual, stack)
            return
        addresses = {role: entry.address for role, entry in file.instruments.items()}
        stack.enter_context(bench_lock(addresses.values()))
        clock = RealClock()
        bench = stack.enter_context(open_bench(file, addresses, Interlock(clock), clock.sleep, connect=False))
        yield Desk(file, bench, clock, lambda _: None, lambda _: None, lambda *_: None)


def _simulated(file: BenchFile, virtual: VirtualBench, stack: ExitStack) -> Desk:
    clock = virtual.clock
    opened = open_bench(
        file,
        virtual.addresses,
        Interlock(clock),
        clock.sleep,
        connect=False,
        opener=virtual.open_link,
        owed=virtual.owed_s,
    )
    bench = stack.enter_context(opened)
    virtual.serve(bench)
    simulated = virtual.simulated
    return Desk(
        file,
        bench,
        clock,
        simulated.touch,
        simulated.load,
        lambda signal, value, by_plain_lead: simulated.refer(signal, value, by_plain_lead=by_plain_lead),
    )
