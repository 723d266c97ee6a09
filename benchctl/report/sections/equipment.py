"""With what it was measured: instruments, probes and loads, how far each may be off, and when it was calibrated."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.instruments import Instrument
from benchctl.documents.bench_file.resistors import LoadResistor
from benchctl.documents.bench_file.signals import CurrentClamp, CurrentWiring, VoltageWiring
from benchctl.documents.model.accuracy import Accuracy, TemperatureAccuracy
from benchctl.documents.model.origin import Origin
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.page_head import date_of
from benchctl.report.sections.tables import Cell, Table, heads
from benchctl.report.words.quantities import shown

_UNITS = {
    "voltage": "V",
    "dc_voltage": "V",
    "ac_voltage": "V",
    "level": "V",
    "current": "A",
    "frequency": "Hz",
    "resistance": "ohm",
    "temperature": "K",
}


def equipment_tables(run_record: RunRecord) -> list[Table]:
    """Instruments, probes and load resistors, as far as the bench file can be read."""
    identities = {str(role): str(who) for role, who in (run_record.began.get("instruments") or {}).items()}
    if run_record.bench is None:
        rows = tuple((Cell(role), Cell(who)) for role, who in identities.items())
        return [Table("Instruments", heads("role", "identity"), rows)] if rows else []
    tables = [
        _instruments(run_record.bench, identities, _day_of(run_record)),
        _probes(run_record.bench, _day_of(run_record)),
        _resistors(run_record.bench, _day_of(run_record)),
    ]
    return [table for table in tables if table.rows]


def _day_of(run_record: RunRecord) -> datetime.date | None:
    """The day of the run, as far as it is known."""
    try:
        return datetime.date.fromisoformat(date_of(run_record)[:10])
    except ValueError:
        return None


def _instruments(bench: Bench, identities: dict[str, str], day: datetime.date | None) -> Table:
    rows = tuple(_instrument_row(role, each, identities, day) for role, each in bench.instruments.items())
    table = Table("Instruments", heads("role", "identity", "driver", "calibrated", "limits of error"), rows)
    return table.without_empty_columns()


def _instrument_row(
    role: str, instrument: Instrument, identities: dict[str, str], day: datetime.date | None
) -> tuple[Cell, ...]:
    calibrated = Cell(str(instrument.calibrated)) if instrument.calibrated else Cell("not stated", "untold")
    if day is not None and instrument.is_overdue(day):
        calibrated = Cell(f"{calibrated.text}; was due on {instrument.calibration_due}", "untold")
    return (
        Cell(role),
        Cell(identities.get(role, "not asked")),
        Cell(instrument.driver, "code"),
        calibrated,
        Cell("; ".join(_accuracies(instrument))),
    )


def _accuracies(instrument: Instrument) -> Iterator[str]:
    accuracies = getattr(instrument, "accuracy", None)
    for name in type(accuracies).model_fields if accuracies is not None else ():
        if (stated := getattr(accuracies, name)) is not None:
            yield f"{name.replace('_', ' ')}: {_in_words(stated, _UNITS.get(name, ''))}"


def _in_words(accuracy: Accuracy | TemperatureAccuracy, unit: str) -> str:
    parts = [f"±{shown(accuracy.fixed, unit)}"] if accuracy.fixed else []
    if isinstance(accuracy, Accuracy):
        parts = [
            *([f"±{shown(accuracy.reading, '1')} of the reading"] if accuracy.reading else []),
            *([f"±{shown(accuracy.range, '1')} of the range"] if accuracy.range else []),
            *parts,
        ]
    return ", ".join(parts)


def _probes(bench: Bench, day: datetime.date | None) -> Table:
    rows = tuple(_probe_row(name, wiring, day) for name, wiring in bench.signals.wirings())
    table = Table("Probes", heads("signal", "oscilloscope", "probe", "limit of error", _FROM), rows)
    return table.without_empty_columns()


_FROM = "from"


def _from(origin: Origin | None, day: datetime.date | None) -> Cell:
    """Where a value comes from; the bench file itself where nothing is said."""
    if origin is None:
        return Cell("")
    if day is not None and origin.is_overdue(day):
        return Cell(f"{origin}; was due on {origin.due}", "untold")
    return Cell(str(origin))


def _probe_row(name: str, wiring: VoltageWiring | CurrentWiring, day: datetime.date | None) -> tuple[Cell, ...]:
    probe = wiring.probe
    factor = f"{1e3 * probe.sensitivity_v_per_a:g} mV/A" if isinstance(probe, CurrentClamp) else f"{probe.ratio:g}:1"
    return (
        Cell(name),
        Cell(f"channel {wiring.oscilloscope}"),
        Cell(f"{probe.kind}, {factor}"),
        Cell(f"±{shown(probe.accuracy, '1')}" if probe.accuracy else "none stated"),
        _from(probe.origin, day),
    )


def _coefficient(resistor: LoadResistor) -> str:
    """With its uncertainty, where that is stated."""
    own_ppm = 1e6 * (resistor.temperature_coefficient_uncertainty_per_k or 0.0)
    return f"{1e6 * resistor.temperature_coefficient_per_k:g}{f' ± {own_ppm:g}' if own_ppm else ''} ppm/K"


def _resistors(bench: Bench, day: datetime.date | None) -> Table:
    rows = tuple(
        (
            Cell(f"{shown(resistor.nominal_ohm, 'ohm')}, channel {resistor.channel}"),
            Cell(f"{resistor.measured_ohm:g} ohm", "number"),
            Cell(f"±{shown(resistor.uncertainty, '1')}", "number"),
            Cell(_coefficient(resistor), "number"),
            Cell(shown(resistor.rated_power_w, "W"), "number"),
            _from(resistor.origin, day),
        )
        for resistor in bench.load_resistors
    )
    columns = ["measured at 20 °C", "uncertainty, k = 2", "temperature coefficient", "rated"]
    table = Table("Load resistors", (*heads("nominal", numbers=columns), *heads(_FROM)), rows)
    return table.without_empty_columns()
