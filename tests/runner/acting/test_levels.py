"""A level in watts, as part of rated power or in dB below the clean level drives the amplifier to what it says.

The HX 2150: 30 dB by its plate, 31.9 (30.08 dB) in truth, so a power by the nominal gain comes out 1.8 % higher.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.runner.checks.test_preflight import FIND, SET_4_OHM, checked
from tests.runner.rig import POWER_ON_LINE, Rig, files, rig

GAIN_OFF = (31.9 / 10.0**1.5) ** 2


def power_w(folder: Path, *steps: str) -> float:
    """The last continuous power of output A."""
    with rig(folder, files(POWER_ON_LINE, SET_4_OHM, *steps, "power_off")) as bench:
        assert bench.execute().error is None
        return last_power_w(bench)


def last_power_w(bench: Rig) -> float:
    return bench.figures("continuous_power")["A"].value


@pytest.mark.parametrize(("level", "wanted_w"), [("1 W", 1.0), ("50 W", 50.0), ("12.5 % rated", 18.75)])
def test_a_power_is_what_comes_out_by_the_nominal_gain(tmp_path: Path, level: str, wanted_w: float) -> None:
    """150 W are rated into 4 ohm. The output resistance of 20 mohm takes 1 % of what the gain adds."""
    measured_w = power_w(tmp_path, f"measure_continuous: {{for: 1 s, level: {level}}}")
    assert measured_w == pytest.approx(GAIN_OFF * wanted_w, rel=0.03)


def test_a_level_in_db_below_the_clean_one_follows_from_what_was_found(tmp_path: Path) -> None:
    """10 dB less voltage is a tenth of the power."""
    steps = (FIND, "measure_continuous: {for: 1 s}", "measure_continuous: {for: 1 s, level: -10 dB clean}")
    with rig(tmp_path, files(POWER_ON_LINE, SET_4_OHM, *steps, "power_off")) as bench:
        assert bench.execute().error is None
        clean_w, below_w = (
            figure.value for figure in bench.run.measured if (figure.name, figure.channel) == ("continuous_power", "A")
        )
    assert below_w == pytest.approx(clean_w / 10.0, rel=0.02)


def test_a_sweep_over_levels_in_watts_names_its_points(tmp_path: Path) -> None:
    sweep = "sweep: {level: [1 W, 2 W]}\n    steps: [{measure_continuous: {for: 1 s}}]"
    with rig(tmp_path, files(POWER_ON_LINE, SET_4_OHM, sweep, "power_off")) as bench:
        assert bench.execute().error is None
        assert "3.1 measure_continuous [2 W]" in bench.audience.started_steps
        assert last_power_w(bench) == pytest.approx(2.0 * GAIN_OFF, rel=0.03)
        levels_v = [figure["conditions"]["level_v"] for figure in bench.events("figures")]
    assert levels_v[-1] == pytest.approx(math.sqrt(2.0 * 4.0) / 10.0**1.5)


def test_after_a_hand_has_set_the_gain_a_power_follows_from_that(tmp_path: Path) -> None:
    """At 24 dB a watt takes twice the level."""
    steps = ("set_gain: {gain: 24 dB, on_timeout: end the run}", "measure_continuous: {for: 1 s, level: 1 W}")
    down = 10.0 ** (24.0 / 20.0) / 31.9
    with rig(tmp_path, files(POWER_ON_LINE, SET_4_OHM, *steps, "power_off")) as bench:
        bench.at(10.0, lambda: bench.simulated.turn({"A": down, "B": down}))
        assert bench.execute().error is None
        assert last_power_w(bench) == pytest.approx(1.0, rel=0.05)


@pytest.mark.parametrize(
    ("steps", "says"),
    [
        (
            (SET_4_OHM, "measure_continuous: {level: -10 dB clean}"),
            "the level is -10 dB clean, and no find_clean_level",
        ),
        (("set: {level: 1 W}",), "no load is connected, and a level of 1 W needs one"),
        (("set: {load: 4 ohm, level: -3 dB clean}",), "no frequency is set, and a level of -3 dB clean needs one"),
        ((SET_4_OHM, "set: {level: 90 % rated}"), "a level of 7.348 V is more than the generator gives"),
    ],
)
def test_a_level_that_cannot_be_known_or_given_is_refused_beforehand(steps: tuple[str, ...], says: str) -> None:
    """90 % of 150 W into 4 ohm are 23.24 V, which 10 dB of gain want 7.35 V for."""
    weak = {"gain: 30 dB": "gain: 10 dB"} if "rated" in steps[-1] else {}
    found = checked(POWER_ON_LINE, *steps, "power_off", amplifier=weak).hazards
    assert any(says in text for text in found), found


def test_a_level_below_the_clean_one_is_expected_to_draw_less() -> None:
    full, below = (
        checked(POWER_ON_LINE, SET_4_OHM, FIND, f"measure_continuous: {{{level}}}", "power_off")
        for level in ("for: 5 s", "for: 5 s, level: -10 dB clean")
    )
    assert below.worst_cases[3].load_w == pytest.approx(full.worst_cases[3].load_w / 10.0)
    assert below.expected_steps[3].peak_a < full.expected_steps[3].peak_a
