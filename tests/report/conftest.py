"""One dry run that has a little of everything a page shows, and copies of its folder to do things to."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from rich.console import Console

from benchctl.cli.shown.views import PlainView
from benchctl.launch.run import Documents, run
from benchctl.library import find
from tests.journals import read_events, write_events

SEQUENCE = """\
benchctl: sequence 1
title: Sample for a report
purpose: A little of everything that a page shows.
limits: {supply_current: {above: 95 A, for: 200 ms}}
steps:
  - prompt: {request: Set the controls, record: [gain controls]}
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - measure_idle: {for: 1 s, expect: {idle_current: below 2.5 A, dc_offset: within 8 mV}}
  - set: {load: 4 ohm, frequency: 1 kHz}
  - measure_burst: {cycles: [1, 6], every: 100 ms, low_level: -20 dB, thd_n: 1 %, from: 500 mV}
  - find_clean_level: {thd_n: 1 %, from: 500 mV, to: 2 V}
  - measure_continuous: {for: 1 s}
  - measure_response: {from: 500 Hz, to: 2 kHz, per_octave: 1}
  - power_off
"""
# What names a person in the documents of that run. No page that is published holds any of it.
PEOPLE = ("Lindqvist", "lindqvist@ferry.example", "FER-2026-118", "Okafor", "Quay 7")
UNIT = """\
unit:
  owner: M. Lindqvist
  contact: lindqvist@ferry.example
  reference: FER-2026-118
  complaint: Left channel cuts out when warm
"""
WORKSHOP = """\
workshop: {name: Eastharbour Audio Repairs, contact: "Quay 7, Eastharbour", logo: quay.png, tester: J. Okafor}
"""


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The run folder, as the run left it. Nobody changes it: see `folder`."""
    out = tmp_path_factory.mktemp("runs")
    documents = {
        "sequence": SEQUENCE,
        "bench": f"{find('benches', 'workshop').read_text('utf-8')}\n{WORKSHOP}",
        "amplifier": f"{find('amplifiers', 'hx2150').read_text('utf-8')}\n{UNIT}",
    }
    for name, text in documents.items():
        (out / f"{name}.yaml").write_text(text, encoding="utf-8")
    Image.new("RGBA", (300, 100), (10, 90, 160, 255)).save(out / "quay.png")
    quiet = PlainView(Console(quiet=True))
    return run(Documents(*(out / f"{name}.yaml" for name in documents)), quiet, out=out, dry_run=True).folder


@pytest.fixture
def folder(whole: Path, tmp_path: Path) -> Path:
    """A copy under the same name."""
    return shutil.copytree(whole, tmp_path / "runs" / whole.name)


ROLES = ("generator", "oscilloscope", "load", "supply", "thermometer")
Event = dict[str, Any]
Edit = Callable[[list[Event]], list[Event]]


def rewrite(folder: Path, edit: Edit) -> Path:
    """The folder with another journal, its events numbered anew."""
    journal = folder / "journal.jsonl"
    events = edit(read_events(journal))
    write_events(journal, (event | {"number": number} for number, event in enumerate(events, start=1)))
    return folder


def changed(folder: Path, kind: str, **fields: Any) -> Path:
    """The folder with fields changed in every event of a kind."""
    return rewrite(folder, lambda events: [e | fields if e["event"] == kind else e for e in events])


def real(folder: Path) -> Path:
    """As if the instruments had been real."""
    instruments = {role: f"FAIRLEAD,{role.upper()},17,1.0" for role in ROLES}
    return changed(folder, "run started", dry_run=False, simulated=[], instruments=instruments)


def killed(folder: Path, after: str = "step started", times: int = 5) -> Path:
    """As a kill leaves it, behind so many events of a kind."""

    def cut(events: list[Event]) -> list[Event]:
        places = [place for place, event in enumerate(events) if event["event"] == after]
        return events[: places[times - 1] + 1]

    return rewrite(folder, cut)
