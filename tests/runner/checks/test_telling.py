"""The same hazard at many points of a sweep is told once, with the points."""

from __future__ import annotations

from benchctl.documents.sequence_file.bench_steps import PowerOff
from benchctl.runner.checks.telling import Finding, told_once
from benchctl.runner.plan import PlannedStep


def at(point: str, text: str, number: str = "3.1") -> Finding:
    return Finding(PlannedStep(number, point, PowerOff()), text)


def test_what_is_alike_at_many_points_is_told_once_with_the_points() -> None:
    (told,) = told_once([at("4 ohm", "no load"), at("2 ohm", "no load")])
    assert told == "3.1 power_off at 2 points, [4 ohm], [2 ohm]: no load"


def test_figures_that_differ_are_those_of_the_point_named_with_them() -> None:
    (told,) = told_once([at("4 ohm", "it draws 900 A; stop"), at("2 ohm", "it draws 1.2 kA; stop")])
    assert told == "3.1 power_off at 2 points, [4 ohm], [2 ohm]: it draws 900 A; stop (figures: [4 ohm])"


def test_of_very_many_points_the_first_are_named_and_the_rest_counted() -> None:
    (told,) = told_once([at(f"{hz} Hz", "no load") for hz in range(1, 1001)])
    assert told == "3.1 power_off at 1000 points, [1 Hz], [2 Hz], [3 Hz], [4 Hz], [5 Hz], [6 Hz] and 994 more: no load"


def test_other_hazards_and_other_steps_stay_apart() -> None:
    told = list(told_once([at("4 ohm", "no load"), at("4 ohm", "no probe"), at("4 ohm", "no load", number="4")]))
    assert told == [
        "3.1 power_off [4 ohm]: no load",
        "3.1 power_off [4 ohm]: no probe",
        "4 power_off [4 ohm]: no load",
    ]
