"""Run folders of earlier versions: what they call by another name is read under the one of today."""

from __future__ import annotations

from typing import Any

from benchctl.archive.journal.earlier_names import in_names_of_today


def event(figures: list[dict[str, Any]], context: dict[str, Any], criteria: dict[str, Any] | None = None) -> Any:
    return {"event": "figures", "figures": figures, "context": context, "criteria": criteria}


def test_a_supply_voltage_without_a_record_was_read_at_the_supply() -> None:
    read, captured = {"name": "supply_voltage", "capture": ""}, {"name": "supply_voltage", "capture": "captures/1.npz"}
    found = in_names_of_today(event([read, captured], {}, {"supply_voltage": "a criterion"}))
    assert [figure["name"] for figure in found["figures"]] == ["supply_output_voltage", "supply_voltage"]
    assert found["criteria"] == {"supply_voltage": "a criterion", "supply_output_voltage": "a criterion"}


def test_one_of_today_keeps_its_name() -> None:
    """Sense leads, or a multimeter, measure at the terminals without a record."""
    today = event([{"name": "supply_voltage", "capture": ""}], {"senses_terminals": True})
    assert in_names_of_today(today)["figures"][0]["name"] == "supply_voltage"


def test_what_is_no_list_of_figures_is_left_for_the_reader_to_refuse() -> None:
    assert in_names_of_today({"event": "figures", "figures": 7}) == {"event": "figures", "figures": 7}
    odd = event([7, {"name": ["supply_voltage"]}], {})  # type: ignore[list-item]
    assert in_names_of_today(odd)["figures"] == [7, {"name": ["supply_voltage"]}]
