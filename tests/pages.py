"""The project's pages taken apart: fenced blocks with what stands before them, links, and the files they name."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
PAGES = ("README.md", "SAFETY.md", "DEVELOPERS.md", "CONTRIBUTING.md", "CHANGELOG.md")

_BLOCK = re.compile(r"(?:<!-- not run[^:]*: (?P<reason>.+?) -->\n)?```(?P<kind>\w*)\n(?P<text>.*?)```", re.DOTALL)


@dataclass(frozen=True)
class Block:
    """A fenced block; `reason` says why its commands are not run, and is empty where they are."""

    kind: str
    text: str
    reason: str

    @property
    def commands(self) -> list[str]:
        return [line.removeprefix("$ ") for line in self.text.splitlines() if line.startswith("$ ")]


def text_of(page: str) -> str:
    return (ROOT / page).read_text(encoding="utf-8")


def section_of(page: str, heading: str) -> str:
    """What stands under a heading of a page."""
    return section_in(text_of(page), heading)


def section_in(text: str, heading: str) -> str:
    """What stands under a heading of a text."""
    return text.split(f"\n## {heading}\n")[1].partition("\n## ")[0]


def blocks(page: str, kind: str) -> list[Block]:
    return blocks_in(text_of(page), kind)


def blocks_in(text: str, kind: str) -> list[Block]:
    found = _BLOCK.finditer(text)
    return [Block(each["kind"], each["text"], each["reason"] or "") for each in found if each["kind"] == kind]


def links(page: str) -> list[str]:
    """What the page links to or shows, without addresses on the network."""
    return [target for target in re.findall(r"\]\(([^)\s]+)\)", text_of(page)) if "://" not in target]


def digits_aside(text: str) -> str:
    """The text with each number as 0: what stays the same when a figure moves a little."""
    return re.sub(r"\d+(\.\d+)?", "0", text)
