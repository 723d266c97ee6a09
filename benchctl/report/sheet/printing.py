"""Prints a page to PDF with Chromium: without a screen, without a network, with a profile of its own, for a limited
time."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from benchctl.archive.files import read_bytes, write_whole
from benchctl.errors import ArchiveError

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
LONGEST_S = 60.0  # a page takes one or two; a slow computer with a cold disk, ten
_BY_HAND = "Open the page in a browser and print it on one sheet, without the browser's headers and footers."

# Without those of the second line, Chromium asks hosts of its maker for news at every start; the last two lead every
# name and every proxy nowhere.
_SWITCHES = (
    *("--headless", "--disable-gpu", "--no-first-run", "--no-pdf-header-footer", "--disable-extensions"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-quic"),
    "--no-proxy-server",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)


@dataclass(frozen=True)
class Printed:
    """Where the PDF is; or None, and why there is none and what to do."""

    path: Path | None
    why_not: str = ""


def print_page(page: Path, pdf: Path, longest_s: float = LONGEST_S) -> Printed:
    """Print a page of ours to a file.

    Raises:
        ArchiveError: the PDF cannot be written.
    """
    program = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if program is None:
        return Printed(None, f"no Chromium is found ({', '.join(BROWSERS)}). {_BY_HAND}")
    try:
        # Beside the page, since some Chromiums see the user's own folders only, and none that is hidden.
        with tempfile.TemporaryDirectory(prefix="printing-", dir=pdf.parent, ignore_cleanup_errors=True) as folder:
            return _printed_by(program, page, pdf, Path(folder), longest_s)
    except OSError as error:
        return Printed(None, f"{program} cannot be started: {error.strerror or error}. {_BY_HAND}")


def _printed_by(program: str, page: Path, pdf: Path, folder: Path, longest_s: float) -> Printed:
    target = folder / "sheet.pdf"
    trouble = _run([program, *_switches(folder, target), page.resolve().as_uri()], folder / "said.txt", longest_s)
    try:
        content = read_bytes(target)
    except ArchiveError:
        content = b""
    if trouble or not content.startswith(b"%PDF"):
        return Printed(None, f"{program} {trouble or 'printed nothing'}. {_BY_HAND}")
    write_whole(pdf, content)
    return Printed(pdf)


def _switches(folder: Path, target: Path) -> Iterator[str]:
    yield from _SWITCHES
    yield f"--user-data-dir={folder / 'profile'}"
    yield f"--print-to-pdf={target}"
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        yield "--no-sandbox"  # Chromium's own does not start for root; the page is ours and holds no program


def _run(command: list[str], said: Path, longest_s: float) -> str:
    """What went wrong, '' if nothing did."""
    with (
        said.open("wb") as output,
        subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=output, stderr=output, start_new_session=True
        ) as browser,
    ):
        try:
            code = browser.wait(longest_s)
        except subprocess.TimeoutExpired:
            return f"did not end within {longest_s:.0f} s"
        finally:
            _end_all(browser)
    return f"ended with exit code {code}" if code else ""


def _end_all(browser: subprocess.Popen[bytes]) -> None:
    """End the browser and the processes that it has started, which are a group of their own."""
    if os.name != "posix":
        browser.kill()
        return
    try:
        os.killpg(browser.pid, signal.SIGKILL)
    except ProcessLookupError:  # all have ended by themselves
        return


def pages_of(pdf: bytes) -> int:
    """How many pages a PDF of Chromium has: it keeps the objects of its pages uncompressed (ISO 32000-1, 7.7.3.3)."""
    return len(re.findall(rb"/Type\s*/Page(?![a-zA-Z])", pdf))
