"""A fit to this unit makes the expected column truer, and never a hazard milder."""

from __future__ import annotations

import pytest

from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from tests.runner.acting.test_twin_watch import FITTED
from tests.runner.rig import POWER_ON_LINE, files

STEPS = (POWER_ON_LINE, "set: {load: 2 ohm, frequency: 1 kHz}", "find_clean_level: {thd_n: 1 %}")
PLATE = "rated:\n"


def checked(fitted: str) -> Preflight:
    """With a part `fitted:` and without; the plate says 250 W into 2 ohm, and 1.6 A at idle."""
    these = files(*STEPS, amplifier={PLATE: f"{fitted}{PLATE}"} if fitted else {})
    return preflight(these, expand(these.sequence, these.amplifier, these.bench), unattended=False)


def test_the_expected_current_is_that_of_the_unit_and_a_note_says_where_it_comes_from() -> None:
    """A dry run of the simulated unit draws 64.6 A into 2 ohm at 14.4 V; by the plate 60.4 A would be expected."""
    plain, fitted = checked(""), checked(FITTED)
    assert plain.expected_steps[-1].peak_a == pytest.approx(60.4, abs=0.1)
    assert fitted.expected_steps[-1].peak_a == pytest.approx(64.6, rel=0.02)
    (note,) = [each for each in fitted.notes if "reckoned from the fit" in each]
    assert "20261124-221003-burst-and-continuous-power-at-1-khz-hx-2150" in note
    assert "at 2 ohm and 14.4 V" in note
    assert not any("reckoned from the fit" in each for each in plain.notes)


def test_the_worst_case_is_the_worse_of_plate_and_fit() -> None:
    """A unit that was fitted weaker than its plate is judged by the plate; one that is stronger, by the fit."""
    plate = checked("").worst_cases[-1]
    weak = checked(FITTED.replace("headroom: {value: 39.4 V", "headroom: {value: 30 V")).worst_cases[-1]
    strong = checked(FITTED.replace("headroom: {value: 39.4 V", "headroom: {value: 60 V")).worst_cases[-1]
    assert weak.load_w == pytest.approx(plate.load_w)
    assert weak.supply_a == pytest.approx(plate.supply_a, rel=1e-3, abs=0.1)  # its idle current is a little more
    assert strong.load_w > 1.2 * plate.load_w
    assert strong.supply_a > 1.1 * plate.supply_a
