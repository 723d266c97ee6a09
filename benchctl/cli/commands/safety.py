"""benchctl safety: the safety page, wherever the program is installed."""

from __future__ import annotations

import re

import click
from rich.console import Console
from rich.markdown import Markdown
from rich.theme import Theme

from benchctl import library

# Longer lines are hard to read, however wide the terminal is.
WIDEST = 100
# Readable on a dark and on a light terminal.
_STYLES = Theme(
    {
        "markdown.h1": "bold underline",
        "markdown.h2": "bold underline",
        "markdown.h3": "bold",
        "markdown.code": "bold",
        "markdown.item.bullet": "bold",
        "markdown.table.border": "none",
        "markdown.table.header": "bold",
        "markdown.link": "underline",
    }
)
_COMMENTS = re.compile(r"<!--.*?-->\n", re.DOTALL)


@click.command(epilog="Example:  benchctl safety")
def safety() -> int:
    """Show the safety page: read it before the first live run.

    It is SAFETY.md of this version: what to do before anything is switched on, what the program guards, and what it
    does not. A terminal shows it a screen at a time: space goes on, q ends. Through a pipe it is plain Markdown.
    """
    text = page()
    console = Console(theme=_STYLES)
    if console.is_terminal:
        click.echo_via_pager(rendered(text, console), color=True)
    else:
        click.echo(text, nl=False)
    return 0


def page() -> str:
    """The text of the page, without the comments that its Markdown hides."""
    return _COMMENTS.sub("", library.safety_page().read_text(encoding="utf-8"))


def rendered(text: str, console: Console) -> str:
    """The text as a terminal shows it."""
    with console.capture() as capture:
        console.print(Markdown(text, code_theme="ansi_light"), width=min(console.width, WIDEST))
    return capture.get()
