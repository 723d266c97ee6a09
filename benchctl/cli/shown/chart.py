"""A small chart in plain characters: block characters, or ASCII if the terminal has only that."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text

HEIGHT = 4
_MOST_COLUMNS = 100
_LABEL = 6  # characters for a value beside the axis
# From empty to full; there is one step less than there are characters.
_EIGHTHS = " ▁▂▃▄▅▆▇█"
_ASCII = " .:#"
_ROUND = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


@dataclass(frozen=True)
class Series:
    """What is drawn: the highest value in each stretch of time, between two values of the axis."""

    title: str
    lowest: float
    highest_in: Callable[[float, float], float]


@dataclass(frozen=True)
class Chart:
    """Series against the same time, one under the other; `in_words` gives a time of the axis as text."""

    series: Sequence[Series]
    span_s: float
    in_words: Callable[[float], str]

    def __rich_console__(self, _console: Console, options: ConsoleOptions) -> RenderResult:
        columns = min(options.max_width - _LABEL - 2, _MOST_COLUMNS)
        if columns < 10 or self.span_s <= 0.0:
            return
        is_ascii = options.ascii_only
        edges_s = [self.span_s * edge / columns for edge in range(columns + 1)]
        for series in self.series:
            values = [series.highest_in(start, end) for start, end in pairwise(edges_s)]
            highest = _round_up(max(values), series.lowest)
            yield Text(series.title, style="bold")
            parts = [(value - series.lowest) / (highest - series.lowest) for value in values]
            for row, line in enumerate(_lines(parts, _ASCII if is_ascii else _EIGHTHS)):
                label = f"{highest:g}" if row == 0 else f"{series.lowest:g}" if row == HEIGHT - 1 else ""
                yield Text(f"{label:>{_LABEL}} {'|' if is_ascii else '│'}{line}", no_wrap=True)
        yield Text(f"{'':>{_LABEL}} {'+' if is_ascii else '└'}{('-' if is_ascii else '─') * columns}", no_wrap=True)
        yield Text(f"{'':>{_LABEL}}  {self._ticks(columns)}", no_wrap=True)

    def _ticks(self, columns: int) -> str:
        """The beginning, the middle and the end of the time axis."""
        first, middle, last = (self.in_words(part * self.span_s) for part in (0.0, 0.5, 1.0))
        before_middle = max(columns // 2 - len(first) - len(middle) // 2, 1)
        line = f"{first}{' ' * before_middle}{middle}"
        return line + last.rjust(columns - len(line))


def _lines(parts: Sequence[float], levels: str) -> list[str]:
    """Columns as high as `parts` of the chart, from its top line to its bottom one; anything above zero is visible."""
    steps = len(levels) - 1
    heights = [math.ceil(min(max(part, 0.0), 1.0) * HEIGHT * steps - 1e-9) for part in parts]
    return [
        "".join(levels[min(max(height - row * steps, 0), steps)] for height in heights).rstrip()
        for row in reversed(range(HEIGHT))
    ]


def _round_up(value: float, lowest: float) -> float:
    """An end of the axis that is easy to read and not far above the value."""
    reach = max(value - lowest, 1e-3)
    decade = 10.0 ** math.floor(math.log10(reach))
    return lowest + next(step * decade for step in _ROUND if step * decade >= reach * (1.0 - 1e-9))
