"""Thermometers that do not speak SCPI, and multimeters with a sensor at their terminals."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.thermometers.always_eight import EightChannelThermometer
from benchctl.simulator.instruments.thermometers.degrees_as_text import DisplayThermometer
from benchctl.simulator.instruments.thermometers.multimeter_with_sensor import Sensor, pt100_ohm, with_sensor
from benchctl.simulator.instruments.thermometers.number_unit_type import LoggerThermometer
from benchctl.simulator.model.description import Spec, ThermometerDescription
from tests.simulator.benches import describe
from tests.simulator.talk import Talk

IN_THE_AIR = BenchSimulation(seed=2150, instrument_errors="none", ambient_c=23.46)
WIRED = ThermometerDescription({1: "heatsink", 2: "ambient"}, Spec(fixed=1.0), noise_k=0.0, inputs=())


def talk(form: Callable[..., Any]) -> Talk:
    bench = PhysicalBench(describe(thermometer=WIRED, bench=IN_THE_AIR))
    return Talk(Conversation(form(bench, lambda: 0.0, WIRED).device))


def test_a_display_is_a_tenth_of_a_degree_with_its_unit_or_dashes() -> None:
    unit = talk(DisplayThermometer)
    assert (unit.ask("T1?"), unit.ask("T3?")) == ("23.5 C", "----")
    assert unit.ask("T9?") == "", "it does not know that and says nothing"


def test_a_logger_glues_the_unit_to_the_number() -> None:
    unit = talk(LoggerThermometer)
    assert (unit.ask("R1?"), unit.ask("R16?")) == ("+2.35E+01C,K", "+9.90E+37C,K")
    assert unit.ask("R17?") == "E"


def test_eight_channels_are_always_eight_in_fahrenheit() -> None:
    """23.46 degC is 74.228 degF."""
    assert talk(EightChannelThermometer).ask("T?") == "74.2 74.2 -9999 -9999 -9999 -9999 -9999 -9999"


@pytest.mark.parametrize(
    ("sensor", "configured", "shown"),
    [
        ("thermocouple", "CONF:TEMP TC,K", 23.46),
        ("pt100", "CONF:RES", 109.14),  # IEC 60751 has 108.96 ohm at 23 degC and 109.35 ohm at 24 degC
        ("10 mV/K", "CONF:VOLT:DC", 0.2346),
    ],
)
def test_a_multimeter_shows_what_its_sensor_gives_once_it_is_set_to_it(
    sensor: Sensor, configured: str, shown: float
) -> None:
    unit = talk(with_sensor(sensor))
    unit.tell(configured)
    assert float(unit.ask("READ?")) == pytest.approx(shown, rel=1e-4)
    unit.tell("CONF:RES" if sensor != "pt100" else "CONF:TEMP TC,K")
    assert float(unit.ask("READ?")) == 9.9e37, "the wrong function"
    assert unit.errors() == []


@pytest.mark.parametrize(("temperature_c", "ohms"), [(-100.0, 60.26), (0.0, 100.0), (100.0, 138.51), (200.0, 175.86)])
def test_a_pt100_follows_its_standard(temperature_c: float, ohms: float) -> None:
    """The table of IEC 60751."""
    assert pt100_ohm(temperature_c) == pytest.approx(ohms, abs=0.005)
