"""measure_turn_on on the simulated bench: a thump of known peak and decay, and the inrush of its reservoir."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.measured import Measured, hazards_of, measured, within_uncertainty
from tests.runner.rig import Edits

TURN_ON_V, TURN_OFF_V, TAU_S, LOAD_OHM = 1.8, -0.9, 0.03, 4.013


def thumping(turn_on_v: float = TURN_ON_V) -> Edits:
    thump = f"thump: {{turn_on: {turn_on_v} V, turn_off: {TURN_OFF_V} V, time_constant: {TAU_S} s}}"
    return {"  turn_on_delay: 1.5 s": f"  turn_on_delay: 1.5 s\n  imperfections: {{{thump}}}"}


@pytest.fixture(scope="module")
def thumps(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(tmp_path_factory.mktemp("run"), "measure_turn_on", "measure_idle: {for: 1 s}", amplifier=thumping())


def test_the_thumps_have_their_peaks(thumps: Measured) -> None:
    """Behind a load of 4 ohm, over half a period of 20 kHz, which a thump of 30 ms does not notice."""
    assert within_uncertainty(thumps.figure("turn_on_thump", "A"), TURN_ON_V)
    assert within_uncertainty(thumps.figure("turn_off_thump", "B"), -TURN_OFF_V)


def test_the_energy_of_a_thump_is_that_of_its_decay(thumps: Measured) -> None:
    """V^2 tau / 2 R of an exponential."""
    assert within_uncertainty(thumps.figure("turn_on_thump_energy", "A"), TURN_ON_V**2 * TAU_S / 2.0 / LOAD_OHM)


def test_the_inrush_is_more_than_the_amplifier_draws_afterwards(thumps: Measured) -> None:
    inrush = thumps.figure("inrush_current")
    assert inrush.bound == ""
    assert inrush.value > 3.0 * thumps.figure("idle_current").value


def test_the_amplifier_is_awake_again(thumps: Measured) -> None:
    assert thumps.outcome.error is None
    assert thumps.figure("idle_current").value > 1.0
    assert thumps.verification.agrees
    assert thumps.expected_s("measure_turn_on") == pytest.approx(thumps.took_s["measure_turn_on"], rel=0.15)


def test_an_amplifier_that_does_not_thump_is_known_to_by_a_bound(tmp_path: Path) -> None:
    silent = measured(tmp_path, "measure_turn_on: {expected: 1 V}")
    for name in ("turn_on_thump", "turn_off_thump"):
        figure = silent.figure(name, "A")
        assert (figure.bound, figure.value < 0.05) == ("at most", True)
    assert not silent.figures("turn_on_thump_energy")


def test_a_thump_beyond_its_range_is_recorded_again_on_a_wider_one(tmp_path: Path) -> None:
    run = measured(tmp_path, "measure_turn_on: {expected: 1 V, rest: 1 s}", amplifier=thumping(8.0))
    assert within_uncertainty(run.figure("turn_on_thump", "A"), 8.0)
    records = [event for event in run.events if event["event"] == "capture" and "turn-on" in event["file"]]
    assert len(records) == 1  # the clipped ones are none


def test_preflight_refuses_a_lead_that_a_hand_switches() -> None:
    by_hand = {"remote_turn_on: {by: supply, output: remote, voltage: 12 V}": "remote_turn_on: {by: hand}"}
    assert any(
        "no record can wait for a hand" in hazard
        for hazard in hazards_of("measure_turn_on", bench=by_hand, unattended=False)
    )
