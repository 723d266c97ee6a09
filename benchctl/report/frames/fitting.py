"""Words set into a box of a drawing, as large as they fit."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.figure import Figure as Drawing
from matplotlib.font_manager import FontProperties
from matplotlib.text import Text

from benchctl.report.frames.sheets import Words
from benchctl.report.pictures.canvas import STYLE

LEADING = 1.22  # from one line to the next, in sizes of the letters
GAP_PT = 3.0  # between two texts
_STEP_PT = 0.5  # between two sizes that are tried
_SCALES = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5)
_CUT = "…"
_ENDS = re.compile(r"(?<=[.;]) ")


@dataclass(frozen=True)
class Box:
    """A place for words, in points from the upper left corner of the drawing."""

    left_pt: float
    top_pt: float
    wide_pt: float
    high_pt: float


def set_words(figure: Drawing, text: str, words: Words, box: Box, colour: str) -> float:
    """Words as large as they fit; what does not fit at the smallest size is cut, and shows that it is. Returns how high
    they are, in points."""
    size_pt = words.size_pt
    while size_pt > words.smallest_pt and not _fits(figure, text, words, size_pt, box):
        size_pt = max(words.smallest_pt, size_pt - _STEP_PT)
    lines = _wrapped(text, _measure(figure, words, size_pt, box.wide_pt))
    there_are = max(1, int(box.high_pt / (LEADING * size_pt)))
    if len(lines) > there_are:
        lines = [*lines[: there_are - 1], lines[there_are - 1][:-1] + _CUT]
    for number, line in enumerate(lines):
        at_pt = (box.left_pt, box.top_pt + number * LEADING * size_pt)
        _line(figure, line, words, size_pt, at_pt).set_color(colour)
    return LEADING * size_pt * len(lines)


def set_column(figure: Drawing, texts: Sequence[tuple[str, Words]], box: Box, colour: str) -> None:
    """Several texts below each other, all made smaller alike until they fit."""
    said = [(text, words) for text, words in texts if text]
    for scale in _SCALES:
        scaled = [(text, replace(words, size_pt=max(words.smallest_pt, scale * words.size_pt))) for text, words in said]
        high_pt = [_height(figure, text, words, words.size_pt, box.wide_pt) for text, words in scaled]
        if sum(high_pt) + GAP_PT * (len(said) - 1) <= box.high_pt:
            break
    top_pt, end_pt = box.top_pt, box.top_pt + box.high_pt
    for text, words in scaled if said else ():
        here = Box(box.left_pt, top_pt, box.wide_pt, end_pt - top_pt)
        top_pt += set_words(figure, text, words, here, colour) + GAP_PT


def whole_sentences(figure: Drawing, text: str, words: Words, box: Box) -> str:
    """The sentences and clauses from the first one on that fit at the smallest size; the first one in any case."""
    parts = _ENDS.split(text.strip())
    while len(parts) > 1 and not _fits(figure, " ".join(parts), words, words.smallest_pt, box):
        parts.pop()
    kept = " ".join(parts)
    return f"{kept[:-1]}." if kept.endswith(";") else kept


def _fits(figure: Drawing, text: str, words: Words, size_pt: float, box: Box) -> bool:
    return _height(figure, text, words, size_pt, box.wide_pt) <= box.high_pt


def _height(figure: Drawing, text: str, words: Words, size_pt: float, wide_pt: float) -> float:
    return LEADING * size_pt * len(_wrapped(text, _measure(figure, words, size_pt, wide_pt)))


def _wrapped(text: str, is_narrow_enough: Callable[[str], bool]) -> list[str]:
    """The text in lines; a word that is too long for any line is broken."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and is_narrow_enough(longer):
            lines[-1] = longer
        else:
            lines += _pieces(word, is_narrow_enough)
    return lines


def _pieces(word: str, is_narrow_enough: Callable[[str], bool]) -> list[str]:
    pieces: list[str] = []
    while not is_narrow_enough(word) and len(word) > 1:
        length = next((n for n in range(len(word) - 1, 1, -1) if is_narrow_enough(word[:n])), 1)
        pieces.append(word[:length])
        word = word[length:]
    return [*pieces, word]


def _measure(figure: Drawing, words: Words, size_pt: float, wide_pt: float) -> Callable[[str], bool]:
    """Whether a line is no wider than there is room, in letters as they are drawn."""
    dpi, weight = figure.dpi, _weight(words)
    return lambda line: 72.0 * _wide_px(line, size_pt, weight, dpi) / dpi <= wide_pt


@lru_cache(maxsize=8192)  # frames of one run have the same words
def _wide_px(line: str, size_pt: float, weight: str, dpi: float) -> float:
    letters = FontProperties(family=STYLE["font.family"], size=size_pt, weight=weight)
    wide_px, _, _ = _renderer(dpi).get_text_width_height_descent(line, letters, ismath=False)  # type: ignore[no-untyped-call]
    return float(wide_px)


@lru_cache(maxsize=8)
def _renderer(dpi: float) -> RendererAgg:
    """Draws nothing; it knows how wide letters are."""
    return RendererAgg(1, 1, dpi)  # type: ignore[no-untyped-call]


def _weight(words: Words) -> str:
    return "bold" if words.is_bold else "normal"


def _line(figure: Drawing, line: str, words: Words, size_pt: float, at_pt: tuple[float, float]) -> Text:
    """A line whose upper left corner is so many points from that of the drawing."""
    width_in, height_in = figure.get_size_inches()
    place = at_pt[0] / (72.0 * width_in), 1.0 - at_pt[1] / (72.0 * height_in)
    return figure.text(*place, line, fontsize=size_pt, fontweight=_weight(words), va="top")
