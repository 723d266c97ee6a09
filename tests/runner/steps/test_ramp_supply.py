"""ramp_supply on the simulated bench: a sound amplifier comes up, and each fault is a reason to stop."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.runner.measured import Measured, look, measured, within_uncertainty
from tests.runner.rig import Rig, files

RAMP = "ramp_supply: {voltage: 14.4 V, current_limit: 3 A, supply_current: below 2.5 A, dc_offset: within 100 mV}"


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(tmp_path_factory.mktemp("run"), "measure_idle: {for: 2 s}", power_on=RAMP)


def test_a_sound_amplifier_comes_up_to_its_voltage(sound: Measured) -> None:
    assert sound.outcome.error is None
    ramp = [figure for figure in sound.outcome.figures[:6] if figure.name == "ramp_voltage"]
    assert within_uncertainty(ramp[0], 14.4)


def test_its_idle_current_is_that_which_is_measured_afterwards(sound: Measured) -> None:
    ramped, afterwards = sound.figures("idle_current")
    assert ramped.value == pytest.approx(afterwards.value, abs=0.02)
    assert sound.figure("idle_current_rise").value < 0.05


def test_the_dc_at_the_outputs_is_the_amplifiers(sound: Measured) -> None:
    """6 mV at A, -9 mV at B."""
    at_a = [figure for figure in sound.figures("dc_offset") if figure.channel == "A"]
    assert all(within_uncertainty(figure, 6e-3) for figure in at_a)


def test_the_limits_hardware_is_set_before_the_output_goes_on(sound: Measured) -> None:
    to_supply = [text for role, text in sound.sent if role == "supply"]
    first_on = next(index for index, text in enumerate(to_supply) if "OUTP ON" in text)
    assert any("CURR:PROT" in text for text in to_supply[:first_on])
    assert any("VOLT:PROT" in text for text in to_supply[:first_on])


def test_every_figure_can_be_computed_again(sound: Measured) -> None:
    assert sound.verification.agrees


def stopped(folder: Path, **changes: object) -> Measured:
    return measured(folder, "measure_idle: {for: 1 s}", power_on=RAMP, **changes)  # type: ignore[arg-type]


def test_a_bias_beyond_the_current_limit_stops_it(tmp_path: Path) -> None:
    """260 mA of bias make 4 A of idle current; the converter never starts under 3 A.

    It tries again and again: a look may fall between two attempts, but it stops at the voltage that woke it.
    """
    run = stopped(tmp_path, amplifier={"bias_current: 110 mA": "bias_current: 260 mA"})
    assert re.search(
        r"was stopped at 10\.58 V: (the supply gives|within 30 s the current did not come to rest)",
        str(run.outcome.error),
    )
    assert "under a current limit of 3 A" in str(run.outcome.error)
    assert run.outcome.exit_code == 1
    assert run.outcome.is_safe


def test_a_current_above_its_bound_stops_it(tmp_path: Path) -> None:
    """The sound amplifier draws 1.7 A once it plays."""
    run = measured(tmp_path, power_on=RAMP.replace("below 2.5 A", "below 1.6 A"))
    assert "and must be below 1.6 A" in str(run.outcome.error)


def test_dc_at_an_output_stops_it_as_soon_as_the_amplifier_plays(tmp_path: Path) -> None:
    run = stopped(tmp_path, amplifier={"offset: {A: 6 mV": "offset: {A: 600 mV"})
    assert "was stopped at 10.58 V: the dc at output A is" in str(run.outcome.error)
    assert run.figure("dc_offset", "A").value == pytest.approx(0.6, rel=0.02)
    assert not run.figures("idle_current")


def test_a_current_that_rises_at_constant_voltage_stops_it(tmp_path: Path) -> None:
    """As a bias does that runs away: 0.1 A a second from the thirtieth second on."""

    def run_away(rig: Rig) -> None:
        def answer() -> bytes:
            is_on = rig.run.interlock.reason is None
            return f"{0.02 + 0.1 * is_on * max(rig.clock.now() - 30.0, 0.0):.4f}\n".encode()

        rig.taps.forge("supply", "MEAS:CURR?", answer)

    run = stopped(tmp_path, disturb=run_away)
    assert "the current rose from" in str(run.outcome.error)
    assert "at constant voltage" in str(run.outcome.error)
    assert run.figure("idle_current_rise").value > 0.1


def test_a_start_that_never_comes_stops_it_though_every_look_falls_between_two_attempts(tmp_path: Path) -> None:
    """As of a converter that tries once every other second: the ramp's own readings see next to nothing."""

    def hiccup(rig: Rig) -> None:
        waking: list[float] = []

        def answer() -> bytes:
            if rig.taps.to("supply").count("INST:NSEL 2;:OUTP ON") and not waking:
                waking.append(rig.clock.now())
            since_s = rig.clock.now() - waking[0] if waking else 0.0
            tries = 0.0 < since_s < 62.0 and since_s % 2.0 < 0.5
            return b"0.9\n" if tries else b"0.02\n"

        rig.taps.forge("supply", "MEAS:CURR?", answer)

    run = stopped(tmp_path, disturb=hiccup)
    assert re.search(
        r"within 30 s the current did not come to rest: in the last 4 s it went from 20 mA to 900 mA",
        str(run.outcome.error),
    )
    assert run.outcome.is_safe


@pytest.mark.parametrize(
    ("ramp", "words"),
    [
        ("ramp_supply: {voltage: 17 V, current_limit: 3 A}", "17 V is more than the amplifier bears"),
        (
            "ramp_supply: {voltage: 14.4 V, current_limit: 130 A}",
            "than the supply's output 'main' gives; stay within 120 A",
        ),
    ],
)
def test_preflight_refuses_what_cannot_be(ramp: str, words: str) -> None:
    assert any(words in hazard for hazard in look(files(ramp)).hazards)
