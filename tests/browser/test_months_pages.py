"""The pages on a unit's life and on a bench's, as readers meet them on their screens."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Browser

from benchctl.archive.collection.runs import runs_in
from benchctl.report.drift.bench_life import bench_life
from benchctl.report.drift_page import write_drift_page
from benchctl.report.life.unit_life import unit_life
from benchctl.report.life_page import write_life_page
from tests.lives import Event, as_real, months_of, note_after, with_clamp
from tests.shared_runs import SharedRuns

from .visiting import Visit, visiting


def _changed(events: list[Event], number: int) -> None:
    as_real(events)
    with_clamp(events, 1.0 + 0.002 * number)
    if number == 3:
        note_after(
            events,
            "2026-03-01T10:00:00.000+00:00",
            "# Output relays\n\nBoth cleaned, see [the list](https://ferry.example)",
        )


@pytest.fixture(scope="module", params=["unit", "bench"])
def window(
    request: pytest.FixtureRequest, chromium: Browser, shared_runs: SharedRuns, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Visit]:
    """One unit that is measured every fortnight on a bench whose clamp ages."""
    out = tmp_path_factory.mktemp("months")
    days = [datetime(2026, 1, 12, 9, tzinfo=UTC) + timedelta(days=14 * number) for number in range(11)]
    months_of(shared_runs.of("quick_check", "hx2150").folder, out, days, _changed, "serial: '17'")
    runs = runs_in(out).runs
    page = out / "page.html"
    if request.param == "unit":
        write_life_page(unit_life(runs, "17"), page)
    else:
        write_drift_page(bench_life(runs), page)
    with visiting(chromium) as visit:
        visit.open(page)
        yield visit


def test_the_page_is_quiet_and_asks_nobody_for_anything(window: Visit) -> None:
    assert (window.complaints, window.outside_requests()) == ([], [])


def test_axe_finds_nothing_serious(window: Visit) -> None:
    assert window.serious_findings() == []


def test_no_width_of_a_screen_has_to_be_scrolled_sideways(window: Visit) -> None:
    window.page.eval_on_selector_all("details", "all => all.forEach(one => { one.open = true; })")
    assert window.too_wide() == {}
