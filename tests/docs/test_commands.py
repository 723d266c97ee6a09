"""What the pages show is so: their commands run, in their order, and their excerpts are what is printed."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

from tests.docs.reading import Excerpt, Ran, Reading, give, read_page
from tests.pages import GUIDES, PAGES, blocks, digits_aside, text_of
from tools.picture import PICTURE, words_of

COMMANDS = [
    (page, command)
    for page in GUIDES
    for block in blocks(page, "console")
    if not block.reason and "goes on" not in block.notes
    for command in block.commands
]
DEMO = (
    "benchctl run sequences/burst_and_continuous.yaml --bench sim/workshop.yaml "
    "--amplifier sim/amplifiers/hx2150.yaml --dry-run"
)


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> Reader:
    """Each page is read once, for all that is asked of it."""
    return Reader(tmp_path_factory.mktemp("pages"))


class Reader:
    """Reads a page when it is first asked for; what could not be read is not tried again."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._attempt = cache(self._attempted)

    def page(self, page: str) -> Reading:
        read = self._attempt(page)
        if isinstance(read, Exception):
            raise AssertionError(f"{page} cannot be read") from read
        return read

    def _attempted(self, page: str) -> Reading | Exception:
        folder = self._folder / page.replace("/", "_")
        folder.mkdir()
        try:
            return read_page(page, folder)
        except Exception as error:  # noqa: BLE001 - each test of this page shows it
            return error

    def command(self, page: str, command: str) -> Ran:
        return next(ran for ran in self.page(page).ran if ran.command == command)


@pytest.mark.parametrize(("page", "command"), COMMANDS)
def test_a_command_that_a_page_shows_runs(read: Reader, page: str, command: str) -> None:
    ended = [ran for ran in read.page(page).ran if ran.command == command]
    for ran in ended:
        assert ran.exit_code in ran.allowed, ran.err
        assert ran.err == "" or max(ran.allowed) > 1
    assert ended


def test_a_block_that_is_not_run_says_why_on_every_page() -> None:
    for page in PAGES:
        silent = [block for block in blocks(page, "console") if page not in GUIDES and len(block.reason) < 20]
        assert silent == [], page
    assert all(len(block.reason) > 20 for page in GUIDES for block in blocks(page) if block.reason)


def first_strange_line(excerpt: Excerpt) -> str:
    """The first line that does not stand in the whole, behind those before it; empty if all do. `...` stands for any
    lines."""
    plain = _without_figures if excerpt.has_figures else str.rstrip
    lines = iter([plain(line) for line in excerpt.whole.splitlines()])
    return next((line for line in excerpt.shown.splitlines() if line != "..." and plain(line) not in lines), "")


def _without_figures(line: str) -> str:
    """With each number as 0, and the gaps between columns, which go with the numbers, as one space."""
    return re.sub(" +", " ", digits_aside(line)).rstrip()


@pytest.mark.parametrize("page", GUIDES)
def test_an_excerpt_is_what_is_printed(read: Reader, page: str) -> None:
    """Line by line and in order."""
    for excerpt in read.page(page).excerpts:
        assert first_strange_line(excerpt) == "", f"{page} shows a line that does not come there"


def test_the_pages_show_what_several_commands_print(read: Reader) -> None:
    """Else the tests above would hold of nothing."""
    assert sum(len(read.page(page).excerpts) for page in GUIDES) > 8
    assert {"benchctl run", "benchctl check", "benchctl preflight", "benchctl verify", "benchctl report"} <= {
        " ".join(command.split()[:2]) for _, command in COMMANDS
    }


def test_the_commands_for_windows_are_those_for_linux() -> None:
    """Written as its shell wants them; they cannot be run here."""
    (windows,) = blocks("README.md", "powershell")
    for_linux = [
        line.replace("py -3 ", "python3 ").replace(".venv\\Scripts\\", ".venv/bin/")
        for line in windows.text.splitlines()
    ]
    assert for_linux in [block.commands for block in blocks("README.md", "console")]


def test_make_demo_ends_with_the_command_that_readme_runs() -> None:
    recipe = re.sub(r"\\\n\s*", "", text_of("Makefile"))
    assert DEMO in recipe
    assert ("README.md", DEMO) in COMMANDS


def test_the_picture_shows_the_tables_that_the_demo_prints(read: Reader) -> None:
    svg = PICTURE.read_text(encoding="utf-8")
    assert PICTURE.stat().st_size < 200_000
    shown = {word.strip() for word in words_of(svg.replace("&#160;", " "))}
    rows = [line for line in read.command("README.md", DEMO).out.splitlines() if "│" in line]
    cells = {re.sub(r"\d", "0", cell.strip()) for row in rows for cell in row.split("│")}
    assert {cell for cell in cells if not re.search(r"\d", cell)} <= shown | {""}, "draw it anew: make docs"


def test_the_picture_asks_no_other_server_for_anything() -> None:
    addresses = re.findall(r"(?:href|src|url)\W+(https?://[^\"')]+)", PICTURE.read_text(encoding="utf-8"))
    assert addresses == []


def test_the_sequence_that_the_page_writes_gives_figures(read: Reader) -> None:
    ended = read.page("docs/sequences.md").last("benchctl run mine.yaml")
    assert sum("│" in line for line in ended.out.splitlines()) > 20


def test_a_schema_that_is_printed_is_the_one_that_new_writes(read: Reader) -> None:
    folder = read.page("docs/sequences.md").folder
    written = (folder / "sequence.schema.json").read_bytes()
    (folder / "again.yaml").unlink(missing_ok=True)
    give("benchctl new sequence again.yaml", folder)
    assert (folder / "sequence.schema.json").read_bytes() == written


def test_the_page_of_reports_names_the_sections_of_a_report_in_their_order(read: Reader) -> None:
    folder = read.page("docs/reports.md").folder
    (page,) = folder.glob("runs/*/report.html")
    headings = re.findall(r"<h2 id[^>]*>([^<]+)", page.read_text(encoding="utf-8"))
    rows = re.findall(r"^\| ([A-Z][\w ]+) \| ", text_of("docs/reports.md"), re.MULTILINE)
    assert len(headings) > 8
    assert [row for row in rows if row in headings] == headings, "this run has no part of some"
