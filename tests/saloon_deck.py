"""Runs of an ordinary bench: 8 bits, 3 %, no load instrument. One came to its end, one was stopped by a limit, one was
killed. In the first a verdict passes, some fail, and some are inconclusive, by an interval and by a bound."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import benchctl
from benchctl import library
from benchctl.errors import LimitTripped
from tests.shared_runs import made_once

BENCH = "untidy_workshop"
OWNER, CONTACT, REFERENCE, COMPLAINT = "M. Lindqvist", "lindqvist@ferry.example", "2026-118", "cuts out when warm"
SEQUENCE = """\
benchctl: sequence 1
title: Saloon deck, after the repair
purpose: What a workshop looks at before the unit goes back on board.
limits:
  supply_current: {above: 60 A, for: 1 s}
steps:
  - power_on: {voltage: 14.4 V, current_limit: 40 A}
  - measure_idle: {for: 1 s, expect: {idle_current: below 1 A, dc_offset: within 50 mV}}
  - set: {load: 4 ohm, frequency: 1 kHz}
  - measure_continuous: {level: 10 % rated, for: 1 s, expect: {thd_n: below 0.05 %, continuous_power: above 15 W}}
  - power_off
"""
TRIPPING = SEQUENCE.replace("above: 60 A", "above: 1 A").replace("for: 1 s}\nsteps", "for: 200 ms}\nsteps")


@dataclass(frozen=True)
class SaloonDeck:
    """The folders, which lie beside each other; the limit that stopped the second run, and what its error noted."""

    finished: Path
    tripped: Path
    killed: Path
    limit: str
    noted: tuple[str, ...]


def documents_in(place: Path) -> Path:
    """Write the files of the runs: saloon.yaml, tripping.yaml and unit17.yaml."""
    plate = library.shipped("amplifiers")["hx2150"].read_text(encoding="utf-8")
    unit = f"{{owner: {OWNER}, contact: {CONTACT}, reference: {REFERENCE}, complaint: {COMPLAINT}}}"
    plate = plate.replace("class:", f"serial: 2150-17\nunit: {unit}\nclass:", 1)
    for name, text in (("saloon", SEQUENCE), ("tripping", TRIPPING), ("unit17", plate)):
        (place / f"{name}.yaml").write_text(text, encoding="utf-8")
    return place


def shared_in(place: Path) -> SaloonDeck:
    """The runs, made once in a session of the tests; nobody changes them."""
    return made_once(place / "deck", SaloonDeck, lambda: _made_in(place))


def _made_in(place: Path) -> SaloonDeck:
    unit, runs = documents_in(place) / "unit17.yaml", place / "runs"
    finished = benchctl.run(place / "saloon.yaml", BENCH, unit, out=runs, report=False).folder
    with pytest.raises(LimitTripped) as caught:
        benchctl.run(place / "tripping.yaml", BENCH, unit, accept="it is to trip", out=runs, report=False)
    tripped = caught.value.run_folder
    assert tripped is not None
    return SaloonDeck(finished, tripped, _killed(finished), caught.value.limit, tuple(caught.value.__notes__))


def _killed(finished: Path) -> Path:
    """A copy as a kill would have left it: the journal torn in its last line, no tables, the trend under its first
    name."""
    killed = finished.parent / "20260102-030405-killed"
    shutil.copytree(finished, killed)
    lines = (killed / "journal.jsonl").read_bytes().splitlines(keepends=True)
    last = max(number for number, line in enumerate(lines) if b'"event": "figures"' in line)
    (killed / "journal.jsonl").write_bytes(b"".join(lines[:last]) + lines[last][:40])
    (killed / "figures.csv").unlink()
    (killed / "trend.csv").rename(killed / "trend.csv.part")
    return killed


def figures_in_journal(folder: Path) -> list[dict[str, Any]]:
    """The figures, read from the journal as plain JSON; a torn line is left out."""
    lines = (folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()
    events = [json.loads(line) for line in lines if line.endswith("}")]
    return [figure for event in events if event["event"] == "figures" for figure in event["figures"]]
