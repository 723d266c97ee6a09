"""Draws pictures in one style, with the page's colours, as SVG that is the same each time.

Colours are drawn with placeholders, which become the page's own variables, so a picture also fits the dark style. The
date, unused ids and needless digits are removed. The other ids get the picture's name, or two pictures on one page
would share an id.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure as Drawing
from matplotlib.ticker import FuncFormatter

from benchctl.quantity import render

INK, SOFT, RULE = "#010101", "#010102", "#010103"
SERIES = ("#010110", "#010111", "#010112", "#010113", "#010114", "#010115")
_VARIABLES = {INK: "--ink", SOFT: "--soft", RULE: "--rule"} | {
    stand_in: f"--series-{number}" for number, stand_in in enumerate(SERIES)
}
# Used with the colour, so that a picture can be read without colours.
MARKERS = ("o", "s", "^", "D", "v", "P")
DASHES = ("-", "--", ":", "-.")
# As wide as a phone shows without shrinking; a page with more room sets two side by side.
WIDTH_IN = 5.0

_STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",  # text stays text
    "font.family": "DejaVu Sans",  # which comes with matplotlib, so that every machine sets it alike
    "font.size": 9.0,
    "axes.titlesize": 9.0,
    "axes.titlelocation": "left",
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.facecolor": "none",
    "axes.grid": True,
    "axes.formatter.useoffset": False,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "grid.color": RULE,
    "grid.linewidth": 0.6,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "text.color": INK,
    "text.parse_math": False,  # a dollar in a name is a dollar
    "lines.linewidth": 1.4,
    "lines.markersize": 4.5,
    "legend.frameon": False,
    "legend.fontsize": 8.0,
}


@dataclass(frozen=True)
class Picture:
    """A picture for a page: `alt` says in words what it shows, `svg` is markup made here."""

    name: str
    title: str
    caption: str
    alt: str
    svg: str


# Around the panels, in inches. A layout that measures every text would take longer than the drawing itself.
_LEFT_IN, _RIGHT_IN, _TOP_IN, _BOTTOM_IN, _LEGEND_LINE_IN = 0.72, 0.1, 0.2, 0.45, 0.19


@contextmanager
def drawing(
    rows: int = 1,
    *,
    panel_in: float = 2.4,
    ratios: Sequence[float] = (),
    legend_lines: int = 0,
    left_in: float = _LEFT_IN,
) -> Iterator[tuple[Drawing, list[Axes]]]:
    """An empty drawing with `rows` panels above each other that share their x axis; drawn in the look of the page.

    `panel_in` is the height of all panels together, `left_in` the room for labels to their left; `legend_lines` the
    lines of a legend above them: see `legend`.
    """
    top_in = _TOP_IN + _LEGEND_LINE_IN * legend_lines
    height_in = top_in + panel_in + _BOTTOM_IN
    with mpl.rc_context(_STYLE):
        figure = Drawing(figsize=(WIDTH_IN, height_in))
        FigureCanvasSVG(figure)
        panels = figure.subplots(
            rows,
            1,
            sharex=True,
            squeeze=False,
            height_ratios=ratios or [1.0] * rows,
            gridspec_kw={
                "left": left_in / WIDTH_IN,
                "right": 1.0 - _RIGHT_IN / WIDTH_IN,
                "top": 1.0 - top_in / height_in,
                "bottom": _BOTTOM_IN / height_in,
                "hspace": 0.12,
            },
        )
        figure.align_ylabels()
        yield figure, [panel[0] for panel in panels]


def legend(figure: Drawing, axes: Axes, columns: int, left_in: float = _LEFT_IN) -> None:
    """The names of a panel's series, in the space above the panels."""
    figure.legend(
        *axes.get_legend_handles_labels(),
        loc="upper left",
        bbox_to_anchor=(left_in / WIDTH_IN, 1.0),
        ncols=columns,
        borderaxespad=0.0,
        borderpad=0.1,
        columnspacing=1.4,
        labelspacing=0.25,
    )


def lines_of(series: int, columns: int) -> int:
    """How many lines a legend for this count of series needs."""
    return -(-series // columns)


def colour(place: int) -> str:
    """The colour of a series."""
    return SERIES[place % len(SERIES)]


def marker(place: int) -> str:
    """The marker of a series."""
    return MARKERS[place % len(MARKERS)]


def quantities(unit: str) -> FuncFormatter:
    """Ticks as quantities of a unit, without it: 1k, 20m."""
    return FuncFormatter(lambda value, _: render(value, unit, digits=3).removesuffix(unit).replace(" ", ""))


def svg_of(figure: Drawing, name: str, alt: str) -> str:
    """The drawing as an element for a page."""
    with mpl.rc_context({**_STYLE, "svg.hashsalt": name}):
        text = io.StringIO()
        figure.set_facecolor("none")
        FigureCanvasSVG(figure).print_svg(text)  # type: ignore[no-untyped-call]
    return _for_a_page(text.getvalue(), name, alt)


def _for_a_page(text: str, name: str, alt: str) -> str:
    root = ElementTree.fromstring(text)
    _without_namespaces(root)
    _without_needless_parts(root)
    _with_own_ids(root, name)
    box = root.attrib["viewBox"]
    root.attrib.clear()
    root.attrib.update(
        {"viewBox": box, "role": "img", "aria-label": alt, "stroke-linejoin": "round", "stroke-linecap": "butt"}
    )
    for element in root.iter():
        element.text = (element.text or "").strip() if element.tag != "text" else element.text
        element.tail = "\n" if element.tag in ("g", "path", "text", "use") else ""
        for attribute, value in element.attrib.items():
            element.set(attribute, _in_colours(_rounded(value) if attribute in _NUMBERS else value))
    return ElementTree.tostring(root, encoding="unicode").strip()


_NUMBERS = frozenset({"d", "x", "y", "transform", "points"})


def _rounded(value: str) -> str:
    """A tenth of a printer's resolution is enough; further digits differ between machines."""
    return re.sub(r"-?\d+\.\d{3,}", lambda number: f"{float(number[0]):.2f}".rstrip("0").rstrip("."), value)


def _in_colours(value: str) -> str:
    coloured = re.sub(r"#0101\w\w", lambda stand_in: f"var({_VARIABLES[stand_in[0]]})", value)
    # The page's own typeface, at the size that was asked for.
    return re.sub(r"font: (?:bold )?([\d.]+px) [^;]*", r"font-size: \1", coloured)


def _without_namespaces(root: ElementTree.Element) -> None:
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]
        for attribute in [name for name in element.attrib if "}" in name]:
            element.set(attribute.rpartition("}")[2], element.attrib.pop(attribute))


def _without_needless_parts(root: ElementTree.Element) -> None:
    """Removes metadata, and a style that would apply to the whole page."""
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in ("metadata", "style"):
                parent.remove(child)


def _with_own_ids(root: ElementTree.Element, name: str) -> None:
    """Ids that something refers to get the picture's name; the others go."""
    referred = {found for element in root.iter() for value in element.attrib.values() for found in _references(value)}
    for element in root.iter():
        if (own := element.attrib.pop("id", None)) in referred:
            element.set("id", f"{name}-{own}")
        for attribute, value in element.attrib.items():
            for found in _references(value):
                element.set(attribute, value.replace(f"#{found}", f"#{name}-{found}"))


def _references(value: str) -> list[str]:
    return [whole or inner for whole, inner in re.findall(r"^#([\w-]+)$|url\(#([\w-]+)\)", value)]
