"""Fits a sheet on one side of paper: how large its type may be, by an estimate of its height that is never too low.

A page cannot measure itself without a program in it, and each reader's computer has other typefaces. So the estimate
takes the widest of the usual ones. What is left over goes to the picture.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchctl.report.sheet.contents import Room, SheetContents
from benchctl.report.sheet.six import SheetFigure

# What is tried in turn: first smaller type, then less of what may be long.
SIZES_PT = (9.5, 8.75, 8.0, 7.25)
ROOMS = (Room(8, 5, 500), Room(6, 4, 300), Room(4, 3, 150))

_MM_PER_PT = 25.4 / 72.0
# A bold character of DejaVu Sans is a tenth wider than one that is not.
_BOLD = 1.1
_LINE = 1.32  # height of a line, as a part of the type's size
_GAP_MM = 2.6
_LEAST_PICTURE_MM = 35.0


@dataclass(frozen=True)
class Paper:
    """What the style sheet calls a paper (CSS Paged Media 3, 7.1), and its room within margins of 12 mm, less half a
    millimetre that rounding may take."""

    css: str
    width_mm: float
    height_mm: float


# ISO 216: 210 x 297 mm; ANSI/ASME Y14.1: 8.5 x 11 inches.
PAPERS = {"a4": Paper("A4", 186.0, 297.0 - 24.5), "letter": Paper("letter", 191.9, 279.4 - 24.5)}


def size_for(contents: SheetContents, paper: Paper) -> float | None:
    """The largest type in which the sheet fits; None if it fits in none."""
    return next((size for size in SIZES_PT if _Estimate(size, paper).height_mm(contents) <= paper.height_mm), None)


@dataclass(frozen=True)
class _Estimate:
    size_pt: float
    paper: Paper

    def height_mm(self, contents: SheetContents) -> float:
        """Of the whole sheet, with the smallest picture."""
        parts = [part for part in self._parts(contents) if part > 0.0]
        return sum(parts) + _GAP_MM * (len(parts) - 1)

    def _parts(self, contents: SheetContents) -> Iterator[float]:
        whole = self.paper.width_mm
        yield max(14.0, sum(self._text(text, 75.0, is_bold=True) for text in contents.workshop), self._lines(3))
        if (mark := contents.mark) is not None:
            yield 4.0 + self._text(f"{mark.lead}  {mark.banner}", whole - 8.0, is_bold=True)
        yield self._text(contents.unit, whole, 1.8, is_bold=True) + self._pairs(contents.owner)
        yield self._condition(contents)
        if contents.limits:
            limits = (f"{each.title}: {each.text}" for each in contents.limits)
            yield self._lines(1.2) + sum(self._text(limit, whole - 6.0, 0.9) for limit in limits)
        if contents.figures:
            yield self._lines(1.2) + self._figures(contents)
        yield self._lines(2.5) + self._verdicts(contents)
        yield (_LEAST_PICTURE_MM + self._lines(2.4)) if contents.picture is not None else 0.0
        for told in (contents.diagnosis, contents.found):
            yield self._lines(1.2) + self._text(told, whole) if told else 0.0
        yield self._text(contents.footing + 110 * " ", whole, 0.85) + self._lines(0.9) + max(10.0, self._lines(3.0))

    def _condition(self, contents: SheetContents) -> float:
        inside = self.paper.width_mm - 6.0
        said = self._text(f"{contents.headline}", inside, 1.21) + self._text(contents.overall.why, inside, 0.9)
        return 2.0 + self._lines(1.5) + said

    def _pairs(self, owner: Sequence[tuple[str, str]]) -> float:
        half = self.paper.width_mm / 2.0 - 3.0
        heights = [self._text(f"{name}  {text}", half - 10.0) + 0.8 for name, text in owner]
        return sum(max(heights[place : place + 2]) for place in range(0, len(heights), 2))

    def _figures(self, contents: SheetContents) -> float:
        third = (self.paper.width_mm - 10.0) / 3.0
        heights = [self._figure(figure, third) for figure in contents.figures]
        return sum(max(heights[place : place + 3]) for place in range(0, len(heights), 3))

    def _figure(self, figure: SheetFigure, width_mm: float) -> float:
        """Its lines stand a tenth closer than others."""
        small = sum(self._text(text, width_mm, 0.85) for text in (figure.name, figure.at, figure.doubt))
        return 2.0 + (small + self._text(figure.value, width_mm, 1.21, is_bold=True)) / 1.1

    def _verdicts(self, contents: SheetContents) -> float:
        column = self.paper.width_mm * 0.27
        rows = (
            max(self._text(text, column, 0.9) for text in (each.name, each.values, each.asked)) + 1.2
            for each in contents.verdicts.rows
        )
        return sum(rows) + self._text(contents.verdicts.left, self.paper.width_mm, 0.85)

    def _text(self, text: str, width_mm: float, scale: float = 1.0, *, is_bold: bool = False) -> float:
        """The height of a text in lines of this width; one line more for each eight, since words are not broken."""
        long_mm = sum(map(_ems, text)) * (_BOLD if is_bold else 1.0) * scale * self.size_pt * _MM_PER_PT
        lines = math.ceil(long_mm / width_mm)
        return self._lines(lines + lines // 8, scale)

    def _lines(self, count: float, scale: float = 1.0) -> float:
        return count * scale * _LINE * self.size_pt * _MM_PER_PT


def _ems(character: str) -> float:
    """The width of a character of DejaVu Sans as a part of its size; a mean for the narrow ones."""
    if unicodedata.east_asian_width(character) in "WF" or character in "MWmw@%—":
        return 1.0
    return 0.72 if character.isupper() else 0.6
