"""The limits as bars, in lines that never wrap."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text

from benchctl.watch.now import LimitNow

# From this part of the bound on, a bar has this colour.
NEAR, AT_THE_EDGE = 0.8, 0.9
_FULL, _EMPTY = "█", "·"
_FULL_ASCII, _EMPTY_ASCII = "#", "."
# Characters of a bar: at least, at most, and with the words beside it.
_NARROWEST, _WIDEST = 8, 80
_GAP = "  "


def limit_lines(limits: Sequence[LimitNow], width: int, *, plain: bool = False, high: bool = False) -> list[Text]:
    """One line for each limit: signal, reading, bar, bound. An old reading has no bar.

    Args:
        plain: the terminal has ASCII only.
        high: three lines for each: bars as high as two, and a gap.
    """
    if not limits:
        return []
    widths = [max(len(text) for text in column) for column in zip(*map(_words, limits), strict=True)]
    bar = min(max(width - sum(widths) - 3 * len(_GAP), _NARROWEST), _WIDEST)
    lines = []
    for limit in limits:
        lines.append(_line(limit, widths, bar, plain=plain))
        lines += [_second_line(limit, widths, bar, plain=plain), Text()] if high else []
    return lines


def _words(limit: LimitNow) -> tuple[str, str, str]:
    # An old reading takes the room of the bar, and makes no column wider.
    return limit.signal, limit.reading if limit.used is not None else "", limit.bound


def _line(limit: LimitNow, widths: Sequence[int], bar: int, *, plain: bool) -> Text:
    signal, reading, _ = widths
    line = Text(f"{limit.signal:<{signal}}{_GAP}", no_wrap=True, overflow="crop")
    if limit.used is None:
        room = reading + len(_GAP) + bar
        line.append(f"{limit.reading:<{room}}", style="bold red" if limit.is_missing else "dim")
    else:
        line.append(f"{limit.reading:<{reading}}{_GAP}", style="bold")
        line.append(_bar(limit.used, bar, plain=plain), style=_style(limit.used))
    return line.append(f"{_GAP}{limit.bound}", style="dim")


def _second_line(limit: LimitNow, widths: Sequence[int], bar: int, *, plain: bool) -> Text:
    """The bar alone, under itself."""
    before = " " * (widths[0] + widths[1] + 2 * len(_GAP))
    line = Text(before, no_wrap=True, overflow="crop")
    return line if limit.used is None else line.append(_bar(limit.used, bar, plain=plain), style=_style(limit.used))


def _bar(used: float, width: int, *, plain: bool) -> str:
    """A reading that is not nought shows, and only one at its bound fills the bar."""
    full, empty = (_FULL_ASCII, _EMPTY_ASCII) if plain else (_FULL, _EMPTY)
    count = width if used >= 1.0 else min(round(used * width), width - 1)
    return full * count + empty * (width - count)


def _style(used: float) -> str:
    return "bold red" if used >= AT_THE_EDGE else "yellow" if used >= NEAR else "green"
