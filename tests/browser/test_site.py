"""A published site as its readers meet it: opened from a folder, in a browser that may ask nobody for anything."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from benchctl.report.site.publishing import Settings, publish
from benchmarks.site import made_up_cards, make_lists, search_and_sort
from tests.journals import read_events, write_events
from tests.measured_runs import cut_off, measured, tripped, with_figures
from tests.shared_runs import SharedRuns

from .visiting import Visit, visiting

HOSTILE = "<script>alert('x')</script> ../../\u05de\u05d2\u05d1\u05e8 \"&quot;\" " + "W" * 120
COMPARED = "compare.html#units=hx-2150-17,kx-2400-17"
HX, KX = "units/hx-2150-17", "units/kx-2400-17"


def _of_kx(figure: dict[str, Any]) -> dict[str, Any]:
    """A power of which only a bound is known, and a noise that is measured."""
    if figure["name"] == "continuous_power":
        return {"bound": "at least", "expanded_uncertainty": None, "verdict": ""}
    if figure["name"] == "idle_power":
        noise = {"name": "output_noise_a_weighted", "value": 85.8e-6, "unit": "V", "expanded_uncertainty": 2e-6}
        return noise | {"verdict": ""}
    return {}


@pytest.fixture(scope="module")
def site(shared_runs: SharedRuns, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Of one run with everything, and short ones: with a bound, stopped, of a hostile name, simulated."""
    whole = shared_runs.of("burst_and_continuous", "hx2150").folder
    short = shared_runs.of("quick_check", "hx2150").folder
    runs, out = tmp_path_factory.mktemp("runs"), tmp_path_factory.mktemp("published") / "site"
    measured(whole, runs, "20260301-091500")
    measured(short, runs, "20260302-091500", title="KX 2400", edit=with_figures(_of_kx))
    measured(short, runs, "20260303-091500", serial="18", edit=tripped(1))
    measured(short, runs, "20260304-091500", title=HOSTILE, serial=HOSTILE[:190], edit=cut_off(1))
    simulated = shutil.copytree(short, runs / short.name, ignore=shutil.ignore_patterns("*.html"))
    write_events(simulated / "journal.jsonl", cut_off(1)(read_events(simulated / "journal.jsonl")))
    publish(runs, out, Settings(with_simulated=True, url="https://tests.example/"))
    return out


@pytest.fixture(scope="module")
def window(chromium: Browser) -> Iterator[Visit]:
    with visiting(chromium) as visit:
        yield visit


@pytest.fixture
def index(window: Visit, site: Path) -> Page:
    window.page.set_viewport_size({"width": 1280, "height": 900})
    window.page.goto("about:blank")
    return window.open(site / "index.html")


def found(page: Page) -> list[str]:
    return page.locator("#runs tbody tr td[data-head=found]").all_inner_texts()


def rows(page: Page) -> list[str]:
    return [" ".join(row.split()) for row in page.locator("#runs tbody tr").all_inner_texts()]


def test_the_list_can_be_read_without_its_script_and_the_script_shows_the_same(
    chromium: Browser, index: Page, site: Path
) -> None:
    with visiting(chromium, java_script_enabled=False) as plain:
        plain.open(site / "index.html")
        assert len(rows(plain.page)) == 5
        assert rows(plain.page) == rows(index)
        links = [link.get_attribute("href") for link in plain.page.locator("#runs a").all()]
    assert links == [link.get_attribute("href") for link in index.locator("#runs a").all()]
    assert all((site / str(link)).is_file() for link in links)


def test_a_search_finds_runs_by_all_of_its_words(index: Page) -> None:
    for words, count in (("hx 2150 17", 1), ("STOPPED limit", 1), ("2026-03-02", 1), ("burst hx", 1), ("nothing", 0)):
        index.fill("#search", words)
        index.keyboard.press("Enter")
        assert len(rows(index)) == count, words
        assert index.locator("#count").inner_text().startswith(f"{count} of 5 runs found")
    index.fill("#search", "kx")
    expect(index.locator("#runs tbody tr")).to_have_count(1)
    index.reload()
    assert rows(index)[0].startswith("KX 2400 serial 17"), "the address keeps the search"


def test_the_list_is_sorted_with_the_keyboard_by_numbers_and_not_by_their_text(index: Page) -> None:
    index.focus("#runs th[data-key=found] button")
    for direction in ("descending", "ascending"):
        index.keyboard.press("Enter")
        assert index.locator("#runs th[aria-sort]").get_attribute("data-key") == "found"
        assert index.locator("#runs th[aria-sort]").get_attribute("aria-sort") == direction
        watts = [float(match[1]) for text in found(index) if (match := re.match(r"([\d.]+) W", text))]
        powers = [bool(re.search(r"\d W into", text)) for text in found(index)]
        assert sorted(watts, reverse=direction == "descending") == watts
        assert powers == sorted(powers, reverse=True), "runs without a power come last, either way"
    index.keyboard.press("Shift+Tab")
    index.keyboard.press("Enter")
    assert [row.split()[0] for row in rows(index)][1:] == ["HX", "HX", "HX", "KX"]


def chosen(page: Page, *names: str) -> None:
    for name in names:
        page.get_by_label(name, exact=True).check()
    page.wait_for_selector("#result .legend")


def test_chosen_amplifiers_are_compared_and_the_address_keeps_them(window: Visit, site: Path) -> None:
    page = window.open(site / "compare.html")
    chosen(page, "HX 2150, serial 17", "KX 2400, serial 17")
    expect(page.locator(".legend li")).to_have_count(2)
    assert page.url.endswith("#units=hx-2150-17,kx-2400-17")
    titles = page.locator("#result h2").all_inner_texts()
    assert titles[0] == "Continuous power by load"
    assert "Burst against continuous, 4 ohm" in titles
    assert titles[-2:] == ["Efficiency", "Noise"]
    before = page.locator("#result").inner_text()
    page.goto("about:blank")
    page.goto(f"{site.as_uri()}/{COMPARED}")
    page.wait_for_selector("#result .legend")
    assert page.locator("#result").inner_text() == before


def test_only_measured_values_are_drawn(window: Visit, site: Path) -> None:
    """Of the unit of which only a bound is known there is the sign of a bound and no bar; what no run has is said."""
    page = window.page
    page.goto("about:blank")
    page.goto(f"{site.as_uri()}/{COMPARED}")
    page.wait_for_selector("#result .legend")
    power = page.locator("#result section").first
    row = power.locator("tbody tr", has_text="KX 2400")
    assert re.match(r"≥ 1\d\d W", row.locator("td").nth(0).inner_text())
    assert row.locator("td").nth(1).inner_text() == "not measured"
    assert power.locator(".bar").count() == 2, "4 and 2 ohm of the other unit"
    assert power.locator(".whisker").count() == 2
    noise = page.locator("#result section").last
    assert noise.locator(".bar").count() == 1
    assert "not measured" in noise.locator(".bar-row").first.inner_text()
    link = row.locator("a").get_attribute("href")
    assert link == f"{KX}/20260302-091500.html"


def test_an_address_that_names_anything_else_loads_nothing(window: Visit, site: Path) -> None:
    before = len(window.requests)
    page = window.page
    page.goto("about:blank")
    page.goto(f"{(site / 'compare.html').as_uri()}#units=../../evil,%3Cscript%3E,hx-2150-17")
    page.wait_for_selector("#result .legend")
    assert "2 that the address names are not in this collection" in page.locator("#count").inner_text()
    loaded = [each for each in window.requests[before:] if each.endswith("figures.js")]
    assert loaded == [(site / HX / "figures.js").as_uri()]


PAGES = ("index.html", "units.html", f"{HX}/index.html", "units/hx-2150-18/20260303-091500.html", COMPARED)


def test_every_kind_of_page_is_in_order_on_every_screen(window: Visit, site: Path) -> None:
    """No error on the console, nothing asked of another host, nothing serious by axe-core, nothing to move sideways."""
    for name in PAGES:
        window.page.goto("about:blank")
        window.page.set_viewport_size({"width": 1280, "height": 900})
        window.page.goto(f"{site.as_uri()}/{name}", wait_until="load")
        if "#" in name:
            window.page.wait_for_selector("#result .legend")
        assert window.serious_findings() == [], name
        assert window.too_wide() == {}, name
    assert (window.complaints, window.outside_requests()) == ([], [])


def test_a_hostile_name_is_text_everywhere_and_a_script_in_a_page_would_not_run(window: Visit, site: Path) -> None:
    dialogs: list[str] = []
    window.page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
    (folder,) = (site / "units").glob("script-alert-*")
    for name in ("index.html", "units.html", "compare.html", f"units/{folder.name}/index.html"):
        page = window.open(site / name)
        assert "<script>alert('x')</script>" in page.locator("body").inner_text()
        assert page.locator("script:not([src])").count() == 0
    page.evaluate("document.body.append(Object.assign(document.createElement('script'), {text: 'alert(1)'}))")
    assert dialogs == []
    assert "script-src" in window.complaints.pop()
    assert window.complaints == []


def test_a_list_of_many_runs_is_small_and_searched_in_a_browser(window: Visit, tmp_path: Path) -> None:
    """The short form of `python -m benchmarks.site`."""
    lists = make_lists(1000, tmp_path)
    assert lists.bytes_a_run < 80
    page = window.open(tmp_path / "index.html")
    assert "the first 100 are shown" in page.locator("#count").inner_text()
    assert search_and_sort(page).keys()
    page.fill("#search", "2024-03-01")
    page.keyboard.press("Enter")
    wanted = sum("2024-03-01" in card.began for card in made_up_cards(1000).values())
    assert page.locator("#count").inner_text().startswith(f"{wanted} of 1000 runs found")
    page.fill("#search", "")
    page.keyboard.press("Enter")
    page.click("#more")
    assert len(rows(page)) == 200
