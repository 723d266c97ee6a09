"""A unit shows the newest value of each figure, and never a simulated one beside a measurement."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

from benchctl.report.site.card import RunCard
from benchctl.report.site.catalogue import runs_script, unit_script
from benchctl.report.site.newest_table import NOT_MEASURED, newest_tables
from benchctl.report.site.points import Point
from benchctl.report.site.units import units_of
from tests.report.site.cards import CARD

POWER = Point("power", 4.0, None, 159.5, 2.5, "W", "159.5 ± 2.5 W", is_value=True, at="1 kHz, 14.4 V supply")
BURST = replace(POWER, cycles=8, value=190.0, text="190 ± 3 W")
OLD, NEW = "2026-03-01T09:15:00Z", "2026-04-01T09:15:00Z"


def card(began: str, *points: Point, **changes: Any) -> RunCard:
    name = f"{began[:10].replace('-', '')}-091500-quick-check"
    return replace(CARD, name=name, began=began, rated=((4.0, 150.0),), points=points, **changes)


def cells(*cards: RunCard) -> list[str]:
    """Text and note of each cell of the row of 4 ohm."""
    (unit,) = units_of({str(number): each for number, each in enumerate(cards)})
    (table,) = newest_tables(unit)
    return [" ".join(filter(None, [cell.text, cell.note])) for cell in table.rows[0].cells]


def test_of_each_figure_the_newest_value_is_shown_with_its_own_date() -> None:
    newer = replace(POWER, value=140.0, text="140.0 ± 2.2 W")
    assert cells(card(OLD, POWER, BURST), card(NEW, newer)) == ["150 W", "190 ± 3 W 2026-03-01 09:15", "140.0 ± 2.2 W"]


def test_a_value_under_other_conditions_says_them() -> None:
    at_12_v = replace(BURST, at="1 kHz, 12 V supply")
    assert cells(card(OLD, POWER, at_12_v)) == ["150 W", "190 ± 3 W 1 kHz, 12 V supply", "159.5 ± 2.5 W"]


def test_a_simulated_value_never_stands_beside_a_measured_one() -> None:
    simulated = card(NEW, replace(POWER, text="999 W"), BURST, mark="simulated")
    assert cells(card(OLD, POWER), simulated) == ["150 W", "159.5 ± 2.5 W"]
    assert cells(simulated) == ["150 W", "190 ± 3 W", "999 W"]


def test_a_value_of_a_run_that_ended_early_says_so() -> None:
    assert cells(card(OLD, POWER, remark="stopped by a limit")) == ["150 W", "159.5 ± 2.5 W stopped by a limit"]


def test_what_no_run_has_measured_at_a_load_is_not_measured() -> None:
    at_2_ohm = replace(POWER, load_ohm=2.0)
    (unit,) = units_of({"1": card(OLD, POWER, BURST, at_2_ohm)})
    (table,) = newest_tables(unit)
    assert [row.name for row in table.rows] == ["4 ohm", "2 ohm"]
    assert [cell.text for cell in table.rows[1].cells] == ["not rated", NOT_MEASURED, "159.5 ± 2.5 W"]


def test_units_are_listed_by_their_numbers_and_kept_apart() -> None:
    named = [("HX 2150", "9"), ("HX 2150", "10"), ("HX 900", "1"), ("hx-2150", "10"), ("HX 2150", "")]
    cards = {str(number): card(OLD, amplifier=a, serial=s) for number, (a, s) in enumerate(named)}
    units = units_of(cards)
    assert [(unit.amplifier, unit.serial) for unit in units][:2] == [("HX 900", "1"), ("HX 2150", "")]
    assert [unit.serial for unit in units if unit.amplifier == "HX 2150"] == ["", "9", "10"]
    assert len({unit.name for unit in units}) == len(named)


def data_of(script: str) -> Any:
    found = re.fullmatch(r"benchctlSite\.\w+\((.*)\);\n", script)
    assert found
    assert script.isascii()
    return json.loads(found[1])


def test_the_scripts_hold_bounds_as_such_and_any_text_as_text() -> None:
    bound = replace(POWER, text="≥ 140 W", is_value=False)
    units = units_of({"1": card(OLD, bound, amplifier="\u2028</script>\ud800")})
    told = data_of(unit_script(units[0]))
    assert told["points"][0][6:8] == ["≥ 140 W", False]
    assert data_of(runs_script(units, units[0].runs))["rows"][0][6:] == [
        159.0,
        "159 W into 4 ohm",
        "",
        "20260301-091500",
    ]
