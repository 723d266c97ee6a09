"""measure_continuous: power, distortion, supply draw and efficiency at a steady tone."""

from __future__ import annotations

from collections.abc import Mapping

from benchctl.documents.criteria import Criterion
from benchctl.documents.steps import MeasureContinuous
from benchctl.errors import MeasurementError
from benchctl.runner import exposure
from benchctl.runner.drive import load_and_frequency, mute, tone
from benchctl.runner.outlook import Forecast, Outlook
from benchctl.runner.run import Run
from benchctl.runner.steps.find_clean_level import SETTLE_S, steady_context

SAMPLE_EVERY_S = 0.25


def perform(step: MeasureContinuous, run: Run) -> None:
    """Hold the tone for the step's time while the supply is read, take the record, and mute.

    Raises:
        MeasurementError: no level is given, none is set, and none was found for this load and frequency.
    """
    load_ohm, frequency_hz = load_and_frequency(run)
    given_v = step.level_v or run.conditions.level_v
    level_v = given_v or _clean_level_v(run, load_ohm, frequency_hz)
    tone(run, level_v)
    run.wait(SETTLE_S)
    readings: dict[str, list[float]] = {"supply_current": [], "supply_voltage": []}
    for _ in range(max(1, round(step.for_s / SAMPLE_EVERY_S))):
        run.wait(SAMPLE_EVERY_S)
        for signal, values in readings.items():
            values.append(run.read(signal))
    signals = [*exposure.outputs(run), *exposure.supply_signals(run)]
    capture = exposure.take(run, "continuous", exposure.steady_record(frequency_hz), level_v, signals)
    readings["heatsink"] = run.read_if_any("heatsink")
    context = steady_context(run, load_ohm, frequency_hz)  # the loads as warm as they are now
    mute(run)
    criteria = step.expect if given_v else _criteria(step, run, load_ohm, frequency_hz)
    run.analyse("continuous", {"continuous": capture}, readings, context, criteria)


def _clean_level_v(run: Run, load_ohm: float, frequency_hz: float) -> float:
    found = run.clean_levels.get((load_ohm, frequency_hz))
    if found is None:
        raise MeasurementError(
            f"no clean level is known at {load_ohm:g} ohm and {frequency_hz:g} Hz; "
            "give a level, or find_clean_level before this step"
        )
    return found.level_v


def _criteria(step: MeasureContinuous, run: Run, load_ohm: float, frequency_hz: float) -> Mapping[str, Criterion]:
    """The step's own criteria, and under them the rating: at the clean level and the nominal supply voltage the power
    must reach the plate's."""
    rating = run.files.amplifier.rating(load_ohm)
    clean = run.clean_levels.get((load_ohm, frequency_hz))
    if run.conditions.supply_v != run.files.amplifier.supply.nominal_v:
        return step.expect
    if rating is None or clean is None or clean.thd_n > rating.thd_n:
        return step.expect
    rated = Criterion(relation="above", bound=rating.power_w, unit="W")
    return {"continuous_power": rated, **step.expect}


def foresee(step: MeasureContinuous, outlook: Outlook) -> Forecast:
    level_v = step.level_v or outlook.level_v
    if level_v is None and not outlook.has_clean_level:
        outlook.hazard("no level is given and no find_clean_level comes before it")
    for_s = SETTLE_S + step.for_s + 0.1
    power = outlook.full_power(for_s=for_s) if level_v is None else outlook.tone(level_v, for_s=for_s)
    outlook.level_v = None
    return Forecast(duration_s=for_s, **power)
