"""The supply's leads: volts over amperes, typed."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from benchctl.cli.shown.calibrating.asking import accuracy_of, tell, value_of
from benchctl.cli.shown.calibrating.measured import Before, Measured, causes_of, rendered_ratio
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.model.fields import PositiveAmperes, PositiveVolts
from benchctl.errors import MeasurementError
from benchctl.measure.calibration import TwoMeters, VoltsAmperes, stated
from benchctl.quantity import render


def measured(bench: Bench, today: datetime.date) -> Iterator[Measured]:
    """Both leads together; nothing where sense leads make up for them."""
    supply = bench.instruments.supply
    tell("\nThe leads from the supply to the amplifier:")
    if supply is None or supply.main.remote_sense:
        tell("They are left out: the bench file has no supply, or its sense leads go to the amplifier's terminals.")
        return
    tell(
        "Short the leads at the amplifier's end, the amplifier taken off, with plugs and fuse holder as in a run. Set "
        "the supply by hand to some amperes of constant current. Read the voltage at the supply's own terminals."
    )
    meters = TwoMeters(accuracy_of("voltmeter", "0.5 %"), accuracy_of("ammeter", "0.5 %"))
    forward = VoltsAmperes(value_of("Voltage", PositiveVolts), value_of("Current", PositiveAmperes))
    value = meters.resistance(forward)
    try:
        found = stated(value)
    except MeasurementError as error:
        tell(f"They are left out: {error.message}.")
        return
    at_most = supply.main.leads_ohm
    entry = {
        "resistance": f"{1e3 * found.value:.5g} mohm",
        "uncertainty": rendered_ratio(found.relative_uncertainty),
        "date": str(today),
        "how": f"volts over amperes at {render(forward.amperes, 'A')}",
    }
    before = None if at_most is None else Before(at_most, 0.0)
    yield Measured("leads", "", "the supply's leads", "ohm", before, found, entry, causes_of(value))
