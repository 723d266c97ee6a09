"""The project's pages taken apart: fenced blocks with the comments before them, links, and the files they name."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
REFERENCE = tuple(sorted(f"docs/reference/{path.name}" for path in (ROOT / "docs" / "reference").glob("*.md")))
# What a user reads: commands run there, unless a comment says why not.
GUIDES = ("README.md", *sorted(f"docs/{path.name}" for path in (ROOT / "docs").glob("*.md")))
PAGES = (*GUIDES, *REFERENCE, "SAFETY.md", "DEVELOPERS.md", "CONTRIBUTING.md", "CHANGELOG.md")

_BLOCK = re.compile(r"(?P<notes>(?:<!-- [^\n]* -->\n)*)```(?P<kind>\w*)\n(?P<text>.*?)```", re.DOTALL)
_NOTE = re.compile(r"<!-- (.*) -->\n")


@dataclass(frozen=True)
class Block:
    """A fenced block with the comments right before it, which a reader does not see."""

    kind: str
    text: str
    notes: tuple[str, ...] = ()

    @property
    def reason(self) -> str:
        """Why its commands are not run, or what it shows is not printed; empty where they are."""
        return next((note.partition(": ")[2] for note in self.notes if note.startswith("not ")), "")

    @property
    def commands(self) -> list[str]:
        return [line.removeprefix("$ ") for line in self.text.splitlines() if line.startswith("$ ")]

    def told(self, name: str) -> list[str]:
        """What the comments say that begin with this name: `file`, `edited`, `exit code`."""
        return [note.removeprefix(name).removeprefix(":").strip() for note in self.notes if note.startswith(name)]


def text_of(page: str) -> str:
    return (ROOT / page).read_text(encoding="utf-8")


def section_in(text: str, heading: str) -> str:
    """What stands under a heading of a text."""
    return text.split(f"\n## {heading}\n")[1].partition("\n## ")[0]


def blocks(page: str, *kinds: str) -> list[Block]:
    """The page's blocks of these kinds, in its order; all of them where none is named."""
    return [block for block in blocks_in(text_of(page)) if not kinds or block.kind in kinds]


def blocks_in(text: str, *kinds: str) -> list[Block]:
    found = (Block(each["kind"], each["text"], tuple(_NOTE.findall(each["notes"]))) for each in _BLOCK.finditer(text))
    return [block for block in found if not kinds or block.kind in kinds]


def links(page: str) -> list[str]:
    """What the page links to or shows, without addresses on the network."""
    return [target for target in re.findall(r"\]\(([^)\s]+)\)", text_of(page)) if "://" not in target]


def slug(heading: str) -> str:
    """What forges make of a heading, behind the # of a link: small letters, hyphens for spaces, no other signs."""
    return re.sub(r"[^\w\- ]", "", heading.strip().lower()).replace(" ", "-")


def digits_aside(text: str) -> str:
    """The text with each number as 0: what stays the same when a figure moves a little."""
    return re.sub(r"\d+(\.\d+)?", "0", text)
