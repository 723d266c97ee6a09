"""`benchctl safety` shows the safety page of this version: plain through a pipe, laid out on a terminal."""

from __future__ import annotations

import io
import re

from rich.console import Console

from benchctl.cli.commands.safety import WIDEST, page, rendered
from tests.cli.conftest import Command
from tests.pages import text_of


def words(text: str) -> list[str]:
    """Without what Markdown and a terminal put between them."""
    return re.findall(r"\w+", re.sub(r"\x1b\[[\d;]*m", "", text))


def shown_on_a_terminal(width: int) -> str:
    return rendered(page(), Console(file=io.StringIO(), width=width, force_terminal=True))


def test_a_pipe_gets_the_whole_page_and_none_of_its_hidden_comments(benchctl: Command) -> None:
    shown = benchctl("safety")
    assert (shown.exit_code, shown.err) == (0, "")
    assert "<!--" not in shown.out
    on_page = [line for line in text_of("SAFETY.md").splitlines() if not line.startswith("<!--")]
    assert shown.out.splitlines() == on_page


def test_a_terminal_shows_every_word_of_the_page() -> None:
    wanted, shown = words(page()), set(words(shown_on_a_terminal(200)))
    assert len(wanted) > 2000
    assert [word for word in wanted if word not in shown and word != "console"] == []


def test_a_terminal_shows_no_marks_of_markdown_and_no_line_too_wide() -> None:
    for width in (80, 200):
        lines = re.sub(r"\x1b\[[\d;]*m", "", shown_on_a_terminal(width)).splitlines()
        assert max(map(len, lines)) <= min(width, WIDEST)
        assert [line for line in lines if line.startswith(("#", "|", "```")) or "**" in line] == []
