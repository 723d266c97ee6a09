"""What a step sets must be what the instrument takes, by the limits of its driver file."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl import library
from benchctl.launch.run import Documents
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand

DRIVERS = {
    "generator/scpi99": "limits: {frequency: [10 Hz, 5 kHz], level: [10 mV, 3 V]}",
    "supply/scpi99_watchdog": "limits: {voltage: [1 V, 15 V], current_limit: [1 A, 95 A]}",
}
POWER_ON = "  - power_on: {voltage: 14.4 V, current_limit: 90 A}\n"


def hazards(folder: Path, steps: str) -> str:
    bench = library.find("benches", "workshop").read_text(encoding="utf-8")
    for name, limits in DRIVERS.items():
        own = f"./{name.replace('/', '_')}.yaml"
        (folder / own).write_text(f"benchctl: driver 1\ntitle: Limited\nbased_on: {name}\n{limits}\n", encoding="utf-8")
        bench = bench.replace(f"driver: {name}\n", f"driver: {own}\n")
    (folder / "bench.yaml").write_text(bench, encoding="utf-8")
    (folder / "sequence.yaml").write_text(f"benchctl: sequence 1\ntitle: T\nsteps:\n{steps}", encoding="utf-8")
    files = Documents(folder / "sequence.yaml", str(folder / "bench.yaml"), "hx2150").load()
    looked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    return "\n".join(str(hazard) for hazard in looked.hazards)


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        (POWER_ON + "  - set: {frequency: 8 kHz}\n", "frequency 8 kHz is not what the generator takes"),
        ("  - power_on: {voltage: 15.5 V, current_limit: 90 A}\n", "voltage 15.5 V is not what the supply takes"),
        ("  - power_on: {voltage: 14.4 V, current_limit: 96 A}\n", "current limit 96 A is not what the supply takes"),
        (
            POWER_ON + "  - set: {load: 4 ohm, frequency: 1 kHz}\n  - find_clean_level: {to: 4 V}\n",
            "level 4 V is not what the generator takes",
        ),
    ],
)
def test_a_setting_outside_of_them_is_refused_before_the_run(tmp_path: Path, steps: str, told: str) -> None:
    assert told in hazards(tmp_path, steps)


def test_a_setting_inside_of_them_is_not(tmp_path: Path) -> None:
    assert "takes by its driver file" not in hazards(tmp_path, POWER_ON + "  - set: {frequency: 1 kHz}\n")
