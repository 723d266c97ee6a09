"""One headless Chromium for the tests of this folder. Where none is installed, they are skipped and say so."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from .visiting import Visit, visiting

# Without the second half, Chromium asks hosts of its maker for news at every start.
SWITCHES = (
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


# Of the package, not of the session: while playwright runs, its event loop is the thread's own, and tests of other
# folders that start a loop or fork must not meet it.
@pytest.fixture(scope="package")
def chromium() -> Iterator[Browser]:
    program = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if program is None:
        pytest.skip("no Chromium is installed; `make clients` installs Debian's as root")
    with sync_playwright() as playwright:
        # Chromium's own sandbox refuses to start for root, as whom CI runs; it opens only pages that the tests made.
        browser = playwright.chromium.launch(executable_path=program, args=list(SWITCHES), chromium_sandbox=False)
        yield browser
        browser.close()


@pytest.fixture
def visit(chromium: Browser) -> Iterator[Visit]:
    """A new window on an empty page. A fixture of a module makes its own with `visiting`, to look at one page often."""
    with visiting(chromium) as visit:
        yield visit
