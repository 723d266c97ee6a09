"""All through a run the heatsink's sensor must show that the heatsink warms."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Hold, Set
from benchctl.errors import InstrumentsDisagree
from tests.runner.rig import AT_4_OHM, POWER_ON, Edits, Rig, files, rig

SEED = "  seed: 2150\n"


def fault(words: str) -> Edits:
    return {SEED: f"{SEED}  faults:\n    - {{{words}}}\n"}


def play(bench: Rig, for_s: float) -> None:
    """80 W into each load: the HX 2150 then warms by 20 K in two minutes."""
    bench.begin()
    bench.do(POWER_ON, AT_4_OHM, Set(level=Level(0.56)), Hold(for_s=for_s))


@pytest.mark.parametrize(
    ("words", "cause"),
    [
        ("kind: sensor fell off, at: 150 s", "it fell off"),
        ("kind: swapped, instrument: thermometer, between: [heatsink, ambient], at: 0 s", "changed places"),
    ],
)
def test_a_sensor_that_is_not_on_the_heatsink_stops_the_run_while_that_is_far_from_its_maximum(
    tmp_path: Path, words: str, cause: str
) -> None:
    with rig(tmp_path, files("power_off", bench=fault(words))) as bench:
        with pytest.raises(InstrumentsDisagree, match="the sensor 'heatsink' rose by") as stopped:
            play(bench, 600.0)
        assert cause in stopped.value.advice
        assert bench.connections.heatsink_c < 70.0  # of 85


def test_a_sensor_that_follows_is_compared_once_and_said_to_agree(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        play(bench, 150.0)
        (found,) = [event for event in bench.events("figures") if event["analysis"] == "check_warmth"]
        assert not bench.run.contradictions
    (comparison,) = found["comparisons"]
    assert comparison["quantity"] == "heatsink temperature"
