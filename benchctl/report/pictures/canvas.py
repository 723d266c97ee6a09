"""Draws pictures in one style: as markup for a page, or on sheets of other sizes; both the same each time.

What is drawn has the colours of a light page. In a page's markup they become the page's own variables, so a picture
also fits the dark style. The date, unused ids and needless digits are removed. The other ids get the picture's name, or
two pictures on one page would share an id.
"""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure as Drawing
from matplotlib.ticker import FuncFormatter

from benchctl.quantity import render

PAPER, INK, SOFT, RULE, WARNING = "#ffffff", "#1b1f24", "#57606a", "#d5dae0", "#7d5300"
# Those of Okabe and Ito (jfly.uni-koeln.de/color) that stand out from white by 3:1, and a brown and a black. Readers
# with any kind of colour vision can tell each from the others.
SERIES = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#5c2a00", "#0b0b0b")
VARIABLES = {PAPER: "--paper", INK: "--ink", SOFT: "--soft", RULE: "--rule", WARNING: "--untold"} | {
    shade: f"--series-{number}" for number, shade in enumerate(SERIES)
}
# Used with the colour, so that a picture can be read without colours.
MARKERS = ("o", "s", "^", "D", "v", "P")
DASHES = ("-", "--", ":", "-.")

STYLE: dict[Any, Any] = {
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


@dataclass(frozen=True)
class Sheet:
    """What a picture is drawn on, in inches: its width, its height, what stays free for words above and below, and the
    margin at the sides.

    A sheet of no height is as high as its panels need. On one of a fixed height they take what is left; their names
    stand above them, where nobody must turn the head, and those of the series in a column at the right, `side_in` wide.
    """

    width_in: float
    height_in: float | None = None
    head_in: float = 0.0
    foot_in: float = 0.0
    margin_in: float = 0.0
    side_in: float = 0.0


# As wide as a phone shows without shrinking; a page with more room sets two side by side.
PAGE = Sheet(width_in=5.0)

# The sheet of the drawings that are made now, and where they are kept; of a page's, only the markup is needed.
_SHEET: ContextVar[tuple[Sheet, dict[str, Drawing] | None]] = ContextVar("sheet", default=(PAGE, None))


@contextmanager
def drawn_on(sheet: Sheet) -> Iterator[dict[str, Drawing]]:
    """Every picture that is made in the block is drawn on this sheet, and kept by its name; it has no markup."""
    kept: dict[str, Drawing] = {}
    before = _SHEET.set((sheet, kept))
    try:
        yield kept
    finally:
        _SHEET.reset(before)


def is_narrow() -> bool:
    """Whether what is drawn now has a column of words at its side, and so less room for the names at an axis."""
    sheet, _ = _SHEET.get()
    return bool(sheet.side_in)


# Around the panels, in inches. A layout that measures every text would take longer than the drawing itself.
_LEFT_IN, _RIGHT_IN, _TOP_IN, _BOTTOM_IN, _LEGEND_LINE_IN = 0.72, 0.1, 0.2, 0.45, 0.19
_NARROW_PT = 8.0  # letters at the axes of a sheet with a column at the side
# On a sheet of a fixed height: for a panel's name above it, for the numbers and the name of the axis below, and the
# room of a name that does not stand at the left; and how many letters a line of a series' name has.
_NAME_IN, _AXIS_IN, _LABEL_IN, _WIDEST = 0.2, 0.42, 0.26, 22


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
    sheet, _ = _SHEET.get()
    room = _room_of(sheet, panel_in, legend_lines, left_in)
    with mpl.rc_context(STYLE):
        figure = Drawing(figsize=(sheet.width_in, room.height_in))
        FigureCanvasSVG(figure)
        panels = figure.subplots(rows, 1, sharex=True, squeeze=False, height_ratios=ratios or [1.0] * rows)
        figure.subplots_adjust(**room.shares(sheet.width_in, rows))
        figure.align_ylabels()
        yield figure, [panel[0] for panel in panels]
        if sheet.side_in:
            _for_a_narrow_panel(figure)


@dataclass(frozen=True)
class _Room:
    """Around the panels and between them, and the height of the whole, in inches."""

    left_in: float
    right_in: float
    top_in: float
    bottom_in: float
    height_in: float
    between_in: float | None = None

    def shares(self, width_in: float, rows: int) -> dict[str, float]:
        """As matplotlib counts: from the lower left, as shares of the whole; between panels, of a panel's height."""
        shares = {
            "left": self.left_in / width_in,
            "right": 1.0 - self.right_in / width_in,
            "top": 1.0 - self.top_in / self.height_in,
            "bottom": self.bottom_in / self.height_in,
        }
        if self.between_in is None:
            return shares | {"hspace": 0.12}
        panels_in = self.height_in - self.top_in - self.bottom_in - self.between_in * (rows - 1)
        return shares | {"hspace": self.between_in * rows / panels_in}


def _room_of(sheet: Sheet, panel_in: float, legend_lines: int, left_in: float) -> _Room:
    left_in, right_in = sheet.margin_in + left_in, sheet.margin_in + sheet.side_in + _RIGHT_IN
    if sheet.height_in is not None:
        left_in, top_in, bottom_in = left_in - _LABEL_IN, sheet.head_in + _NAME_IN, sheet.foot_in + _AXIS_IN
        return _Room(left_in, right_in, top_in, bottom_in, sheet.height_in, _NAME_IN)
    top_in, bottom_in = sheet.head_in + _TOP_IN + _LEGEND_LINE_IN * legend_lines, sheet.foot_in + _BOTTOM_IN
    return _Room(left_in, right_in, top_in, bottom_in, top_in + panel_in + bottom_in)


def _for_a_narrow_panel(figure: Drawing) -> None:
    """Each panel's own name above it; the names of its series beside it; notes that only a page explains left out."""
    for panel in figure.axes:
        for note in [text for text in panel.texts if text.get_position()[1] == 1.0]:
            note.remove()
        panel.set_title(panel.get_ylabel(), loc="left", x=-0.01, pad=3.0)
        panel.set_ylabel("")
        panel.tick_params(labelsize=_NARROW_PT)
        if (within := panel.get_legend()) is not None:
            within.remove()
            legend(figure, panel, columns=1)


def legend(figure: Drawing, axes: Axes, columns: int, left_in: float = _LEFT_IN) -> None:
    """The names of a panel's series, in the space above the panels, or in the column beside them."""
    sheet, _ = _SHEET.get()
    handles, labels = axes.get_legend_handles_labels()
    width_in, height_in = figure.get_size_inches()
    look: dict[str, Any] = {"loc": "upper left", "ncols": columns, "columnspacing": 1.4}
    place = ((sheet.margin_in + left_in) / width_in, 1.0 - sheet.head_in / height_in)
    if sheet.side_in:
        labels = [textwrap.fill(label, _WIDEST) for label in labels]
        look = {"loc": "lower left", "fontsize": _NARROW_PT - 0.5, "handlelength": 1.7, "handletextpad": 0.5}
        place = (1.0 - (sheet.margin_in + sheet.side_in) / width_in, (sheet.foot_in + 0.1) / height_in)
    figure.legend(handles, labels, bbox_to_anchor=place, borderaxespad=0.0, borderpad=0.1, labelspacing=0.25, **look)


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
    """The drawing as an element for a page; nothing where it is drawn on another sheet, which keeps it."""
    _, kept = _SHEET.get()
    if kept is not None:
        kept[name] = figure
        return ""
    root = _tree_of(figure, name, background="none")
    _as_an_image(root, alt)
    for element in root.iter():
        for attribute, value in element.attrib.items():
            element.set(attribute, _in_variables(value))
    return ElementTree.tostring(root, encoding="unicode").strip()


def svg_file_of(figure: Drawing, name: str, alt: str, width_px: int) -> bytes:
    """The drawing as a file that stands alone, on white."""
    root = _tree_of(figure, name, background=PAPER)
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    _as_an_image(root, alt)
    size = {"width": str(width_px), "height": f"{width_px * height / width:.0f}"}
    root.attrib.update({"xmlns": "http://www.w3.org/2000/svg", **size})
    return (ElementTree.tostring(root, encoding="unicode") + "\n").encode("utf-8")


def png_file_of(figure: Drawing, width_px: int) -> bytes:
    """The drawing as an image of so many pixels across, on white."""
    with mpl.rc_context(STYLE):
        file = io.BytesIO()
        figure.set_facecolor(PAPER)
        figure.set_dpi(width_px / figure.get_figwidth())
        FigureCanvasAgg(figure).print_png(file, metadata={"Software": None})  # type: ignore[no-untyped-call]
    return file.getvalue()


def _tree_of(figure: Drawing, name: str, background: str) -> ElementTree.Element:
    """The drawing's elements without what a reader of it has no need for, which would also differ each time."""
    with mpl.rc_context({**STYLE, "svg.hashsalt": name}):
        text = io.StringIO()
        figure.set_facecolor(background)
        FigureCanvasSVG(figure).print_svg(text)  # type: ignore[no-untyped-call]
    root = ElementTree.fromstring(text.getvalue())
    _without_namespaces(root)
    _without_needless_parts(root)
    _with_own_ids(root, name)
    for element in root.iter():
        element.text = (element.text or "").strip() if element.tag != "text" else element.text
        element.tail = "\n" if element.tag in ("g", "path", "text", "use") else ""
        for attribute in _NUMBERS & element.attrib.keys():
            element.set(attribute, _rounded(element.attrib[attribute]))
    return root


def _as_an_image(root: ElementTree.Element, alt: str) -> None:
    """An element that a screen reader says the words of."""
    box = root.attrib["viewBox"]
    root.attrib.clear()
    root.attrib.update(
        {"viewBox": box, "role": "img", "aria-label": alt, "stroke-linejoin": "round", "stroke-linecap": "butt"}
    )


_NUMBERS = frozenset({"d", "x", "y", "transform", "points"})


def _rounded(value: str) -> str:
    """A tenth of a printer's resolution is enough; further digits differ between machines."""
    return re.sub(r"-?\d+\.\d{3,}", lambda number: f"{float(number[0]):.2f}".rstrip("0").rstrip("."), value)


def _in_variables(value: str) -> str:
    """In the page's own colours; an attribute that is only a colour keeps it."""
    coloured = re.sub(r"(?<=: )#[0-9a-f]{6}\b", lambda colour: f"var({VARIABLES[colour[0]]})", value)
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
