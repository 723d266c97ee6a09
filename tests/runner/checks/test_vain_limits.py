"""A limit that can never trip is warned of; one that is right for amplifier, bench and sequence is not.

The bench is the workshop's (supply 20 V, 120 A), the amplifier the HX 2150 (fuse 80 A, heatsink up to 85 degC, up to
16 V, 150 W into 4 ohm), the run a little more than a minute long.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.launch.run import Documents
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand

POWER_ON = "power_on: {voltage: 14.4 V, current_limit: 80 A%s}"


def looked_at(folder: Path, limits: str = "{}", protection: str = "") -> Preflight:
    path = folder / "sequence.yaml"
    steps = f"  - {POWER_ON % protection}\n  - hold: {{for: 1 min}}\n  - power_off\n"
    path.write_text(f"benchctl: sequence 1\ntitle: Limits\nlimits: {limits}\nsteps:\n{steps}")
    files = Documents(path, "workshop", "hx2150").load()
    return preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)


@pytest.mark.parametrize(
    ("limits", "why"),
    [
        (
            "{supply_current: {above: 1e6 A}}",
            "the supply gives up to 120 A, and the amplifier's fuse is 80 A; give less",
        ),
        ("{supply_voltage: {above: 48 V}}", "the supply gives up to 20 V; give less than 20 V"),
        ("{supply_voltage: {below: 0 V}}", "no reading is below 0 V"),
        ("{supply_outputs: {remote: {current: {above: 5 A}}}}", "the supply gives up to 1 A; give less than 1 A"),
        ("{heatsink: {above: 400 degC}}", "the amplifier's maximum of 85 degC stops the run before; give less than 85"),
        ("{ambient: {above: 150 degC}}", "nothing there gets hotter than 100 degC"),
        ("{load: {above: 400 degC}}", "nothing there gets hotter than 350 degC"),
        ("{heatsink: {rising: 1000 K/min}}", "nothing on a bench warms faster than 600 K/min"),
        ("{output_offset: {outside: 100 V}}", "no output and no probe reaches"),
        ("{supply_current: {above: 90 A, for: 1000 s}}", "it must stay passed for 1 ks, and the whole run takes"),
    ],
)
def test_a_limit_that_can_never_trip_is_warned_of(limits: str, why: str, tmp_path: Path) -> None:
    (warning,) = looked_at(tmp_path, limits).warnings
    assert warning.startswith("the sequence limits ")
    assert f"which can never trip: {why}" in warning


@pytest.mark.parametrize(
    "limits",
    [
        "{supply_current: {above: 119 A, for: 10 s}, supply_voltage: {below: 10.5 V, above: 16 V}}",
        "{heatsink: {above: 85 degC, rising: 20 K/min}, load: {above: 300 degC}, ambient: {above: 45 degC}}",
        "{output_offset: {outside: 4 V, for: 5 s}, supply_current: {outside: 80 A}}",
        "{supply_outputs: {remote: {current: {above: 500 mA}, voltage: {below: 9 V}}}}",
    ],
)
def test_a_limit_that_can_trip_is_none_to_warn_of(limits: str, tmp_path: Path) -> None:
    assert looked_at(tmp_path, limits).warnings == ()


def test_over_voltage_protection_above_what_the_amplifier_bears_is_refused(tmp_path: Path) -> None:
    (hazard,) = looked_at(tmp_path, protection=", overvoltage: 17 V").hazards
    assert "over-voltage protection at 17 V does not protect an amplifier that bears 16 V" in hazard
    assert looked_at(tmp_path, protection=", overvoltage: 16 V").hazards == ()


def test_switching_on_in_every_turn_without_switching_off_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "sequence.yaml"
    step = f"      - {POWER_ON % ''}\n"
    path.write_text(
        f"benchctl: sequence 1\ntitle: Twice\nsteps:\n  - repeat: {{times: 2}}\n    steps:\n{step}  - power_off\n"
    )
    files = Documents(path, "workshop", "hx2150").load()
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    assert any("the amplifier is on already, since 1.1 power_on" in hazard for hazard in checked.hazards)
