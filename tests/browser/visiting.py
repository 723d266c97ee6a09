"""A page as a browser sees it: what it complains of, what it asks other hosts for, what does not fit on its screen."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import SplitResult, urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

# From a small phone to a large screen, in CSS pixels.
WIDTHS = (360, 390, 768, 1280, 1920)

# The rules of WCAG 2.0 to 2.2, levels A and AA, and axe's own list of good practice.
RULES = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")

# What sticks out to the right of the window and is not inside a box of its own that scrolls.
_TOO_WIDE = """() => {
    const edge = document.documentElement.clientWidth;
    const scrolls = (element) => {
        for (let box = element; box && box !== document.body; box = box.parentElement)
            if (["auto", "scroll", "hidden", "clip"].includes(getComputedStyle(box).overflowX)) return true;
        return false;
    };
    const out = [...document.body.querySelectorAll("*")]
        .filter((element) => element.getBoundingClientRect().right > edge + 1 && !scrolls(element))
        .map((element) => element.tagName.toLowerCase() + "." + element.className);
    return document.documentElement.scrollWidth > edge ? ["the page itself", ...out] : [];
}"""


@dataclass
class Visit:
    """A window of the browser, and what it was heard to say and seen to ask for since it was opened."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def open(self, where: Path | str) -> Page:
        """Open a file or an address and wait until all of it is there."""
        self.page.goto(where.resolve().as_uri() if isinstance(where, Path) else where, wait_until="load")
        return self.page

    def outside_requests(self, *own: str) -> list[str]:
        """What was asked of any other than files, data in the page and the hosts named as its own (`host:port`)."""
        return [each for each in self.requests if not _is_own(urlsplit(each), own)]

    def serious_findings(self) -> list[str]:
        """What axe-core finds serious or critical, a line for each element."""
        # Without preload it asks for no style sheet by itself, which pages forbid.
        options = {"runOnly": list(RULES), "resultTypes": ["violations"], "preload": False}
        found = Axe().run(self.page, options=options)
        return [
            f"{rule['id']}: {rule['help']}: {node['html'][:120]}"
            for rule in found.response["violations"]
            if rule["impact"] in ("serious", "critical")
            for node in rule["nodes"]
        ]

    def too_wide(self) -> dict[int, list[str]]:
        """For each width of `WIDTHS` at which the page would have to be moved sideways: what sticks out."""
        found: dict[int, list[str]] = {}
        for width in WIDTHS:
            self.page.set_viewport_size({"width": width, "height": 900})
            if out := self.page.evaluate(_TOO_WIDE):
                found[width] = out
        return found


def _is_own(asked: SplitResult, hosts: Collection[str]) -> bool:
    return asked.scheme in ("file", "data", "blob") or asked.netloc in hosts


@contextmanager
def visiting(browser: Browser, **settings: Any) -> Iterator[Visit]:
    """A new window. Each message of an error on its console, and each error of a script, is a complaint."""
    context = browser.new_context(**settings)
    visit = Visit(context.new_page())
    visit.page.on("console", lambda said: visit.complaints.append(said.text) if said.type == "error" else None)
    visit.page.on("pageerror", lambda error: visit.complaints.append(str(error)))
    visit.page.on("request", lambda request: visit.requests.append(request.url))
    yield visit
    context.close()
