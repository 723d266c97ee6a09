"""A monitor with letters for channels and kelvin for degrees."""

from __future__ import annotations

import pytest

from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.thermometers.kelvin_by_letter import LetterThermometer
from benchctl.simulator.model.description import Spec, ThermometerDescription
from tests.simulator.benches import describe
from tests.simulator.talk import Talk


def test_each_letter_answers_its_sensor_in_kelvin_and_an_open_one_no_number() -> None:
    """23 degC is 296.15 K."""
    wired = ThermometerDescription({1: "heatsink", 2: "ambient"}, Spec(fixed=1.0), inputs=(1, 2, 3, 4))
    physical_bench = PhysicalBench(describe(thermometer=wired))
    monitor = Talk(Conversation(LetterThermometer(physical_bench, lambda: 0.0, wired).device))
    assert float(monitor.ask("KRDG? A")) == pytest.approx(296.15, abs=0.1)
    assert monitor.ask("KRDG? B").startswith("+296.")
    assert monitor.ask("KRDG? C") == "OL"
    assert monitor.errors() == []
    monitor.tell("KRDG? J")
    assert monitor.errors() == [-224]
