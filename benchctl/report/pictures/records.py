"""The records behind a run's figures, for pictures: one that cannot be read gives no picture, and the page says so."""

from __future__ import annotations

from collections.abc import Iterable

from matplotlib.axes import Axes

from benchctl.archive.captures import load_capture
from benchctl.archive.folder import RunFolder
from benchctl.measure.signal.record import Capture
from benchctl.report.pictures.envelope import Array, envelope


def capture_of(folder: RunFolder, file: str) -> Capture:
    """A capture of the run.

    Raises:
        ArchiveError: it is not there, or is not a whole capture.
    """
    return load_capture(folder.inside(file))


def first_to_last(files: Iterable[str]) -> str:
    """Captures for a caption: the first and the last by their numbers, of many."""
    first, *others = sorted(dict.fromkeys(files))
    return f"{first} to {others[-1]}" if others else first


def plot_envelope(
    axes: Axes, x: Array, y: Array, colour: str, *, label: str, dashes: str = "-", width: float = 0.8
) -> None:
    """A signal as a line; if it has too many samples, as the band between minimum and maximum."""
    found = envelope(x, y)
    if found.low is found.high:
        axes.plot(x, y, dashes, color=colour, label=label)
        return
    axes.fill_between(found.x, found.low, found.high, facecolor=colour, edgecolor=colour, linewidth=width, label=label)
