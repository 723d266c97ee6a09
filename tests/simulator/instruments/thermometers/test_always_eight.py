"""A scanner that scans by itself: what it answers is as old as its last scan."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.simulated_instruments import ThermometerSimulation
from benchctl.simulator.model.description import Spec, ThermometerDescription
from tests.simulator.talk import Room

EVERY_4_S = ThermometerSimulation(speaks="always_eight", new_reading_every_s=4.0)


def test_it_answers_its_last_scan_until_the_next_one() -> None:
    wired = ThermometerDescription({1: "load"}, Spec(fixed=1.0), noise_k=0.0, simulated=EVERY_4_S)
    room = Room(thermometer=wired)
    room.power_on(101, 102)
    room.play(0.7)
    shown = []
    for _ in range(12):
        room.wait(1.0)
        room.load.ask("ROUT:CLOS? (@101)")  # whoever asks anything brings the bench up to its time
        shown.append(float(room.thermometer.ask("T?").split()[0]))
    assert shown[-1] > shown[0] + 1.0, "it warms"
    assert len(set(shown)) == pytest.approx(12 / 4, abs=1)
