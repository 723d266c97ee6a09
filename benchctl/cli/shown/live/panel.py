"""A run as a panel for a terminal: it fits any window, and its first line always says the state.

What is most important is drawn first and largest. In a small window the large characters become small ones, then the
lower lines are left out; nothing wraps and nothing scrolls.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text

from benchctl.cli.shown.live.bars import limit_lines
from benchctl.cli.shown.live.large import has_large, in_large
from benchctl.watch.now import Now, OutputNow, State

_STYLES: dict[State, str] = {
    "opening": "bold",
    "off": "bold green",
    "on": "bold yellow",
    "driven": "bold red",
    "asking": "bold yellow",
    "stopping": "bold red",
    "finished": "bold green",
    "tripped": "bold red",
    "ended": "bold yellow",
    "unsafe": "bold red",
}
# Of the limits, so many stay in sight beside large characters.
_LIMITS_IN_SIGHT = 3
_GAP = "   "
_UNKNOWN = "-"


@dataclass(frozen=True)
class LivePanel:
    """What can be seen of a run now; `foot` are lines that stay at its end, such as the address of a page. In a window
    without room for them they are left out, unless it `keeps_foot`."""

    now: Now
    foot: Sequence[str] = ()
    keeps_foot: bool = False

    def __rich_console__(self, _console: Console, options: ConsoleOptions) -> RenderResult:
        height = options.height or options.size.height
        yield from self._fitted(options.max_width, height, plain=options.ascii_only)

    def _fitted(self, width: int, height: int, *, plain: bool) -> list[Text]:
        """The lines of the panel, no more than `height` and none wider than `width`."""
        drawn, foot = _Drawn(self.now, width, plain=plain), len(self.foot)
        large = (lines for lines in drawn.with_large() if _fits(lines, width, height - foot))
        lines = next(large, None) or drawn.small()
        has_foot = self.keeps_foot or len(lines) + _LIMITS_IN_SIGHT + foot <= height
        ends = [_line(text, "cyan") for text in self.foot] if has_foot else []
        room = height - len(lines) - len(ends)
        lines += drawn.lower(room) if room > 0 else []
        shown = [*lines[: height - len(ends)], *ends]
        for line in shown:
            line.truncate(width, overflow="crop")
        return shown


def _fits(lines: Sequence[Text], width: int, height: int) -> bool:
    """With room for some of the limits."""
    return len(lines) + _LIMITS_IN_SIGHT <= height and all(cell_len(line.plain) <= width for line in lines)


class _Drawn:
    """The parts of a panel."""

    def __init__(self, now: Now, width: int, *, plain: bool) -> None:
        self._now = now
        self._width = width
        self._plain = plain

    def with_large(self) -> Iterator[list[Text]]:
        """What is always shown, in large characters, the largest first; lines of words are cut, not these."""
        if self._plain:
            return
        heads = (self._head(with_time=True), self._head(with_time=False))
        large, small = self._large_outputs(), self._outputs()
        for below in ([*large, *self._large_supply()], [*large, *self._supply()], [*small, *self._supply()]):
            for head in heads:
                yield [*head, *self._words(), *below]

    def small(self) -> list[Text]:
        """The same in small characters: the first line has what counts most."""
        now = self._now
        first = _line(f" {now.headline} ", f"{_STYLES[now.state]} reverse")
        first.append(f" {self._step_and_time()}", style="bold not reverse")
        return [first, *self._words(), *self._outputs(), *self._supply()]

    def lower(self, room: int) -> list[Text]:
        """Limits, parts of the safe state, last results and notes, as far as there is room."""
        now = self._now
        limits = limit_lines(now.limits, self._width, plain=self._plain)
        results = [
            _line(f"{_of(each.channel)}{each.name}: {each.value} {each.verdict}".rstrip(), "") for each in now.results
        ]
        if len(limits) + len(results) > room:
            limits = self._nearest(limits, max(room - len(results), _LIMITS_IN_SIGHT))
        elif 3 * len(limits) + len(results) + len(now.notes) <= room:
            limits = limit_lines(now.limits, self._width, plain=self._plain, high=True)
        lines = [*self._parts(), *limits, *results]
        left = room - len(lines)
        notes = [_line(note, "dim") for note in now.notes]
        return [*lines, *(notes[-left:] if left > 0 else [])]

    def _nearest(self, limits: Sequence[Text], count: int) -> list[Text]:
        """Those that are nearest to their bounds, or have no reading, in their order."""
        used = [1.1 if each.is_missing else each.used or 0.0 for each in self._now.limits]
        chosen = sorted(sorted(range(len(limits)), key=lambda each: -used[each])[:count])
        return [limits[each] for each in chosen]

    def _parts(self) -> list[Text]:
        return [_line(part.words, "green" if part.is_confirmed else "bold red") for part in self._now.parts]

    # -- the head ------------------------------------------------------------------------------------------------

    def _head(self, *, with_time: bool) -> list[Text]:
        """The state in large characters, and beside it the time that is left."""
        now = self._now
        rows = [Text(row, style=_STYLES[now.state]) for row in _even(in_large(now.headline))]
        if with_time and now.remaining:
            for row, more in zip(rows, in_large(f"{now.step}/{now.steps} {now.remaining}"), strict=True):
                row.append(f"{_GAP}{more}", style="bold default")
        below = _line(self._step_and_time(), "bold")
        below.truncate(self._width, overflow="crop")
        return [*rows, below]

    def _step_and_time(self) -> str:
        now = self._now
        left = f"left {now.remaining}" if now.remaining else f"since the start {now.elapsed}" if now.elapsed else ""
        step = f"step {now.step} of {now.steps}" if now.step else ""
        return _GAP.join(filter(None, (step, left, now.label, now.progress)))

    def _words(self) -> list[Text]:
        """What a person must read: the question or the reason, what the run is, and what drives the amplifier."""
        now = self._now
        style = _STYLES[now.state]
        said = [_line(now.sentence, style)] if now.sentence else []
        cut = [line for long in said for line in _wrapped(long, self._width)]
        others = [_line(f"{now.mark}{now.title}", ""), _line(now.drive, "bold")]
        for line in others:
            line.truncate(self._width, overflow="crop")
        return [*cut, *(line for line in others if line.plain)]

    # -- the outputs ---------------------------------------------------------------------------------------------

    def _outputs(self) -> list[Text]:
        lines = []
        for output in self._now.outputs:
            values = _GAP.join(filter(None, (output.power, output.distortion, output.voltage)))
            lines.append(_line(f"{output.channel}{_GAP}{values or _UNKNOWN}", self._style_of_outputs))
        return [*lines, *self._age()]

    def _large_outputs(self) -> list[Text]:
        if self._now.outputs_are_old:  # what is not of now is not large
            return self._outputs()
        lines: list[Text] = []
        for output in self._now.outputs:
            lines += self._large(output)
        return [*lines, *self._age()]

    def _large(self, output: OutputNow) -> list[Text]:
        values = [value for value in (output.power, output.distortion) if value] or [output.voltage or _UNKNOWN]
        return self._large_row(output.channel, values)

    def _large_row(self, name: str, values: Sequence[str]) -> list[Text]:
        named = [_even(in_large(name))] if has_large(name) else [_even([name, "", "", "", ""])]
        parts = [*named, *(_even(in_large(value)) for value in values)]
        return [_line(_GAP.join(row), "bold") for row in zip(*parts, strict=True)]

    def _supply(self) -> list[Text]:
        return [_line(_GAP.join(("supply", *self._now.supply)), "bold")] if self._now.supply else []

    def _large_supply(self) -> list[Text]:
        return self._large_row("supply", self._now.supply) if self._now.supply else []

    def _age(self) -> list[Text]:
        age_s = self._now.record_age_s
        return [] if age_s is None else [_line(f"last record {age_s:.0f} s ago", "dim")]

    @property
    def _style_of_outputs(self) -> str:
        return "dim" if self._now.outputs_are_old else "bold"


def _line(text: str, style: str) -> Text:
    return Text(text.replace("\n", " "), style=style, no_wrap=True, overflow="crop")


def _wrapped(line: Text, width: int) -> list[Text]:
    """A sentence that a person must be able to read whole, in lines of this width."""
    words, lines = line.plain.split(" "), [""]
    for word in words:
        longer = f"{lines[-1]} {word}".strip()
        if cell_len(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return [_line(each, str(line.style)) for each in lines if each]


def _even(rows: Sequence[str]) -> list[str]:
    """All rows as wide as the widest."""
    width = max(map(len, rows))
    return [row.ljust(width) for row in rows]


def _of(channel: str) -> str:
    return f"{channel}  " if channel else ""
