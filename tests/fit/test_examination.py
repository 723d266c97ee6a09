"""A dry run of a sound amplifier examined, whose true values the shipped amplifier file states."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from benchctl.cli.commands.fit import fit
from benchctl.documents.reader import load_amplifier
from benchctl.errors import ArchiveError
from benchctl.fit.allowance import STEPS, coarsest_step
from benchctl.fit.evidence import Finding, Kind
from benchctl.fit.examination import Examination, examined
from benchctl.fit.fitting import Fitted, Misfit
from benchctl.fit.forward import Forward
from benchctl.fit.heat.telling import HEAT
from benchctl.fit.model.rails import resting_v
from benchctl.fit.reading.items import CURRENT, Item
from benchctl.fit.since import changes
from benchctl.fit.told import BEND, Quantity, quantities
from benchctl.measure.signal.record import OUTPUT
from benchmarks.fits.drawing import truths_of
from benchmarks.fits.trial import Judged, judged
from tests.standards.means_by_scipy import rails_by_means


def told(found: Examination, name: str, channel: str = "") -> Quantity:
    (quantity,) = (each for each in found.quantities if (each.name, each.channel) == (name, channel))
    return quantity


@pytest.fixture(scope="session")
def off(found: Examination) -> dict[str, Judged]:
    """How far each quantity is from what the file of the simulated amplifier states, in parts of its U."""
    sound = load_amplifier("hx2150")
    given = sound.simulation
    assert given is not None
    numbers = {
        "rail_stiffness": given.rail_stiffness_ohm or 0.0,
        "reservoir": given.reservoir_f or 0.0,
        "output_resistance": given.output_resistance_ohm or 0.0,
        "gain": given.gain or 0.0,
        "saturation": given.saturation_v or 0.0,
        "converter_efficiency": given.converter_efficiency or 0.0,
        "soft_knee": 0.0,
    }
    return {each.name: each for each in judged(truths_of(sound, numbers), found)}


@pytest.mark.parametrize(
    "name", ["rail_stiffness", "reservoir", "output_resistance", "headroom", "input_ratio", "gain"]
)
def test_what_is_told_lies_within_its_uncertainty(off: dict[str, Judged], name: str) -> None:
    assert off[name].is_told
    assert off[name].width < 0.025
    assert abs(off[name].off) < 1.0


@pytest.mark.parametrize(("channel", "dc_v"), [("A", 6e-3), ("B", -9e-3)])
def test_gain_and_dc_of_a_channel_are_those_of_the_amplifier(found: Examination, channel: str, dc_v: float) -> None:
    gain, dc = told(found, "gain", channel), told(found, "dc", channel)
    assert gain.value == pytest.approx(31.9, abs=1.5 * gain.expanded_uncertainty)
    assert dc.value == pytest.approx(dc_v, abs=1.5 * dc.expanded_uncertainty)


def test_one_supply_voltage_leaves_rail_saturation_and_efficiency_untold(found: Examination) -> None:
    for name in ("rail", "saturation", "converter_efficiency"):
        assert "one supply voltage" in told(found, name).untold


def test_bias_and_housekeeping_are_never_told_apart(found: Examination) -> None:
    assert not told(found, "bias_current").is_told


def test_an_item_of_many_values_counts_with_no_less_noise_than_its_fit_shows(found: Examination) -> None:
    fitted = found.fitted
    assert fitted is not None
    factors = [float(fitted.scaled[rows.start]) for rows in fitted.forward.rows]
    many = [(misfit, factor) for misfit, factor in zip(fitted.misfits, factors, strict=True) if misfit.values >= 50]
    assert many
    for misfit, factor in many:
        assert factor == pytest.approx(max(misfit.mean_square, 1.0) ** 0.5, rel=0.01)


def test_a_sound_amplifier_has_no_finding_and_fits_within_chance(found: Examination) -> None:
    assert found.findings == ()
    assert found.misfits == ()


def test_a_fitted_burst_is_reproduced_within_its_noise(found: Examination) -> None:
    """The dry run's rails follow the means of a cycle, and so does this integration, whose means are summed by
    quadrature. It gets the fitted values, and must give the samples that were measured."""
    fitted = found.fitted
    assert fitted is not None
    number, take = next(each for each in enumerate(fitted.run.takes) if each[1].cycles == 8)
    values = fitted.parameters.values(fitted.solution.coordinates)
    of = fitted.forward.physics([number], values[None])
    times_s = take.instants.nodes_s[take.instants.sampled]
    rails_v = rails_by_means(of, float(resting_v(of, fitted.kind, take.quiet)[0]), times_s)
    for row, channel in enumerate(("A", "B")):
        item = take.items[f"output {channel}"]
        asked_v = of.peak_v[row, 0] * np.sin(of.angular_hz[0] * times_s + of.phase[row, 0]) + of.dc_v[row, 0]
        limit_v = rails_v - of.saturation_v[0]
        output_v = np.clip(asked_v, -limit_v, limit_v) * of.share[row, 0]
        errors = (output_v * gain_shown(fitted, item.signal) - item.values) / item.noise
        assert float(np.mean(errors**2)) < 1.5


def gain_shown(fitted: Fitted, signal: str) -> float:
    """What the instruments make of a volt, as it was fitted."""
    values = fitted.parameters.values(fitted.solution.coordinates)
    names = [each.name for each in fitted.parameters.each]
    own = [value for name, value in zip(names, values, strict=True) if name == f"gain of {signal}"]
    return 1.0 + float(own[0])


@pytest.mark.parametrize("kind", ["weak rail", "half wave"])
def test_nothing_is_fitted_to_an_amplifier_that_the_model_does_not_have(found: Examination, kind: Kind) -> None:
    again = examined(found.run, (Finding(kind, "as it was seen"),))
    assert again.fitted is None
    assert again.no_fit


def test_bursts_that_one_reservoir_does_not_explain_leave_the_rails_untold_and_the_rest_told(
    found: Examination,
) -> None:
    """With one dry rail of two the supply's current follows two time constants."""
    assert found.fitted is not None
    telling = {each.name: each for each in quantities(with_bursts_off(found.fitted, 0.02))}
    for name in ("rail_stiffness", "reservoir"):
        assert telling[name].untold.startswith("2.0 % of what bursts take from the supply is not explained")
    assert telling["headroom"].is_told
    assert {each.name: each for each in quantities(with_bursts_off(found.fitted, 0.005))}["reservoir"].is_told


def test_where_no_searched_level_is_left_only_what_lies_below_clipping_is_told(found: Examination) -> None:
    assert found.fitted is not None
    takes = tuple(replace(take, is_searched=False) for take in found.run.takes)
    told = quantities(replace(found.fitted, run=replace(found.run, takes=takes)))
    assert {each.name for each in told if each.is_told} == {"output_resistance", "gain", "dc", "idle_current"}
    assert "no record is left at a level that was searched for clipping" in next(
        each.untold for each in told if each.name == "headroom"
    )


def test_noise_on_the_samples_does_not_change_how_much_each_counts(found: Examination) -> None:
    """Else the few samples that noise has put on another step would count for more than they are worth."""
    assert found.fitted is not None
    fitted, chance = found.fitted, np.random.default_rng(5)

    def noisier(item: Item) -> Item:
        steps = chance.integers(-1, 2, len(item.values))
        return replace(item, values=item.values + steps * item.scale.step) if item.signal.startswith(OUTPUT) else item

    takes = [
        replace(take, items={name: noisier(item) for name, item in take.items.items()}) for take in fitted.run.takes
    ]
    model = fitted.forward
    other = Forward(takes, model.channels, model.kind, 14.4, fitted.parameters, senses_terminals=False)
    at, alone = fitted.solution.coordinates, np.ones(model.values)
    _, slopes = model.weighing_at(at).jacobian(at, alone)
    assert other.weighing_at(at).jacobian(at, alone)[1] == pytest.approx(slopes, rel=1e-9, abs=1e-9)
    apart = [np.abs(each.jacobian(at, alone)[1] - slopes).mean() for each in (model, other)]
    assert apart[0] < 0.1 * apart[1], "the fit itself weighs by its model"


def test_a_silent_output_does_not_make_the_steps_of_the_others_coarse(found: Examination) -> None:
    """Its records are zero, or noise of one step."""
    coarse = coarsest_step(found.run.takes)
    assert 0.0 < coarse < 2e-3
    for values in (np.zeros(1), np.full(1, 1e-3)):
        takes = tuple(
            replace(take, items={**take.items, "output B": replace(take.items["output B"], values=values)})
            if "output B" in take.items
            else take
            for take in found.run.takes
        )
        assert coarsest_step(takes) == pytest.approx(coarse, rel=0.05)


def test_what_moves_with_the_rails_is_off_where_their_model_is(found: Examination) -> None:
    """With source resistance, n/eta and headroom each known to 1 %, and n/eta correlated with source resistance by 0.9,
    a model that is off by `STEPS` in source resistance moves n/eta by 0.9 of that, and headroom not at all."""
    assert found.fitted is not None
    parameters, solution = found.fitted.parameters, found.fitted.solution
    covariance = np.eye(len(parameters)) * 1e-8
    names = ("stiffness_ohm", "reservoir_f", "input_ratio", "headroom_v")
    places = [parameters.place(name) for name in names]
    sd = [0.01 / parameters.each[place].spread for place in places]
    correlated = np.eye(4)
    correlated[0, 2] = correlated[2, 0] = 0.9
    covariance[np.ix_(places, places)] = correlated * np.outer(sd, sd)
    fitted = replace(found.fitted, solution=replace(solution, covariance=covariance))
    told = {each.name: each.expanded_uncertainty / each.value / 2.0 for each in quantities(fitted)}
    assert told["rail_stiffness"] == pytest.approx(np.hypot(0.01, STEPS), rel=1e-3)
    assert told["reservoir"] == pytest.approx(np.hypot(0.01, STEPS), rel=1e-3)
    assert told["input_ratio"] == pytest.approx(np.hypot(0.01, 0.9 * STEPS), rel=1e-3)
    assert told["headroom"] == pytest.approx(0.01, rel=1e-3)


def test_a_top_that_the_generator_may_have_bent_tells_less_of_how_clipping_sets_in(found: Examination) -> None:
    """Less than if its third harmonic were known, here of an amplifier like this one whose clipping sets in softly."""
    assert found.fitted is not None
    parameters, forward = found.fitted.parameters, found.fitted.forward
    knee, third = parameters.place("knee"), parameters.place("third")
    soft = found.fitted.solution.coordinates.copy()
    soft[knee] = 0.05 / parameters.each[knee].spread
    _, slopes = forward.jacobian(soft, np.ones(forward.values))
    normal = slopes.T @ slopes + np.eye(len(parameters))
    variance = np.linalg.inv(normal)[knee, knee]
    normal[third, third] += 1e12
    assert variance > 1.05 * np.linalg.inv(normal)[knee, knee]


def test_how_clipping_sets_in_is_no_surer_than_another_form_of_bend_lets_it_be(found: Examination) -> None:
    assert found.fitted is not None
    parameters, solution = found.fitted.parameters, found.fitted.solution
    knee = parameters.place("knee")
    soft = solution.coordinates.copy()
    soft[knee] = 0.05 / parameters.each[knee].spread
    sure = replace(solution, coordinates=soft, covariance=1e-12 * np.eye(len(parameters)), held=())
    told = next(each for each in quantities(replace(found.fitted, solution=sure)) if each.name == "knee")
    assert told.value == pytest.approx(0.05)
    assert told.expanded_uncertainty == pytest.approx(2.0 * BEND * 0.05, rel=1e-3)


def with_bursts_off(fitted: Fitted, part: float) -> Fitted:
    """As if so much of what each burst takes from the supply were unexplained."""

    def off(misfit: Misfit) -> Misfit:
        if misfit.take.shape != "burst" or misfit.signal != CURRENT:
            return misfit
        item = misfit.take.items[CURRENT]
        most_a = float(np.abs(item.values - item.values[0]).max())
        return replace(misfit, mean_square=(part * most_a) ** 2 / float(np.mean(item.noise**2)))

    return replace(fitted, misfits=tuple(map(off, fitted.misfits)))


def test_the_terminal_says_what_is_told_and_why_the_rest_is_not(
    monkeypatch: pytest.MonkeyPatch, found: Examination, folder: Path
) -> None:
    monkeypatch.setattr("benchctl.fit.examination.examine", lambda _path: found)
    ran = CliRunner().invoke(fit, [str(folder)], standalone_mode=False)
    assert ran.return_value == 0
    assert "Simulated, no measurement." in ran.output
    assert "reservoir of the rails, both as one" in ran.output
    assert " mF" in ran.output
    assert "Untold, because at one supply voltage" in ran.output


def test_a_folder_without_its_amplifier_file_is_said_to_be_not_whole(tmp_path: Path) -> None:
    (tmp_path / "journal.jsonl").write_text("", encoding="utf-8")
    with pytest.raises(ArchiveError, match=r"not a whole run folder: it holds no inputs/amplifier\.yaml"):
        CliRunner().invoke(fit, [str(tmp_path)], standalone_mode=False, catch_exceptions=False)


def test_the_data_hold_no_value_of_what_is_untold(
    monkeypatch: pytest.MonkeyPatch, found: Examination, folder: Path
) -> None:
    monkeypatch.setattr("benchctl.fit.examination.examine", lambda _path: found)
    ran = CliRunner().invoke(fit, [str(folder), "--json"], standalone_mode=False)
    data = json.loads(ran.output)
    untold = [each for each in data["quantities"] if each["untold"]]
    assert untold
    assert all(each["value"] is None for each in untold)


def test_the_same_run_has_not_changed_since(found: Examination) -> None:
    assert changes(found, found) == ()


def test_an_aged_reservoir_is_told_with_both_values(found: Examination) -> None:
    reservoir = told(found, "reservoir")
    aged = replace(
        found,
        quantities=tuple(
            replace(each, value=0.4 * each.value) if each is reservoir else each for each in found.quantities
        ),
    )
    (change,) = changes(found, aged)
    assert change.quantity.name == "reservoir"
    assert "(60 % less); it may be that capacitors of the reservoir have aged" in change.sentence


def test_the_terminal_begins_with_the_diagnosis_and_lists_where_no_change_is_seen(
    monkeypatch: pytest.MonkeyPatch, found: Examination, folder: Path
) -> None:
    monkeypatch.setattr("benchctl.fit.examination.examine", lambda _path: found)
    ran = CliRunner().invoke(fit, [str(folder), "--before", str(folder)], standalone_mode=False)
    assert "Diagnosis: nothing that aged was seen; untold: " in ran.output
    assert "Not seen: joints that open when they are warm" in ran.output
    assert "No change seen beyond the uncertainty of both runs:" in ran.output


def test_bursts_and_tones_of_two_minutes_tell_nothing_of_the_heatsink(found: Examination) -> None:
    for name in HEAT:
        assert told(found, name).untold
