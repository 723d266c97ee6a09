"""Each shipped driver of a multimeter against a simulated one that was written from the description of its form."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.errors import DocumentError, GarbledAnswer
from benchmarks.forms.multimeters import FORMS, POINTS, VOLTS, Form
from tests.runner.rig import POWER_ON, bench_file, files, rig


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.driver)
def test_every_point_is_read_in_its_own_quantity(form: Form, tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench=replace(form, points=VOLTS).edits())) as bench:
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
    for number, form in enumerate(FORMS):
        with rig(tmp_path / str(number), files("power_off", bench=replace(form, points=points).edits())) as bench:
            bench.begin()
            with pytest.raises(GarbledAnswer, match="over range, or nothing to measure"):
                bench.run.bench.multimeter.measure("fuse")


@pytest.mark.parametrize(
    ("form", "words"),
    [
        (
            Form("measure_and_configure", "multimeter/scpi99", scanner=True),
            "no scanner, and 'bias A' has a channel",
        ),
        (
            Form("measure_and_configure", "multimeter/scpi99_scanner"),
            "point by a channel, and 'bias A' has none",
        ),
        (Form("function_words", "multimeter/function_words", POINTS), "no temperature, which 'output stage' wants"),
    ],
)
def test_points_that_the_driver_cannot_measure_are_refused_with_the_file(form: Form, words: str) -> None:
    with pytest.raises(DocumentError, match=words):
        bench_file(form.edits())
