"""The page that compares two runs, as readers meet it on their screens."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from benchctl.report.comparison_page import write_comparison
from benchctl.report.reading.run_record import read_run_record
from tests.journals import read_events, write_events
from tests.shared_runs import SharedRuns

from .visiting import Visit, visiting


@pytest.fixture(scope="module")
def window(chromium: Browser, shared_runs: SharedRuns, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visit]:
    """One unit before a repair and a day later, when it draws an ampere less at idle."""
    out = tmp_path_factory.mktemp("runs")
    of_all = shared_runs.of("burst_and_continuous", "hx2150").folder
    folders = [shutil.copytree(of_all, out / f"202612{day}-120000-main-job-hx-2150") for day in (24, 25)]
    for folder in folders:
        _with_serial(folder)
    _with_less_idle_current(folders[1])
    page = write_comparison([read_run_record(folder) for folder in folders])
    with visiting(chromium) as visit:
        visit.open(page)
        yield visit


def _with_serial(folder: Path) -> None:
    file = folder / "inputs" / "amplifier.yaml"
    file.write_text(
        file.read_text(encoding="utf-8").replace("title: HX 2150", "title: HX 2150\nserial: '17'", 1), encoding="utf-8"
    )


def _with_less_idle_current(folder: Path) -> None:
    events = read_events(folder / "journal.jsonl")
    for figure in (figure for event in events for figure in event.get("figures", ())):
        figure["value"] -= 1.0 if figure["name"] == "idle_current" else 0.0
    write_events(folder / "journal.jsonl", events)


def test_the_page_is_quiet_and_asks_nobody_for_anything(window: Visit) -> None:
    assert (window.complaints, window.outside_requests()) == ([], [])


def test_it_opens_with_a_sentence_and_says_what_changed_in_a_line(window: Visit) -> None:
    assert window.page.locator("h1").inner_text() == "HX 2150, serial 17: before and after"
    headline = window.page.locator(".headline").inner_text()
    assert headline.startswith("Simulated: continuous power into 4 ohm")
    assert "no change beyond the uncertainty" in headline
    assert headline.endswith("; also changed: idle current.")
    (line,) = window.page.locator("ol li").all_inner_texts()
    assert re.fullmatch(r"Idle current: 1\.7\d A before, 7\d\d mA after: 5\d % less", line)


def test_axe_finds_nothing_serious(window: Visit) -> None:
    assert window.serious_findings() == []


def test_no_width_of_a_screen_has_to_be_scrolled_sideways(window: Visit) -> None:
    window.page.eval_on_selector_all("details", "all => all.forEach(one => { one.open = true; })")
    assert window.too_wide() == {}
