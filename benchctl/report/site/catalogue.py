"""The data of the site as scripts: a list of all units, a list of all runs in few bytes each, and the values of a unit.

A page that is opened from a folder may not fetch a file, but it may load a script. So each of these files is a script
that hands one value to `benchctlSite`, which the page's own script has made.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

from benchctl.report.site.units import RunPage, UnitPage


def units_script(units: Sequence[UnitPage]) -> str:
    """Every unit: amplifier, serial number, folder, and the mark of one that was never measured."""
    rows = [[unit.amplifier, unit.serial, unit.name, _mark(unit)] for unit in units]
    return _script("units", rows)


def _mark(unit: UnitPage) -> str:
    return "" if unit.is_measured else unit.runs[0].card.mark


def runs_script(units: Sequence[UnitPage], runs: Sequence[RunPage]) -> str:
    """Every run as a row of numbers and short texts; texts that many runs share stand once, in a table of their own."""
    sequences = _Numbered(run.card.sequence for run in runs)
    verdicts = _Numbered(run.card.verdict for run in runs)
    looks = _Numbered(run.card.look for run in runs)
    remarks = _Numbered(run.card.remark for run in runs)
    marks = _Numbered(run.card.mark for run in runs)
    places = {unit.name: place for place, unit in enumerate(units)}
    rows = [
        [
            places[run.folder],
            sequences.number(run.card.sequence),
            verdicts.number(run.card.verdict),
            looks.number(run.card.look),
            remarks.number(run.card.remark),
            marks.number(run.card.mark),
            0 if run.card.watts is None else float(f"{run.card.watts:.4g}"),
            run.card.found,
            "" if run.name == _packed(run.card.began) else run.name,
            _packed(run.card.began),
        ]
        for run in runs
    ]
    tables = {
        "sequences": sequences.texts,
        "verdicts": verdicts.texts,
        "looks": looks.texts,
        "remarks": remarks.texts,
        "marks": marks.texts,
    }
    return _script("runs", tables | {"rows": rows})


def _packed(began: str) -> str:
    """20261124-221003, which is also how most pages of runs are called."""
    return began.replace("-", "").replace(":", "").replace("T", "-").removesuffix("Z")


class _Numbered:
    """Texts that come up again and again, each by its number."""

    def __init__(self, texts: Iterable[str]) -> None:
        self.texts = sorted(set(texts))
        self._places = {text: place for place, text in enumerate(self.texts)}

    def number(self, text: str) -> int:
        return self._places[text]


def unit_script(unit: UnitPage) -> str:
    """What a unit is compared by: its newest value at each place, and the run that each comes from."""
    newest = unit.newest().values()
    runs = list(dict.fromkeys(found.run for found in newest))
    points = [
        [
            found.point.quantity,
            found.point.load_ohm,
            found.point.cycles,
            found.point.value,
            found.point.uncertainty,
            found.point.unit,
            found.point.text,
            found.point.is_value,
            found.point.at,
            runs.index(found.run),
        ]
        for found in newest
    ]
    told = [[run.page, run.card.date, run.card.remark] for run in runs]
    return _script("unit", {"name": unit.name, "points": points, "runs": told})


def _script(name: str, value: Any) -> str:
    """ASCII, so that no character in a name can end a string or a line anywhere."""
    return f"benchctlSite.{name}({json.dumps(value, separators=(',', ':'), allow_nan=False)});\n"
