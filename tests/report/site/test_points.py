"""What amplifiers are compared by: the weakest channel under the conditions of the plate, and bounds as bounds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from benchctl.report.reading.run_record import read_run_record
from benchctl.report.site.card import card_of
from benchctl.report.site.points import Point, points_of
from tests.measured_runs import Event, measured, with_figures


@pytest.fixture
def points(original: Path, tmp_path: Path) -> dict[object, Point]:
    return {point.place: point for point in points_of(read_run_record(measured(original, tmp_path, "20260301-091500")))}


def figures_of(folder: Path, name: str) -> list[Any]:
    return [f for entry in read_run_record(folder).entries for f in entry.figures if f.name == name]


def test_of_several_channels_the_weakest_is_compared(points: dict[object, Point], original: Path) -> None:
    tones = [f for f in figures_of(original, "continuous_power") if f.channel != "total"]
    assert len(tones) == 2
    weakest = min(tones, key=lambda figure: figure.value)
    found = points["power", 4.0, None]
    assert (found.value, found.uncertainty) == (weakest.value, weakest.expanded_uncertainty)
    assert found.is_value
    assert found.at == "1 kHz, 14.4 V supply, 1 % THD+N", "what every comparison shares is not said"


def test_the_efficiency_is_that_of_the_steady_tone(points: dict[object, Point], original: Path) -> None:
    """That of a burst counts the pause."""
    (tone,) = [f for f in figures_of(original, "efficiency") if not f.burst_cycles]
    assert [p.value for p in points.values() if p.quantity == "efficiency"] == [pytest.approx(100.0 * tone.value)]


def test_bursts_are_compared_by_their_length(points: dict[object, Point]) -> None:
    lengths = {point.cycles for point in points.values() if point.quantity == "power"}
    assert lengths == {1, 8, None}


def test_all_channels_driven_come_before_one_alone(original: Path, tmp_path: Path) -> None:
    """As a plate means it; alone, a channel may give more or, as here, less."""

    def with_one_alone(events: list[Event]) -> list[Event]:
        (tone,) = [event for event in events if "continuous_power" in {f["name"] for f in event.get("figures", ())}]
        figures = [figure | {"value": 0.5 * figure["value"]} for figure in tone["figures"]]
        alone = {"conditions": tone["conditions"] | {"driven": ["A"]}, "figures": figures}
        captured = {file: found | {"driven": ["A"]} for file, found in tone["captured"].items()}
        return [*events[:-1], tone | alone | {"captured": captured}, events[-1]]

    both = points_of(read_run_record(measured(original, tmp_path, "20260301-091500")))
    run_record = read_run_record(measured(original, tmp_path, "20260302-091500", edit=with_one_alone))
    assert len(figures_of(run_record.folder.path, "continuous_power")) == 6
    assert points_of(run_record) == both


def of_power(**changes: Any) -> Any:
    return with_figures(lambda figure: changes if figure["name"] == "continuous_power" else {})


def test_a_bound_and_what_instruments_contradict_are_no_values(original: Path, tmp_path: Path) -> None:
    edit = of_power(bound="at least", expanded_uncertainty=None)
    card = card_of(read_run_record(measured(original, tmp_path, "20260301-091500", edit=edit)))
    bound = next(point for point in card.points if point.place == ("power", 4.0, None))
    assert (bound.is_value, bound.text[:2]) == (False, "≥ ")
    assert card.found.startswith("at least ")
    edit = of_power(contradiction="the probe and the multimeter disagree")
    card = card_of(read_run_record(measured(original, tmp_path, "20260302-091500", edit=edit)))
    doubted = next(point for point in card.points if point.place == ("power", 4.0, None))
    assert (doubted.is_value, card.watts) == (False, None)
    assert doubted.text.endswith(", contradicted")


def test_a_run_says_whose_it_is_even_where_its_amplifier_file_cannot_be_read(original: Path, tmp_path: Path) -> None:
    folder = measured(original, tmp_path, "20260301-091500")
    (folder / "inputs" / "amplifier.yaml").unlink()
    card = card_of(read_run_record(folder))
    assert (card.amplifier, card.serial) == ("HX 2150", "17")
    assert "folder changed after the run" in card.remark


def test_the_time_of_a_renamed_folder_comes_from_its_journal(original: Path, tmp_path: Path) -> None:
    def on_a_day(events: list[Event]) -> list[Event]:
        return [event | {"wall": "2026-03-01T09:15:04.200+00:00"} for event in events]

    folder = measured(original, tmp_path, "20260301-091500", edit=on_a_day)
    renamed = folder.rename(tmp_path / "the good one")
    assert card_of(read_run_record(renamed)).began == "2026-03-01T09:15:04Z"
