"""Each shipped driver of a multimeter against a simulated one that was written from the description of its form."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.errors import DocumentError, GarbledAnswer
from tests.drivers.load_and_meter_benches import POINTS, multimeter
from tests.runner.rig import POWER_ON, bench_file, files, rig

FORMS = [
    ("scpi99", "measure_and_configure", False),
    ("scpi99_scanner", "measure_and_configure", True),
    ("configure_and_read", "measure_and_configure", False),
    ("function_words", "function_words", False),
]
VOLTS = {name: words for name, words in POINTS.items() if "voltage" in words}


@pytest.mark.parametrize(("driver", "speaks", "scanner"), FORMS)
def test_every_point_is_read_in_its_own_quantity(driver: str, speaks: str, scanner: bool, tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=multimeter(driver, speaks, scanner=scanner, points=VOLTS))) as bench:
        bench.begin()
        bench.do(POWER_ON)
        read = {}
        for name in VOLTS:
            bench.simulated.touch(name)  # of no account behind a scanner
            read[name] = bench.run.bench.multimeter.measure(name)
        true = bench.connections.physics
        assert read["bias A"] == pytest.approx(0.33 * true.bias_current_a, rel=0.002)
        assert read["rail plus"] == pytest.approx(-read["rail minus"], rel=0.002)
        assert read["rail plus"] == pytest.approx(true.rail_v, rel=0.02)
        assert read["mains"] == pytest.approx(230.0, rel=0.01)
        bench.run.bench.multimeter.check_errors()


def test_an_overload_is_never_a_number(tmp_path: Path) -> None:
    points = {"fuse": "measures: resistance, range: 100 ohm"}
    for driver, speaks, scanner in FORMS:
        edits = multimeter(driver, speaks, scanner=scanner, points=points)
        with rig(tmp_path / driver, files("power_off", bench=edits)) as bench:
            bench.begin()
            with pytest.raises(GarbledAnswer, match="over range, or nothing to measure"):
                bench.run.bench.multimeter.measure("fuse")


@pytest.mark.parametrize(
    ("driver", "scanner", "points", "words"),
    [
        ("scpi99", True, VOLTS, "this driver knows no scanner, and 'bias A' has a channel"),
        ("scpi99_scanner", False, VOLTS, "this driver chooses each point by a channel, and 'bias A' has none"),
        ("function_words", False, POINTS, "this driver measures no temperature, which 'output stage' wants"),
    ],
)
def test_points_that_the_driver_cannot_measure_are_refused_with_the_file(
    driver: str, scanner: bool, points: dict[str, str], words: str
) -> None:
    speaks = "function_words" if driver == "function_words" else "measure_and_configure"
    with pytest.raises(DocumentError, match=words):
        bench_file(multimeter(driver, speaks, scanner=scanner, points=points))
