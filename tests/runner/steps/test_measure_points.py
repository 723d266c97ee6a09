"""measure_points: a multimeter at named points, by its scanner or in a person's hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchmarks.forms.multimeters import Form
from tests.runner.rig import POWER_ON_LINE, Edits, Files, Rig, files, rig

SCANNER = Form("measure_and_configure", "multimeter/scpi99_scanner", scanner=True).edits()
BY_HAND = Form("measure_and_configure", "multimeter/scpi99").edits()
RAILS = "measure_points: {points: [rail plus, rail minus]}"


def with_steps(*steps: str, bench: Edits = SCANNER) -> Files:
    return files(*steps, bench=bench)


def true_bias_v(bench: Rig) -> float:
    """Ohm's law: 0.33 ohm and the idle current of one channel, as the simulated amplifier has it."""
    return 0.33 * float(bench.connections.physics.bias_current_a)


def test_bias_and_rails_of_an_idling_amplifier_lie_within_their_uncertainty(tmp_path: Path) -> None:
    with rig(tmp_path, with_steps("set: {load: 4 ohm}", POWER_ON_LINE, "measure_points", "power_off")) as bench:
        assert bench.execute().error is None
        bias = bench.figures("dc_voltage")["bias A"]
        assert bias.expanded_uncertainty is not None
        assert bias.expanded_uncertainty < 1e-4
        assert abs(bias.value - true_bias_v(bench)) < bias.expanded_uncertainty
        plus, minus = (bench.figures("dc_voltage")[f"rail {which}"].value for which in ("plus", "minus"))
        assert plus == pytest.approx(bench.connections.physics.rail_v, rel=0.02)
        assert minus == pytest.approx(-plus, rel=0.005)
        assert bench.figures("ac_voltage")["mains"].value == pytest.approx(230.0, rel=0.006)
        assert bench.figures("temperature")["output stage"].value == pytest.approx(23.0, abs=2.0)


def test_uncertainty_is_that_of_the_range_in_use(tmp_path: Path) -> None:
    """0.02 % of 100 mV and 0.05 % of 36 mV, each a rectangle: U = 2·sqrt(20² + 18²)/sqrt(3) uV (JCGM 100, 4.3.7)."""
    with rig(tmp_path, with_steps(POWER_ON_LINE, "measure_points: {points: [bias A]}")) as bench:
        bench.execute()
        assert bench.figures("dc_voltage")["bias A"].expanded_uncertainty == pytest.approx(31e-6, rel=0.05)


def test_criteria_hold_at_every_point_of_the_step(tmp_path: Path) -> None:
    steps = (POWER_ON_LINE, "measure_points: {points: [rail plus, rail minus], expect: {dc_voltage: above 30 V}}")
    with rig(tmp_path, with_steps(*steps)) as bench:
        bench.execute()
        verdicts = {name: figure.verdict for name, figure in bench.figures("dc_voltage").items()}
        assert verdicts == {"rail plus": "passes", "rail minus": "fails"}


def test_a_person_is_asked_to_put_the_leads_to_each_point(tmp_path: Path) -> None:
    with rig(tmp_path, with_steps(POWER_ON_LINE, RAILS, bench=BY_HAND)) as bench:
        bench.run.hands = bench.simulated
        bench.execute()
        asked = [request for request in bench.audience.requests if "multimeter" in request]
        assert asked == [
            f"Put the multimeter's leads onto rail {which}, to measure its dc voltage. "
            "The amplifier is on, without a signal"
            for which in ("plus", "minus")
        ]
        plus, minus = (bench.figures("dc_voltage")[f"rail {which}"].value for which in ("plus", "minus"))
        assert plus > 30
        assert minus < -30


def test_leads_that_touch_nothing_are_told_of(tmp_path: Path) -> None:
    with rig(tmp_path, with_steps(POWER_ON_LINE, RAILS, bench=BY_HAND)) as bench:
        bench.execute()  # nobody has put the leads anywhere
        assert sum("look whether its leads touch the point" in note for note in bench.audience.notes) == 2


def test_nothing_drives_the_amplifier_meanwhile(tmp_path: Path) -> None:
    steps = (POWER_ON_LINE, "set: {load: 4 ohm, frequency: 1 kHz, level: 100 mV}", RAILS)
    with rig(tmp_path, with_steps(*steps)) as bench:
        bench.execute()
        (measured,) = (event for event in bench.events("figures") if event["analysis"] == "points")
        assert measured["conditions"]["drive"] == "undriven"


def test_a_reading_beyond_the_range_of_its_point_gives_no_figure(tmp_path: Path) -> None:
    edits = {**BY_HAND}
    (entry,) = [old for old in edits if old.startswith("signals")]
    edits[entry] = edits[entry].replace("rail plus: {measures: dc voltage, range: 100 V",
                                        "rail plus: {measures: dc voltage, range: 10 V")  # fmt: skip
    edits[entry] = edits[entry].replace("multimeter/scpi99", "multimeter/configure_and_read")
    with rig(tmp_path, with_steps(POWER_ON_LINE, RAILS, bench=edits)) as bench:
        bench.run.hands = bench.simulated
        bench.execute()
        assert list(bench.figures("dc_voltage")) == ["rail minus"]
        assert any("beyond the range of 10 V" in note for note in bench.audience.notes)


def test_a_point_that_cannot_be_read_is_told_and_the_others_have_their_figures(tmp_path: Path) -> None:
    with rig(tmp_path, with_steps(POWER_ON_LINE, RAILS)) as bench:
        bench.taps.forge("multimeter", "(@102)", "9.9E37")
        bench.execute()
        assert list(bench.figures("dc_voltage")) == ["rail minus"]
        assert any(note.startswith("rail plus could not be read") for note in bench.audience.notes)


@pytest.mark.parametrize(
    ("bench", "steps", "words"),
    [
        (BY_HAND, (POWER_ON_LINE, RAILS), "rail plus and rail minus, and nobody is present in an unattended run"),
        (
            SCANNER,
            (POWER_ON_LINE, "measure_points: {points: [bias B]}"),
            "has no point bias B; the bench file has bias",
        ),
        ({}, (POWER_ON_LINE, RAILS), "needs a multimeter, and the bench file has none"),
    ],
)
def test_preflight_refuses_what_cannot_be_measured(bench: Edits, steps: tuple[str, ...], words: str) -> None:
    these = with_steps(*steps, bench=bench)
    plan = expand(these.sequence, these.amplifier, these.bench)
    assert any(words in hazard for hazard in preflight(these, plan, unattended=True).hazards)


def test_preflight_refuses_to_measure_a_resistance_while_the_amplifier_is_on() -> None:
    points = {"fuse": "measures: resistance, range: 100 ohm"}
    bench = Form("measure_and_configure", "multimeter/scpi99_scanner", points, scanner=True).edits()
    named = "measure_points: {points: [fuse]}"
    # A step that names no points leaves it out.
    trials = (
        ((named, POWER_ON_LINE), False),
        ((POWER_ON_LINE, named), True),
        ((POWER_ON_LINE, "measure_points"), False),
    )
    for steps, refused in trials:
        these = with_steps(*steps, bench=bench)
        plan = expand(these.sequence, these.amplifier, these.bench)
        hazards = preflight(these, plan, unattended=False).hazards
        assert any("may damage the multimeter" in hazard for hazard in hazards) is refused
