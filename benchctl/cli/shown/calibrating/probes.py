"""Voltage probes and the clamp, beside a reference that a person reads while the oscilloscope is read."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from functools import cached_property, partial

from uncertainties import UFloat

from benchctl.cli.shown.calibrating.asking import SKIP, accuracy_of, choose, done, tell, value_of
from benchctl.cli.shown.calibrating.measured import Before, Measured, causes_of, rendered_ratio
from benchctl.documents.bench_file.signals import CurrentWiring, VoltageWiring
from benchctl.documents.model.fields import PositiveAmperes, PositiveVolts
from benchctl.errors import InstrumentError, MeasurementError
from benchctl.launch.calibrate import Desk
from benchctl.measure.calibration import PlainLead, Probing, Seen, stated
from benchctl.measure.uncertainty import Accuracy
from benchctl.quantity import render
from benchctl.runner.acting.contexts import signal_accuracies

MEASURE = "measure"


class Probes:
    """Each probe in turn. The reference meters' accuracies are asked for once."""

    def __init__(self, desk: Desk, today: datetime.date) -> None:
        self._desk = desk
        self._today = today

    def voltage_probes(self) -> Iterator[Measured]:
        """Those that were measured."""
        for signal, wiring in self._desk.file.signals.wirings():
            if isinstance(wiring, VoltageWiring):
                tell(
                    f"\nThe probe of {signal}, now {wiring.probe.ratio:g}:1 ± {rendered_ratio(wiring.probe.accuracy)}:"
                )
                yield from self._tried(partial(self._probe, signal, wiring))

    def clamp(self) -> Iterator[Measured]:
        """The clamp, if there is one and it was measured."""
        wiring = self._desk.file.signals.supply_current
        if wiring is None:
            tell("\nThe bench file has no clamp.")
            return
        probe = wiring.probe
        tell(f"\nThe clamp, now {1e3 * probe.sensitivity_v_per_a:g} mV/A ± {rendered_ratio(probe.accuracy)}:")
        yield from self._tried(lambda: self._clamp(wiring))

    def _tried(self, measure: Callable[[], Measured]) -> Iterator[Measured]:
        if choose("Measure it", (MEASURE, SKIP), MEASURE) == SKIP:
            return
        try:
            yield measure()
        except (MeasurementError, InstrumentError) as error:
            tell(f"It is left out: {error.message}.")

    @cached_property
    def _voltmeter(self) -> Accuracy:
        return accuracy_of("reference voltmeter", "0.05 %")

    @cached_property
    def _ammeter(self) -> Accuracy:
        return accuracy_of("reference ammeter", "0.2 %")

    def _probe(self, signal: str, wiring: VoltageWiring) -> Measured:
        tell(
            "Put its tips to a steady dc voltage, as near to the highest in use as you have, and a reference voltmeter "
            f"to the same. Not more than {render(wiring.probe.rating_v, 'V')}. This finds its ratio "
            "at dc: adjust a probe with a trimmer first."
        )
        probing = Probing(self._oscilloscope(signal, wiring), self._voltmeter)
        volts = value_of("The reference reads", PositiveVolts)
        seen = self._seen(signal, wiring, volts, "Take the voltage off, and put the tips together.")
        plain = self._plain_lead(signal, wiring, seen)
        value = probing.probe_ratio(volts, seen, plain)
        found = stated(value)
        entry = {
            "ratio": f"{found.value:.6g}",
            "accuracy": rendered_ratio(found.relative_uncertainty),
            "date": str(self._today),
            "how": f"at {render(volts, 'V')} dc against a reference{_beside(plain)}",
        }
        before = Before(wiring.probe.ratio, wiring.probe.accuracy)
        return Measured("probes", signal, f"the probe of {signal}", "", before, found, entry, causes_of(value))

    def _clamp(self, wiring: CurrentWiring) -> Measured:
        signal = "supply current"
        tell(
            "Lay the clamp around a lead with a steady dc current from a supply of your own, and a reference ammeter "
            f"in the same lead. Not more than {render(wiring.probe.rating_a, 'A')}. Several turns count "
            "as so many times the current."
        )
        ammeter = self._ammeter
        amperes = value_of("The reference reads, times the turns", PositiveAmperes)
        seen = self._seen(signal, wiring, amperes, "Switch the current off, and leave the clamp where it is.")
        plain = self._plain_lead(signal, wiring, seen)
        voltmeter = Accuracy() if plain is None else self._voltmeter
        probing = Probing(self._oscilloscope(signal, wiring), voltmeter)
        value = probing.sensitivity(amperes, ammeter, seen, plain)
        found = stated(value)
        entry = {
            "sensitivity": f"{1e3 * found.value:.6g} mV/A",
            "accuracy": rendered_ratio(found.relative_uncertainty),
            "date": str(self._today),
            "how": f"at {render(amperes, 'A')} dc against a reference{_beside(plain)}",
        }
        before = Before(wiring.probe.sensitivity_v_per_a, wiring.probe.accuracy)
        return Measured("clamp", "", "the clamp", "V/A", before, found, entry, causes_of(value))

    def _oscilloscope(self, signal: str, wiring: VoltageWiring | CurrentWiring) -> Accuracy:
        """Its accuracy at the input, in volts there."""
        of_chain, _ = signal_accuracies(self._desk.file)[signal]
        fixed_v = of_chain.fixed / wiring.probe.units_per_volt
        return Accuracy(of_chain.reading, of_chain.range, fixed_v, linearity=of_chain.linearity)

    def _seen(
        self,
        signal: str,
        wiring: VoltageWiring | CurrentWiring,
        value: float,
        take_off: str,
        *,
        plain: float | None = None,
    ) -> Seen:
        """With the reference, then with nothing, on the same range; `plain` is half of the range to stay on, by a plain
        lead."""
        by_plain_lead = plain is not None
        level = self._desk.seen(signal, value, by_plain_lead=by_plain_lead, half_range=plain)
        done(take_off)
        zero = self._desk.seen(signal, 0.0, by_plain_lead=by_plain_lead, half_range=level.full_scale / 2.0)
        volts: UFloat = (level.mean - zero.mean) / wiring.probe.units_per_volt
        tell(f"The oscilloscope shows {float(volts.nominal_value):.5g} V at its input.")
        return Seen(volts, level.full_scale / wiring.probe.units_per_volt)

    def _plain_lead(self, signal: str, wiring: VoltageWiring | CurrentWiring, seen: Seen) -> PlainLead | None:
        """The oscilloscope's own error of gain is found by a plain lead at the same input."""
        tell(
            f"The oscilloscope's own error counts, unless it is read once more with a plain lead at channel "
            f"{wiring.oscilloscope} in place of the probe, and about {abs(float(seen.volts.nominal_value)):.3g} V."
        )
        if choose("Do that", ("yes", "no"), "yes") == "no":
            return None
        volts = value_of("The reference voltmeter reads", PositiveVolts)
        half_range = 0.5 * seen.full_scale_v * wiring.probe.units_per_volt
        direct = self._seen(
            signal, wiring, volts, "Take the voltage off, and put the lead's ends together.", plain=half_range
        )
        return PlainLead(volts, direct)


def _beside(plain: PlainLead | None) -> str:
    return "" if plain is None else ", the oscilloscope by a plain lead"
