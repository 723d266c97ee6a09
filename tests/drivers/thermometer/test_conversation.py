"""Each shipped driver of a thermometer against a simulated one that was written from the description of its form."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.errors import GarbledAnswer
from benchctl.runner.engine.execute import prepare
from benchmarks.forms.thermometers import FORMS
from tests.runner.rig import Edits, files, rig

THERMOMETERS = tuple(form.speaks for form in FORMS)
SEVERAL = tuple(form.speaks for form in FORMS if not form.has_one_sensor)


LONGEST_SCAN_S = 4.0


def bench_with(form: str) -> Edits:
    """The workshop's bench with the thermometer that speaks so."""
    return next(each for each in FORMS if each.speaks == form).edits()


@pytest.mark.parametrize("form", THERMOMETERS)
def test_every_channel_is_read_in_degrees_celsius(form: str, tmp_path: Path) -> None:
    """The workshop has 23 degC, and the thermometer is good for 1 K; a step of three digits is another 0.05 K."""
    with rig(tmp_path, files("power_off", bench=bench_with(form))) as bench:
        bench.begin()
        found = bench.run.bench.thermometer
        read = {name: found.measure(name) for name in found.channels}
        assert read == pytest.approx(dict.fromkeys(found.channels, 23.0), abs=1.2)


@pytest.mark.parametrize("form", THERMOMETERS)
def test_an_open_sensor_is_never_a_number(form: str, tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=bench_with(form))) as bench:
        prepare(bench.run)  # the guard would stop a run with such a sensor
        bench.connections.faults.open_sensors = frozenset({"heatsink"})
        bench.run.wait(LONGEST_SCAN_S)
        found = bench.run.bench.thermometer
        with pytest.raises(GarbledAnswer, match=r"thermometer at .* nothing to measure"):
            found.measure("heatsink")
        if form in SEVERAL:
            assert found.measure("ambient") == pytest.approx(23.0, abs=1.2), "the others are read all the same"


@pytest.mark.parametrize("form", ["scan_list", "always_eight"])
def test_one_question_reads_every_channel_where_one_answer_holds_them(form: str, tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=bench_with(form))) as bench:
        prepare(bench.run)  # the guard would stop a run with such a sensor
        found = bench.run.bench.thermometer
        bench.connections.faults.open_sensors = frozenset({"load"})
        bench.run.wait(LONGEST_SCAN_S)
        bench.taps.sent.clear()
        read = found.measure_all()
        assert len(bench.taps.to("thermometer")) == 1
        assert [read[name] for name in ("heatsink", "ambient")] == pytest.approx([23.0, 23.0], abs=1.2)
        assert read["load"] != read["load"], "nan: its sensor is open"


def test_a_scanner_is_told_which_channels_before_it_is_read(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=bench_with("scan_list"))) as bench:
        bench.begin()
        assert [text for text in bench.taps.to("thermometer") if "@" in text] == [
            "CONF:TEMP TC,K,(@101,102,103)",
            "ROUT:SCAN (@101,102,103)",
        ]


def test_a_scan_that_lacks_a_channel_is_refused(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=bench_with("scan_list"))) as bench:
        bench.begin()
        bench.taps.forge("thermometer", "READ?", "2.3E+01,2.4E+01")
        with pytest.raises(GarbledAnswer, match=r"2\.3E\+01,2\.4E\+01"):
            bench.run.bench.thermometer.measure("heatsink")
