"""The live page in a browser: what it shows of a run, how it stops one, and what it says when it has lost it."""

from __future__ import annotations

import io
import os
import re
import subprocess
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect
from rich.console import Console

from benchctl.cli.shown.views import PlainView
from benchctl.errors import LimitTripped
from benchctl.launch.run import Documents, Result, run
from benchctl.runner.acting.desk import Readings, Wish
from benchctl.watch.now import LimitNow, Now, OutputNow, PartNow, ResultNow
from benchctl.watch.page.server import LivePage, Place
from tests.cli.files import TONE, sequence
from tests.faults.forking import begin

from .visiting import Visit, visiting

# The promise: a trip is on the page within a second.
SHOWN_WITHIN_S = 1.0
HOSTILE = "<img src=x onerror=alert(1)>\"'&</script><b>"
DRIVEN = Now(
    "driven",
    title=f"Quick check {HOSTILE}",
    mark="Simulated, no measurement. ",
    step=4,
    steps=7,
    label=f"measure burst {HOSTILE}",
    progress=HOSTILE,
    elapsed="0:00:16",
    remaining="0:00:10",
    drive="bursts of 8 cycles, 4 ohm, 1 kHz, 14.4 V supply, tried level 158.5 mV, A and B driven",
    outputs=(OutputNow("A", "193 W", "1.0 %"), OutputNow(HOSTILE, "192 W", "<0.98 %")),
    supply=("14.4 V", "61.2 A", "41 degC"),
    record_age_s=0.4,
    limits=(
        LimitNow("supply_current", "61.2 A", "above 95 A", 0.64),
        LimitNow("supply_voltage", "no reading for 4 s", "below 11 V", None, is_missing=True),
        LimitNow(HOSTILE, HOSTILE, HOSTILE, 0.95),
    ),
    results=(ResultNow("", "efficiency", "60.9 ± 0.9 %"), ResultNow("A", HOSTILE, "193.8 ± 3.2 W", "passes")),
    parts=(PartNow(HOSTILE, is_confirmed=False),),
    notes=(HOSTILE, "clean steady level 0.798 V"),
)


class Shown:
    """A live page of what a test says is seen."""

    def __init__(self) -> None:
        self.now = DRIVEN
        self.stops = 0
        self.page = LivePage(lambda: self.now, self.stop, Place())

    def stop(self) -> None:
        self.stops += 1
        self.see(replace(DRIVEN, state="stopping", sentence="stopped by the stop button of the live page"))

    def see(self, now: Now) -> None:
        self.now = now
        self.page.news()

    @property
    def host(self) -> str:
        return self.page.url.split("/")[2]


@pytest.fixture(scope="module")
def window(chromium: Browser) -> Iterator[Visit]:
    with visiting(chromium) as visit:
        yield visit


@pytest.fixture
def shown() -> Iterator[Shown]:
    shown = Shown()
    yield shown
    shown.page.close()


def test_the_page_shows_hostile_text_as_text_fits_every_width_and_asks_nobody_else(window: Visit, shown: Shown) -> None:
    page = window.open(shown.page.url)
    expect(page.locator("#headline")).to_have_text("SIGNAL ON")
    expect(page.locator("#outputs li").first).to_have_text("A193 W1.0 %")
    for element in ("#title", "#label", "#outputs", "#limits", "#results", "#parts", "#notes"):
        expect(page.locator(element)).to_contain_text(HOSTILE)
    assert page.locator("img, b b").count() == 0
    assert window.too_wide() == {}
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        assert window.serious_findings() == []
    assert window.outside_requests(shown.host) == []
    assert window.complaints == []


def test_the_frame_for_a_camera_is_16_to_9_and_has_all_of_the_run_in_it_without_a_button(
    window: Visit, shown: Shown
) -> None:
    shown.see(replace(DRIVEN, outputs=(OutputNow("A", "193 W", "1.0 %"), OutputNow("B", "192 W", "<0.98 %")), parts=()))
    window.page.set_viewport_size({"width": 1280, "height": 720})
    page = window.open(f"{shown.page.url}camera")
    expect(page.locator("#headline")).to_have_text("SIGNAL ON")
    expect(page.locator("#outputs")).to_contain_text("192 W")
    box = page.locator("main").bounding_box()
    assert box is not None
    assert box["width"] / box["height"] == pytest.approx(16 / 9, rel=0.01)
    assert page.locator("#stop").is_hidden()
    for last in ("#supply", "#results li:last-child"):
        inside = page.locator(last).bounding_box()
        assert inside is not None
        assert inside["y"] + inside["height"] <= box["height"]


def test_the_stop_button_is_the_first_thing_that_the_keyboard_reaches_and_it_stops_once(
    window: Visit, shown: Shown
) -> None:
    page = window.open(shown.page.url)
    expect(page.locator("#headline")).to_have_text("SIGNAL ON")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page.locator("#headline")).to_have_text("STOPPING")
    assert page.locator("#stop").is_disabled()
    assert shown.stops == 1


def test_a_run_that_was_told_to_stop_and_does_not_is_named_on_the_page(window: Visit, shown: Shown) -> None:
    shown.page.stop = lambda: None
    page = window.open(shown.page.url)
    expect(page.locator("#headline")).to_have_text("SIGNAL ON")
    page.get_by_role("button").click()
    expect(page.locator("#stopped")).to_contain_text("NOT STOPPED YET")


def test_a_page_that_has_lost_its_run_says_so_and_shows_no_old_number_as_if_it_were_of_now(
    window: Visit, shown: Shown
) -> None:
    page = window.open(shown.page.url)
    expect(page.locator("#outputs")).to_contain_text("193 W")
    shown.page.close()
    expect(page.get_by_role("alert")).to_contain_text(re.compile(r"^NO NEWS SINCE \d\d:\d\d:\d\d: LOOK AT THE BENCH$"))
    assert "193" not in page.inner_text("main")
    assert "61.2" not in page.inner_text("main")


def test_a_page_of_a_run_that_has_ended_says_how_and_is_not_taken_for_lost(window: Visit, shown: Shown) -> None:
    page = window.open(shown.page.url)
    expect(page.locator("#headline")).to_have_text("SIGNAL ON")
    shown.see(Now("tripped", "Stopped by a limit: supply_current is 99 A.", is_over=True))
    expect(page.locator("#headline")).to_have_text("TRIPPED")
    shown.page.close()
    expect(page.locator("#stopped")).to_contain_text("The run ended at")
    assert page.get_by_role("alert").is_hidden()


# -- a whole run -----------------------------------------------------------------------------------------------------


@dataclass
class Running:
    """A dry run in a process of its own, and the address of its page."""

    process: subprocess.Popen[str]
    url: str
    said: list[str]


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    """It holds its tone for hours of virtual time, which take it many seconds."""
    file = sequence(tmp_path, TONE, ("  - power_off", "  - hold: {for: 40 h}\n  - power_off"))
    arguments = ["run", str(file), "--bench", "workshop", "--amplifier", "hx2150", "--dry-run", "--watch"]
    environment = {**os.environ, "BENCHCTL_AT_END": ""}
    with begin(arguments, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, cwd=tmp_path, env=environment) as process:
        assert process.stderr is not None
        found = re.search(r"http://\S+/", process.stderr.readline())
        assert found is not None
        yield Running(process, found[0], [])
        process.kill()


def test_the_stop_button_of_a_run_ends_it_safe_with_the_exit_code_of_a_stop_by_hand(
    window: Visit, running: Running, tmp_path: Path
) -> None:
    page = window.open(running.url)
    expect(page.locator("#label")).to_contain_text("hold", timeout=60_000)
    page.get_by_role("button").click()
    expect(page.locator("#headline")).to_have_text("ENDED", timeout=60_000)
    expect(page.locator("#sentence")).to_have_text(
        "Ended: stopped by the stop button of the live page. Every output is confirmed off."
    )
    assert running.process.wait(timeout=60) == 6
    (journal,) = tmp_path.glob("runs/*/journal.jsonl")
    assert '"event": "safe state", "state": "safe"' in journal.read_text(encoding="utf-8")


BY_HAND_WITH_A_LOW_LIMIT = """\
benchctl: sequence 1
title: A limit below the idle current
limits: {supply_current: {above: 1 A}}
steps:
  - drive_by_hand: {voltage: 14.4 V, current_limit: 40 A}
  - power_off
"""


class SwitchesOn:
    """A person who switches the amplifier on and then watches."""

    def __init__(self) -> None:
        self._wishes = [Wish("switch")]

    def wishes(self) -> Sequence[Wish]:
        wishes, self._wishes = self._wishes, []
        return wishes

    def show(self, readings: Readings) -> None:
        """Nobody looks at the terminal."""


# Notes when the page first said that the run stops, in seconds since 1970.
_NOTE_THE_STOP = """() => {
    new MutationObserver(() => {
        if (["stopping", "tripped"].includes(document.body.dataset.state)) window.shown ??= Date.now() / 1000;
    }).observe(document.body, {attributes: true});
}"""


def test_a_trip_in_real_time_is_on_the_page_within_a_second(window: Visit, tmp_path: Path) -> None:
    view = PlainView(Console(file=io.StringIO()))
    documents = Documents(sequence(tmp_path, BY_HAND_WITH_A_LOW_LIMIT), "workshop", "hx2150")
    results: list[Result] = []
    may_begin = threading.Event()

    def perform() -> None:
        may_begin.wait()
        results.append(run(documents, view, out=tmp_path / "runs", dry_run=True, desk=SwitchesOn()))

    page = LivePage(view.seen.now, lambda: None, Place())
    view.seen.changed = page.news
    running = threading.Thread(target=perform)
    running.start()
    try:
        window.open(page.url).evaluate(_NOTE_THE_STOP)
        may_begin.set()
        expect(window.page.locator("body")).to_have_attribute("data-state", "stopping", timeout=60_000)
    finally:
        running.join()
        page.close()
    assert isinstance(results[0].outcome.error, LimitTripped)
    opened_s = view.run.interlock.opened_s
    assert opened_s is not None
    decided = time.time() - (view.run.clock.now() - opened_s)
    assert window.page.evaluate("window.shown") - decided < SHOWN_WITHIN_S
