"""A run that goes on in a step whose figures it has already leaves the bench as that step would have."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.measure.conditions import Conditions
from benchctl.runner.engine.execute import execute
from benchctl.runner.engine.progress import Progress, progress_of
from tests.runner.rig import POWER_ON, POWER_ON_LINE, Rig, files, rig

RAMP = "ramp_supply: {voltage: 14.4 V, current_limit: 5 A, step: 4 V, dwell: 2 s}"
HAS_FIGURES: frozenset[int | None] = frozenset({None})


def go_on(rig: Rig, progress: Progress) -> None:
    execute(rig.plan, rig.run, progress)


def test_an_amplifier_that_was_being_brought_up_is_brought_up_again(tmp_path: Path) -> None:
    with rig(tmp_path, files(RAMP, "measure_idle: {for: 1 s}", "power_off")) as it:
        go_on(it, Progress(next_index=0, already=HAS_FIGURES))
        assert not it.figures("ramp_voltage")
        assert 1.5 < it.figures("idle_current")[""].value < 1.9


def test_a_tone_that_was_set_before_a_measurement_is_muted_after_it(tmp_path: Path) -> None:
    steps = ("power_on: {voltage: 14.4 V, current_limit: 90 A}", "set: {load: 4 ohm, frequency: 1 kHz, level: 200 mV}")
    with rig(tmp_path, files(*steps, "measure_noise", "hold: {for: 1 s}", "require: {output_noise: below 1 V}")) as it:
        left = Conditions(load_ohm=4.0, level_v=0.2, drive="set", supply_set_v=14.4, driven=("A", "B"))
        progress = Progress(next_index=2, power_on=POWER_ON, conditions=left, already=HAS_FIGURES)
        go_on(it, progress)
        assert not it.connections.drive.output_on


@pytest.mark.parametrize("reading", ["99", "9.9E37"])
def test_nothing_is_switched_on_again_while_the_heatsink_is_too_hot_or_cannot_be_read(
    tmp_path: Path, reading: str
) -> None:
    """A run that is gone on with does not know what has become of the amplifier meanwhile."""
    with rig(tmp_path, files(POWER_ON_LINE, "measure_idle: {for: 1 s}", "power_off")) as it:
        it.taps.forge("thermometer", "(@101)", reading)
        outcome = execute(it.plan, it.run, Progress(next_index=1, power_on=POWER_ON))
        assert outcome.exit_code in {4, 5}
        assert not [text for _, text in it.taps.sent if text.endswith("OUTP ON")]


def test_figures_of_a_protection_do_not_say_that_the_step_has_its_own(tmp_path: Path) -> None:
    """A kill between the two leaves the soak to be done."""
    early = {"temperature: 95 degC, restart: 75 degC": "temperature: 30 degC, restart: 20 degC"}
    these = files(
        "power_on: {voltage: 14.4 V, current_limit: 90 A}",
        "set: {load: 4 ohm, frequency: 1 kHz}",
        "soak: {for: 10 min, level: 50 % rated}",
        "power_off",
        amplifier=early,
    )
    with rig(tmp_path, these) as it:
        it.execute()
        events = it.events()
        cut = next(n for n, event in enumerate(events) if event.get("analysis") == "protection")
        progress = progress_of(it.plan, events[: cut + 1])
        assert progress.next_index == 2
        assert progress.already == frozenset()
