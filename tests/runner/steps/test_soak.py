"""soak on the simulated bench: the simulator's heat balance predicted, its protection noticed."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.soak_figures import burst_duty
from tests.runner.measured import Measured, hazards_of, measured, within_uncertainty

# A quarter of the heatsink's capacity: it warms four times as fast.
LIGHT = {"capacity: 900 J/K": "capacity: 225 J/K"}
EARLY_PROTECTION = {**LIGHT, "temperature: 95 degC, restart: 75 degC": "temperature: 40 degC, restart: 30 degC"}
# The HX 2150 warms by 0.55 K/W above the workshop's 23 degC; both are parameters of the simulator.
AMBIENT_C, K_PER_W = 23.0, 0.55


@pytest.fixture(scope="module")
def eighth(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """An eighth of rated power, until the end is known."""
    return measured(tmp_path_factory.mktemp("run"), "soak: {for: 40 min, level: 12.5 % rated, until: within 2 K}")


def test_the_final_temperature_is_that_of_the_heat_balance(eighth: Measured) -> None:
    """Long before it is there: what the supply gives less what the loads get, times the thermal resistance."""
    supply_w = eighth.figure("supply_current").value * eighth.figure("supply_voltage").value
    heat_w = supply_w - eighth.figure("average_power", "total").value
    final = eighth.figure("final_heatsink_temperature")
    assert within_uncertainty(final, AMBIENT_C + K_PER_W * heat_w)
    assert eighth.figure("heatsink_temperature").value < final.value - 20.0


def test_a_soak_ends_as_soon_as_the_end_is_known(eighth: Measured) -> None:
    assert eighth.figure("soak_time").value < 15 * 60
    assert eighth.took_s["soak"] < 15 * 60


def test_the_time_constant_is_the_heatsinks(eighth: Measured) -> None:
    """0.55 K/W times 900 J/K is 495 s."""
    assert eighth.figure("heatsink_time_constant").value == pytest.approx(495.0, rel=0.1)


def test_an_eighth_of_150_w_is_19_w(eighth: Measured) -> None:
    """By the nominal gain; the true one is a tenth of a decibel from it."""
    assert eighth.figure("average_power", "A").value == pytest.approx(150.0 / 8.0, rel=0.03)


def test_power_falls_with_the_warming_resistor_by_no_more_than_its_coefficient(eighth: Measured) -> None:
    """60 ppm/K; nothing else of the simulated amplifier drifts at this level."""
    drift = eighth.figure("power_drift", "A")
    assert -60e-6 * 60.0 < drift.value < 0.0
    assert 0.0 < (drift.expanded_uncertainty or 0.0) < 1e-4


def test_the_fuse_bears_the_current_that_the_supply_gives(eighth: Measured) -> None:
    """80 A."""
    assert eighth.figure("fuse_load").value == pytest.approx(eighth.figure("supply_current").value / 80.0, rel=0.02)


def test_the_wait_is_told_with_the_end_and_the_time_left(eighth: Measured) -> None:
    last = eighth.told[-1]
    assert "predicted to end at" in last
    assert "min left" in last


def test_every_figure_can_be_computed_again(eighth: Measured) -> None:
    assert eighth.verification.agrees


def test_bursts_are_averaged_over_whole_repetitions(tmp_path: Path) -> None:
    """20 cycles of 1 kHz in 500 ms with 20 dB less between: 0.0496 of the burst's power (closed form)."""
    step = "soak: {for: 65 s, level: 50 % rated, cycles: 20, every: 500 ms, low_level: -20 dB}"
    burst = measured(tmp_path, step, tries_wiring=True)
    assert burst.figure("average_power", "A").value == pytest.approx(0.0496 * 75.0, rel=0.03)
    assert burst.figure("supply_current").capture
    assert burst.expected_s("soak") == pytest.approx(burst.took_s["soak"], rel=0.1)
    assert burst.verification.agrees


@pytest.fixture(scope="module")
def silenced(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    steps = ("soak: {for: 30 min, level: 30 % rated}", "measure_idle: {for: 1 s}")
    return measured(tmp_path_factory.mktemp("run"), *steps, amplifier=EARLY_PROTECTION)


def test_protection_is_noticed_with_power_temperature_and_voltage(silenced: Measured) -> None:
    """It mutes at 40 degC; 30 % of 150 W are 45 W."""
    assert within_uncertainty(silenced.figure("protection_temperature"), 40.0)
    assert silenced.figure("protection_power", "A").value == pytest.approx(45.0, rel=0.03)
    assert silenced.figure("protection_supply_voltage").value == pytest.approx(14.4, abs=0.05)
    assert silenced.figure("protection_output", "A").value < 1e-3
    assert silenced.figure("protection_time").value == pytest.approx(silenced.took_s["soak"], abs=1.0)


def test_what_was_measured_before_the_silence_counts_and_the_run_goes_on(silenced: Measured) -> None:
    assert silenced.outcome.error is None
    assert silenced.outcome.unmeasured == ()
    assert silenced.figure("supply_current_drift").value == pytest.approx(0.0, abs=0.1)
    assert silenced.figures("idle_current")
    assert any("fell silent at output A and B" in note for note in silenced.notes)
    assert silenced.verification.agrees


def test_the_run_ends_with_the_silence_if_the_sequence_asks_for_it(tmp_path: Path) -> None:
    steps = ("soak: {for: 30 min, level: 30 % rated, on_protection: end the run}", "measure_idle: {for: 1 s}")
    ended = measured(tmp_path, *steps, amplifier=EARLY_PROTECTION)
    assert "fell silent" in str(ended.outcome.error)
    assert ended.outcome.exit_code == 1
    assert ended.figures("protection_temperature")
    assert not ended.figures("idle_current")


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("soak: {for: 1 h}", "no level is given, and no find_clean_level comes before it at 4 ohm and 1 kHz"),
        ("soak: {for: 1 h, level: 50 % rated, crest_factor: 6 dB, low_level: -2 dB}", "no bursts over a rest"),
        ("soak: {for: 1 h, level: 8 V}", "a level of 8 V is more than the generator gives"),
        ("soak: {for: 1 h, level: 50 % rated, cycles: 600, every: 500 ms}", "lasts 600 ms and one begins every 500 ms"),
    ],
)
def test_preflight_refuses_what_cannot_be(step: str, words: str) -> None:
    assert any(words in hazard for hazard in hazards_of(step))


# -- music, heat, and a protection that turns down -------------------------------------------------------------------


@pytest.mark.parametrize("decibels", [6.0, 12.0])
def test_bursts_have_the_crest_factor_that_is_asked_for(tmp_path: Path, decibels: float) -> None:
    """To what a whole number of cycles in 500 ms allows, which is far less than 1 %."""
    music = measured(tmp_path, f"soak: {{for: 5 s, level: 20 % rated, crest_factor: {decibels} dB}}")
    crest = music.figure("crest_factor", "A")
    assert crest.value == pytest.approx(10 ** (decibels / 20), rel=0.01)
    assert music.verification.agrees


def test_bursts_of_a_high_tone_have_it_too(tmp_path: Path) -> None:
    """At 10 kHz, of whose top a mean over 25 us shows 0.90 at best: sin(x) / x of pi / 4."""
    music = measured(tmp_path, "set: {frequency: 10 kHz}", "soak: {for: 5 s, level: 20 % rated, crest_factor: 10 dB}")
    crest = music.figure("crest_factor", "A")
    assert crest.value == pytest.approx(10 ** (10 / 20), rel=0.01)
    assert music.verification.agrees


def test_the_duty_of_a_crest_factor_is_that_of_its_closed_form() -> None:
    """C = 2 over silence: mean square 1/4 of the squared peak, half of a steady sine's 1/2."""
    assert burst_duty(2.0, 0.0) == pytest.approx(0.5)
    # Over a rest at half the level: d + (1 - d)/4 = 1/2 gives d = 1/3.
    assert burst_duty(2.0, 0.5) == pytest.approx(1.0 / 3.0)


@pytest.mark.parametrize(("crest_factor", "low_level"), [(1.414, 0.1), (2.0, 0.8)])
def test_no_bursts_have_the_crest_factor_of_a_sine_or_of_a_loud_rest(crest_factor: float, low_level: float) -> None:
    with pytest.raises(MeasurementError, match="no bursts"):
        burst_duty(crest_factor, low_level)


def test_a_drive_ends_with_its_figures_where_the_heatsink_is_warm_enough(tmp_path: Path) -> None:
    warm = measured(tmp_path, "soak: {for: 30 min, level: 30 % rated, heatsink: below 35 degC}")
    assert warm.outcome.error is None
    assert within_uncertainty(warm.figure("heatsink_temperature"), 35.0, factor=1.5)
    assert warm.figure("soak_time").value < 5 * 60
    (early,) = warm.outcome.early_ends
    assert early.startswith("3 soak: the drive ends after ")
    assert " of 30 min: the heatsink is at 35" in early
    (finished,) = [each for each in warm.events if each["event"] == "step finished" and each["step"] == "3 soak"]
    assert early == f"3 soak: {finished['ended_early']}"
    assert finished["ended_early"] in warm.notes


def test_a_drive_ends_on_time_whatever_rounding_leaves_of_it(tmp_path: Path) -> None:
    """Forty seconds in steps that do not add up to them exactly, begun at no round time."""
    steps = ("hold: {for: 333 ms}", "soak: {for: 40 s, level: 1 % rated}")
    assert measured(tmp_path, *steps).took_s["soak"] == pytest.approx(40.0, rel=0.04)


@pytest.fixture(scope="module")
def folding(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """The gain falls evenly from 1 at 35 degC to a half at 45 degC."""
    early = {
        **LIGHT,
        "temperature: 95 degC, restart: 75 degC": "temperature: 45 degC, restart: 40 degC,"
        " fold_back: 35 degC, fold_back_to: -6 dB",
    }
    return measured(tmp_path_factory.mktemp("run"), "soak: {for: 3 min, level: 30 % rated}", amplifier=early)


def test_an_amplifier_that_turns_itself_down_is_noticed_once(folding: Measured) -> None:
    assert len(folding.figures("fold_back_time")) == 1
    assert any("turned output A and B down" in note for note in folding.notes)
    assert folding.outcome.error is None
    assert folding.verification.agrees


def test_the_gain_it_folded_back_to_is_that_of_its_temperature(folding: Measured) -> None:
    """1 at 35 degC and half at 45 degC, evenly between; over the gain of the record before."""
    temperature_c = folding.figure("fold_back_temperature").value
    gain, power = folding.figure("fold_back_gain", "A").value, folding.figure("fold_back_power", "A").value
    assert 35.0 < temperature_c < 46.0
    true = 1.0 - 0.05 * (temperature_c - 35.0)
    assert power == pytest.approx(45.0 * true**2, rel=0.1)
    assert true * 0.9 < gain < 0.9


# -- what is held all through a tone ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def held(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """Half of rated power by the plate's gain, which the amplifier has half a decibel less of."""
    step = "soak: {for: 100 s, level: 50 % rated, adjust: yes, expect: {ambient_temperature: above 25 degC}}"
    return measured(tmp_path_factory.mktemp("run"), step, amplifier={"  gain: 31.9 ": "  gain: 29.9 "})


def test_an_adjusted_level_surely_gives_the_power_that_is_asked_for(held: Measured) -> None:
    """75 W, the uncertainty included, of the channel that gives least, and little more."""
    least = min(held.figures("held_power"), key=lambda figure: figure.value)
    surely_w = least.value - (least.expanded_uncertainty or 0.0)
    assert 75.0 <= surely_w <= 75.0 * 1.01


def test_records_are_kept_all_through_a_tone_its_end_included(held: Measured) -> None:
    kept = [event["file"] for event in held.events if event["event"] == "capture" and "soak" in event["file"]]
    assert len(kept) == 5  # the first, three each half minute, the last
    assert held.verification.agrees


def test_the_coldest_air_of_the_drive_is_held_against_what_is_asked(held: Measured) -> None:
    """The workshop has 23 degC."""
    air = held.figure("ambient_temperature")
    assert within_uncertainty(air, AMBIENT_C)
    assert air.verdict == "fails"


def test_a_level_is_raised_by_0_7_decibels_at_most_and_the_plate_then_says_that_it_fails(tmp_path: Path) -> None:
    """A gain control 3 dB down: what is held is 2.3 dB below the rating."""
    weak = measured(
        tmp_path, "soak: {for: 5 s, level: 100 % rated, adjust: yes}", amplifier={"  gain: 31.9 ": "  gain: 22.4 "}
    )
    assert weak.figure("held_power", "A").verdict == "fails"
    assert weak.figure("held_power", "A").value == pytest.approx(150.0 / 10**0.23, rel=0.03)
    assert weak.figure("held_thd_n", "A").verdict == "passes"


def test_a_sound_amplifier_is_not_driven_into_clipping_because_its_power_is_not_known_well(tmp_path: Path) -> None:
    """An oscilloscope of 4 % knows power to 10 %, and the HX 2150 has 7 % in hand into 4 ohm, 161 W at 1 %."""
    coarse = {"voltage: {reading: 0.5 %, range: 0.1 %}": "voltage: {reading: 4 %, range: 1 %}"}
    unsure = measured(tmp_path, "soak: {for: 5 s, level: 100 % rated, adjust: yes}", bench=coarse)
    verdicts = {name: {each.verdict for each in unsure.figures(name)} for name in ("held_power", "held_thd_n")}
    assert verdicts == {"held_power": {"inconclusive"}, "held_thd_n": {"passes"}}
    assert min(figure.value for figure in unsure.figures("held_power")) == pytest.approx(150.0 * 1.005, rel=2e-3)
    assert any("where the power is surely as high as asked for, distortion is " in note for note in unsure.notes)


def test_air_that_nothing_measures_is_said_where_it_is_asked_for(tmp_path: Path) -> None:
    step = "soak: {for: 2 s, level: 10 % rated, expect: {ambient_temperature: above 25 degC}}"
    silent = measured(tmp_path, step, bench={"channels: {heatsink: 101, ambient: 102,": "channels: {heatsink: 101,"})
    assert any("nothing measures the air around the bench, which is to be above 25 degC" in n for n in silent.notes)
    assert not silent.figures("ambient_temperature")
