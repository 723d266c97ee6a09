"""What is predicted of the amplifier of a dry run, what is refused, and the clean level against closed forms."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.optimize import brentq

from benchctl.cli.commands.predict import predict as predict_command
from benchctl.fit.evidence import Finding
from benchctl.fit.examination import Examination
from benchctl.fit.model.physics import Kind, Physics
from benchctl.fit.prediction.asked import Asked
from benchctl.fit.prediction.beside import beside, entries_in, predicted_there
from benchctl.fit.prediction.drives import clean_burst, clean_steady
from benchctl.fit.prediction.predicting import Prediction, predict
from benchctl.fit.reading.taking import without_load
from benchmarks.predictions.__main__ import table_of
from benchmarks.predictions.trial import Judged, Outcome

LOAD_OHM, OUTPUT_OHM, SATURATION_V, RAIL_V, STIFFNESS_OHM = 3.0, 0.02, 1.6, 41.0, 0.36
KIND = Kind(averaged=True)
THREE = Asked(3.0, 14.4)


def physics() -> Physics:
    """Two channels that clip hard, on stiff leads."""

    def all_sets(value: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return np.array([value])

    def of_channels(value: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return np.full((2, 1), value)

    return Physics(
        supply_v=all_sets(14.4),
        path_ohm=all_sets(1e-9),
        steady_a=all_sets(0.3),
        ratio=all_sets(RAIL_V / 14.4),
        edges=all_sets(0.0),
        held_v=all_sets(RAIL_V),
        efficiency=all_sets(0.92),
        stiffness_ohm=all_sets(STIFFNESS_OHM),
        reservoir_f=all_sets(30e-3),
        bleed_ohm=all_sets(1e9),
        bias_a=all_sets(0.2),
        saturation_v=all_sets(SATURATION_V),
        knee=all_sets(1e-6),
        conduction_ohm=all_sets(0.0),
        switching_s=all_sets(0.0),
        output_ohm=all_sets(OUTPUT_OHM),
        load_ohm=of_channels(LOAD_OHM),
        peak_v=of_channels(31.9),
        dc_v=of_channels(0.0),
        phase=of_channels(0.0),
        angular_hz=all_sets(2.0 * math.pi * 1e3),
    )


def clipped(overdrive: float) -> tuple[float, float, float]:
    """Distortion up to 20 kHz, mean size and mean square of a sine that is cut off at 1, by Fourier's sums of a million
    samples."""
    sine = np.clip(overdrive * np.sin(2.0 * np.pi * np.arange(1_000_000) / 1_000_000), -1.0, 1.0)
    lines = np.abs(np.fft.rfft(sine)[:21]) ** 2
    return math.sqrt(lines[2:].sum() / lines[1:].sum()), float(np.abs(sine).mean()), float((sine**2).mean())


def steady_w() -> float:
    """Clean power into each load: the rail under the mean size of both output currents, and 1 % of distortion."""
    overdrive = float(brentq(lambda ratio: clipped(ratio)[0] - 0.01, 1.01, 1.3, xtol=1e-6))
    _, size, square = clipped(overdrive)
    load_s = 2.0 * size / (LOAD_OHM + OUTPUT_OHM)
    open_v = RAIL_V - STIFFNESS_OHM * 0.2
    limit_v = (open_v - SATURATION_V) / (1.0 + STIFFNESS_OHM * load_s)
    return square * (limit_v * LOAD_OHM / (LOAD_OHM + OUTPUT_OHM)) ** 2 / LOAD_OHM


def test_clean_power_is_that_of_the_closed_form() -> None:
    steady, lower = clean_steady(physics(), KIND, 0.01, 0.99)
    assert steady.power_w[:, 0] == pytest.approx(steady_w(), rel=1e-3)
    assert 0.98 < lower.power_w[0, 0] / steady.power_w[0, 0] < 1.0


def test_a_long_burst_ends_at_continuous_power_and_a_short_one_gives_more() -> None:
    quick = replace(physics(), reservoir_f=np.array([3e-3]))
    long_w, _ = clean_burst(quick, KIND, 0.1, 12, 0.01, 0.99)
    short_w, _ = clean_burst(physics(), KIND, 0.1, 2, 0.01, 0.99)
    assert long_w[0, 0] == pytest.approx(steady_w(), rel=3e-3)
    assert short_w[0, 0] > 1.1 * steady_w()


def test_a_larger_reservoir_gives_more_power_in_a_burst_and_the_same_continuously() -> None:
    larger = replace(physics(), reservoir_f=np.array([60e-3]))
    (more_w, _), (less_w, _) = (clean_burst(each, KIND, 0.1, 8, 0.01, 0.99) for each in (larger, physics()))
    assert more_w[0, 0] > 1.05 * less_w[0, 0]
    assert clean_steady(larger, KIND, 0.01, 0.99)[0].power_w[0, 0] == pytest.approx(steady_w(), rel=1e-3)


@pytest.fixture(scope="module")
def there(found: Examination) -> Prediction:
    return predicted_there(found, 2.0, 14.4, (40,))


def test_what_is_predicted_is_what_the_run_has_measured(found: Examination, there: Prediction) -> None:
    compared = list(beside(there, entries_in(found.run, 2.0, 14.4)))
    assert {(each.predicted.name, each.predicted.cycles) for each in compared} == {
        ("continuous_power", 0),
        ("supply_current", 0),
        ("efficiency", 0),
        *(("burst_power_clean", cycles) for cycles in (1, 8, 20)),
    }
    assert all(each.is_within for each in compared)
    assert all(each.predicted.expanded_uncertainty < 0.02 * each.predicted.value for each in compared)


def test_what_makes_an_uncertainty_is_told_in_its_parts(there: Prediction) -> None:
    for each in there.figures:
        assert set(each.parts) - {"bench"} == {"parameters", "bias", "search", "model"}
        assert each.expanded_uncertainty == pytest.approx(math.hypot(*each.parts.values()))


def test_no_figure_is_predicted_surer_than_the_run_has_measured_it(found: Examination, there: Prediction) -> None:
    for each in (figure for figure in there.figures if figure.name == "continuous_power"):
        measured = [
            figure.expanded_uncertainty / figure.value
            for entry in found.run.entries
            for figure in entry.figures
            if (figure.name, figure.channel) == (each.name, each.channel) and figure.expanded_uncertainty
        ]
        assert each.expanded_uncertainty / each.value >= 0.999 * min(measured)


def test_a_prediction_says_that_it_is_no_measurement(there: Prediction) -> None:
    assert "A predicted value is no measurement." in there.warnings


@pytest.mark.parametrize(
    ("asked", "reason"),
    [
        (Asked(1.0, 14.4), "minimum load of 2 ohm"),
        (Asked(16.0, 14.4), "too far from the loads that were measured"),
        (Asked(3.0, 13.0), "measure a clean level and continuous power at a second voltage"),
    ],
)
def test_what_the_model_does_not_carry_is_refused_with_the_reason(
    found: Examination, asked: Asked, reason: str
) -> None:
    prediction = predict(found, asked)
    assert prediction.figures == ()
    assert any(reason in each for each in prediction.refused)


@pytest.mark.parametrize("name", ["rail_stiffness", "headroom"])
def test_what_rests_on_an_untold_quantity_is_refused(found: Examination, name: str) -> None:
    untold = replace(
        found,
        quantities=tuple(
            replace(each, untold="of a reason") if each.name == name else each for each in found.quantities
        ),
    )
    assert predict(untold, Asked(3.0, 14.4)).refused


def test_an_output_resistance_that_two_loads_have_left_untold_is_said_and_one_load_is_refused(
    found: Examination,
) -> None:
    quantities = tuple(
        replace(each, untold="of a reason") if each.name == "output_resistance" else each for each in found.quantities
    )
    untold = replace(found, quantities=quantities)
    assert any("does not tell the resistance of each output" in each for each in predict(untold, THREE).warnings)
    assert predict(replace(untold, run=without_load(found.run, 2.0)), THREE).refused[0].startswith("one load")


def test_nothing_is_predicted_of_an_amplifier_with_a_fault(found: Examination) -> None:
    silent = Finding("silence", "channel A is silent", "A")
    assert any("channel A is silent" in each for each in predict(replace(found, findings=(silent,)), THREE).refused)


def test_the_terminal_shows_predicted_beside_measured_and_the_exit_code_tells_a_refusal(
    monkeypatch: pytest.MonkeyPatch, found: Examination, there: Prediction, folder: Path
) -> None:
    compared = tuple(beside(there, entries_in(found.run, 2.0, 14.4)))
    refused = predict(found, Asked(1.0, 14.4))
    monkeypatch.setattr("benchctl.fit.prediction.asking.ask", lambda *_: (found, [(there, compared), (refused, ())]))
    ran = CliRunner().invoke(predict_command, [str(folder), "--load", "2ohm"], standalone_mode=False)
    assert ran.return_value == 1
    assert "Predicted into 2 ohm at 14.4 V" in ran.output
    assert "within both U" in ran.output
    assert "Not predicted into 1 ohm" in ran.output
    told = CliRunner().invoke(predict_command, [str(folder), "--load", "2ohm", "--json"], standalone_mode=False)
    assert json.loads(told.output)["predictions"][0]["figures"][0]["measured"] is not None


def test_the_campaign_counts_what_lies_inside(there: Prediction) -> None:
    one = there.figures[0]
    judged = (Judged(one, one.value, 0.0), Judged(one, one.value - 2.0 * one.expanded_uncertainty, 0.0))
    columns = {str(each.header): list(each.cells) for each in table_of([Outcome(judged)], "").columns}
    assert columns["inside U"][-1] == "50.0%"
