"""Make the lists of a site of many made-up runs, and search and sort them in a browser: bytes and times.

The runs have no folders and no pages of their own; those take about a second each and are made once.

    python -m benchmarks.site --runs 10000
"""

from __future__ import annotations

import argparse
import random
import shutil
import tempfile
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from benchctl.report.site.card import RunCard
from benchctl.report.site.own_files import own_files
from benchctl.report.site.pages import Collection
from benchctl.report.site.units import units_of
from benchmarks.rows import Row, table_of

if TYPE_CHECKING:
    from playwright.sync_api import Page

_SEQUENCES = ("Quick check", "Burst and continuous power at 1 kHz", "Damping and noise", "Thermal endurance")
_VERDICTS = (("Passes", "passes"), ("Fails", "fails"), ("Inconclusive", "untold"), ("No verdict", "untold"))
_REMARKS = ("", "", "", "", "stopped by a limit (supply current at 96.2 A)", "interrupted")
_SEED = 18
_BROWSERS = ("chromium", "chromium-browser", "google-chrome")

# Times what a person's key sets off, until the table is there; a search waits for a pause in typing first.
_SEARCHES = """text => {
    const field = document.getElementById("search"), begun = performance.now();
    field.value = text;
    field.dispatchEvent(new KeyboardEvent("keydown", {key: "Enter"}));
    return performance.now() - begun;
}"""
_SORTS = """key => {
    const button = document.querySelector(`#runs th[data-key=${key}] button`), begun = performance.now();
    button.click();
    return performance.now() - begun;
}"""


def made_up_cards(count: int) -> dict[str, RunCard]:
    """Place -> a run; each unit has about five."""
    drawn = random.Random(_SEED)
    first = datetime(2024, 1, 1, tzinfo=UTC)
    return {
        f"run {number}": _card(drawn, number, count, first + timedelta(minutes=97 * number)) for number in range(count)
    }


def _card(drawn: random.Random, number: int, count: int, at: datetime) -> RunCard:
    unit = drawn.randrange(max(1, count // 5))
    verdict, look = drawn.choice(_VERDICTS)
    watts = drawn.uniform(20.0, 900.0)
    return RunCard(
        name=f"{at:%Y%m%d-%H%M%S}-run",
        amplifier=f"{'HKLD'[unit % 4]}X {1000 + unit % 400}",
        serial=f"{unit:05}",
        sequence=_SEQUENCES[number % len(_SEQUENCES)],
        workshop="",
        began=f"{at:%Y-%m-%dT%H:%M:%S}Z",
        updated=f"{at:%Y-%m-%dT%H:%M:%S}Z",
        verdict=verdict,
        look=look,
        remark=drawn.choice(_REMARKS),
        mark="",
        headline=f"{watts:.0f} W a channel into 4 ohm, both driven, at 14.4 V",
        found=f"{watts:.0f} W into 4 ohm",
        watts=watts,
        rated=((4.0, 150.0),),
        points=(),
    )


@dataclass(frozen=True)
class Lists:
    """The lists of so many runs: their bytes, and the seconds that it took to make and to write them."""

    count: int
    files: Mapping[str, int]
    made_s: float

    @property
    def bytes_a_run(self) -> float:
        """Of the script that holds them all."""
        return self.files["runs.js"] / self.count


def make_lists(count: int, site: Path) -> Lists:
    """Make all files of a site of made-up runs but the pages of the runs."""
    cards = made_up_cards(count)
    begun = time.perf_counter()
    collection = Collection("Made-up runs", tuple(units_of(cards)))
    sizes: dict[str, int] = {}
    for name, content in own_files(collection):
        (site / name).parent.mkdir(parents=True, exist_ok=True)
        (site / name).write_bytes(content)
        sizes[name] = len(content)
    return Lists(count, sizes, time.perf_counter() - begun)


def search_and_sort(page: Page) -> dict[str, float]:
    """Milliseconds of each, on an open index."""
    return {
        "search for the first time": page.evaluate(_SEARCHES, "hx 1004"),
        "search": page.evaluate(_SEARCHES, "fails 2024-02"),
        "sort by what was found": page.evaluate(_SORTS, "found"),
        "show all again": page.evaluate(_SEARCHES, ""),
        "sort all by amplifier": page.evaluate(_SORTS, "amplifier"),
        "sort all by sequence": page.evaluate(_SORTS, "sequence"),
    }


def rows(count: int) -> Iterator[Row]:
    """What is found, beside what is wanted of it."""
    with tempfile.TemporaryDirectory() as folder:
        lists = make_lists(count, Path(folder))
        yield Row(
            "list of all runs", f"{lists.files['runs.js'] / 1e3:.0f} kB", "", f"{lists.bytes_a_run:.0f} bytes a run"
        )
        yield Row("list of all units", f"{lists.files['units.js'] / 1e3:.0f} kB", "", "")
        yield Row("first page", f"{lists.files['index.html'] / 1e3:.0f} kB", "", "the newest hundred runs")
        yield Row("lists and pages of units made", f"{lists.made_s:.1f} s", "", f"{len(lists.files)} files")
        yield from _in_browser(Path(folder))


def _in_browser(site: Path) -> Iterator[Row]:
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - the lists alone need no browser

    program = next(filter(None, map(shutil.which, _BROWSERS)), None)
    if program is None:
        yield Row("search and sorting", "not measured", "", "no Chromium is installed")
        return
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, chromium_sandbox=False)
        page = browser.new_page()
        begun = time.perf_counter()
        page.goto((site / "index.html").as_uri(), wait_until="load")
        yield Row("index opened from a folder", f"{1e3 * (time.perf_counter() - begun):.0f} ms", "", "")
        for what, took_ms in search_and_sort(page).items():
            yield Row(what, f"{took_ms:.1f} ms", "100 ms", "until the table is there")
        browser.close()


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=10_000, help="how many (default: %(default)s)")
    Console().print(table_of(list(rows(parser.parse_args().runs))))


if __name__ == "__main__":
    main()
