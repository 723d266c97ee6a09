"""Predictions, as plain text and as data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from benchctl.fit.examination import Examination
from benchctl.fit.prediction.asked import Predicted
from benchctl.fit.prediction.beside import Beside
from benchctl.fit.prediction.predicting import Prediction
from benchctl.measure.budget.words import burst_in_words, unit_in_words, value_in_words
from benchctl.quantity import render

Shown = Sequence[tuple[Prediction, Sequence[Beside]]]


def in_words(found: Examination, shown: Shown) -> str:
    """All of it."""
    return "\n".join(_lines(found, shown))


def _lines(found: Examination, shown: Shown) -> Iterator[str]:
    simulated = " Simulated, no measurement." if found.run.is_simulated else ""
    yield f"{found.run.amplifier.title}, from run {found.run.name}.{simulated}"
    for prediction, compared in shown:
        yield from _of(prediction, compared)


def _of(prediction: Prediction, compared: Sequence[Beside]) -> Iterator[str]:
    where = f"into {render(prediction.asked.load_ohm, 'ohm')} at {render(prediction.asked.supply_v, 'V')}"
    if prediction.refused:
        yield f"Not predicted {where}:"
        yield from (f"  {reason}" for reason in prediction.refused)
        return
    measured = {id(each.predicted): each for each in compared}
    yield f"Predicted {where}, all channels driven, up to 1 % THD+N (k = 2):"
    width = max(len(_name(each)) for each in prediction.figures)
    for each in prediction.figures:
        said = f"  {_name(each):<{width}}  {value_in_words(each.figure)} {unit_in_words(each.figure)}".rstrip()
        yield said + (_measured(measured[id(each)]) if id(each) in measured else "")
    yield from prediction.warnings


def _name(predicted: Predicted) -> str:
    burst = f", burst of {burst_in_words(predicted.cycles)}" if predicted.cycles else ""
    channel = f", channel {predicted.channel}" if predicted.channel else ""
    return f"{_WORDS[predicted.name]}{burst}{channel}"


_WORDS = {
    "continuous_power": "continuous power",
    "supply_current": "supply current",
    "efficiency": "efficiency",
    "burst_power_clean": "power",
}


def _measured(each: Beside) -> str:
    within = "within both U" if each.is_within else "NOT within both U"
    return f"; measured {value_in_words(each.measured)}, {within}"


def as_data(found: Examination, shown: Shown) -> dict[str, Any]:
    """The same, for other programs."""
    return {
        "run": found.run.name,
        "amplifier": found.run.amplifier.title,
        "simulated": found.run.is_simulated,
        "predictions": [_as_data(prediction, compared) for prediction, compared in shown],
    }


def _as_data(prediction: Prediction, compared: Sequence[Beside]) -> dict[str, Any]:
    measured = {id(each.predicted): each for each in compared}
    return {
        "load_ohm": prediction.asked.load_ohm,
        "supply_v": prediction.asked.supply_v,
        "refused": list(prediction.refused),
        "warnings": list(prediction.warnings),
        "figures": [
            {
                "name": each.name,
                "channel": each.channel,
                "burst_cycles": each.cycles or None,
                "unit": each.unit,
                "value": each.value,
                "expanded_uncertainty": each.expanded_uncertainty,
                "parts_of_uncertainty": dict(each.parts),
                "measured": measured[id(each)].measured.value if id(each) in measured else None,
                "measured_expanded_uncertainty": (
                    measured[id(each)].measured.expanded_uncertainty if id(each) in measured else None
                ),
            }
            for each in prediction.figures
        ],
    }
