"""A page taken apart by a parser that follows the HTML standard, as browsers do, and forgives nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element

import html5lib


@dataclass(frozen=True)
class Page:
    """A parsed page."""

    root: Element

    @classmethod
    def of(cls, text: str) -> Page:
        root = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)
        for element in root.iter():
            if isinstance(element.tag, str):  # a comment has none
                element.tag = element.tag.rpartition("}")[2]  # of a picture's own namespace
        return cls(root)

    def all(self, tag: str) -> list[Element]:
        return list(self.root.iter(tag))

    @property
    def text(self) -> str:
        """All that is written on it, with single spaces."""
        return words_of(self.root)

    def tables(self, caption: str) -> list[Element]:
        """The tables whose caption begins so."""
        return [table for table in self.all("table") if words_of(part(table, "caption")).startswith(caption)]

    def row(self, caption: str, head: str) -> list[str]:
        """The one row that begins with `head` in the tables whose caption begins with `caption`."""
        (row,) = (row for table in self.tables(caption) for row in rows_of(table) if row[0] == head)
        return row


def part(element: Element, tag: str) -> Element:
    found = next(element.iter(tag), None)
    assert found is not None, f"no {tag}"
    return found


def words_of(element: Element) -> str:
    return " ".join("".join(_texts(element)).split())


def _texts(element: Element) -> Iterator[str]:
    """Its text, without styles; a part of a table or list does not run into the next."""
    if element.tag in ("style", "title"):
        return
    yield element.text or ""
    for child in element:
        yield from _texts(child)
        yield " " if child.tag in ("td", "th", "li", "dt", "dd", "p", "span", "br", "text") else ""
        yield child.tail or ""


def rows_of(table: Element) -> list[list[str]]:
    """What is written in the cells of its body."""
    return [[words_of(cell) for cell in row] for row in part(table, "tbody").iter("tr")]


def exact_values(element: Element) -> list[float]:
    """The figures of a table or page, as a machine reads them."""
    return [float(data.attrib["value"]) for data in element.iter("data")]
