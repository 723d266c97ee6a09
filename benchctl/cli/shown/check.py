"""What documents say, or what is wrong in them, in lines and as data."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from rich.console import Console

from benchctl.documents.reader import read_any
from benchctl.documents.summary import Summary, summary
from benchctl.errors import DocumentError, Problem

# Where there is no terminal to fit into.
WIDTH_WITHOUT_TERMINAL = 120
_NARROWEST = 30


LookedAt = tuple[str, Summary | None, tuple[Problem, ...]]


def look(file: str) -> LookedAt:
    """What a file says, or its problems."""
    try:
        return file, summary(read_any(file)), ()
    except DocumentError as error:
        return file, None, error.problems


def described(file: str, about: Summary) -> Iterator[str]:
    """The file's kind and title, and a row a line under them, the name of several like rows once."""
    yield f"{file}: {about.kind} '{about.title}'"
    width = max((len(name) for name, _ in about.rows), default=0)
    last = ""
    for name, text in about.rows:
        yield from _wrapped(f"  {'' if name == last else name:<{width}}  ", text)
        last = name


def _wrapped(beginning: str, text: str) -> list[str]:
    """Text that begins behind `beginning` and goes on under itself, as wide as the terminal."""
    console = Console()
    width = console.width if console.is_terminal else WIDTH_WITHOUT_TERMINAL
    indent = " " * len(beginning)
    width = max(width, len(beginning) + _NARROWEST)
    return textwrap.wrap(text, width, initial_indent=beginning, subsequent_indent=indent)


def in_all(files: Sequence[str], problems: Sequence[Problem]) -> str:
    """How many problems there are, or that there is none."""
    if problems:
        return f"{len(problems)} problem{'s' if len(problems) != 1 else ''}"
    return f"{len(files)} files are valid" if len(files) != 1 else "1 file is valid"


def as_data(looked_at: Sequence[LookedAt]) -> dict[str, object]:
    """What all files say, and all problems, for a program."""
    return {
        "files": [
            {"file": file, "kind": about.kind, "title": about.title, "says": about.by_name()}
            for file, about, _ in looked_at
            if about is not None
        ],
        "problems": [vars(problem) for _, _, found in looked_at for problem in found],
    }
