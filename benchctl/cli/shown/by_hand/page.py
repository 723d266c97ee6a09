"""The page that a person sees while they drive by hand: large figures, limits as bars, keys."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from benchctl.cli.shown.bars import limits_table
from benchctl.cli.shown.by_hand.keys import Keys, keys_of_terminal
from benchctl.cli.shown.by_hand.large import in_large
from benchctl.cli.shown.closing_line import mark_in_words
from benchctl.cli.shown.views import REFRESHES_PER_S, LiveView, stopping_in_words
from benchctl.measure.conditions import Conditions
from benchctl.quantity import render
from benchctl.runner.acting.desk import OutputReading, Readings, Wish, WishKind

_WISHES: dict[str, WishKind] = {
    "o": "switch",
    " ": "drive",
    "up": "louder",
    "down": "softer",
    "page up": "much louder",
    "page down": "much softer",
    "right": "higher",
    "left": "lower",
    "l": "load",
    "b": "bursts",
    "d": "channel",
    "h": "hold",
    "c": "keep",
    "q": "end",
}
KEYS_IN_WORDS = (
    "o on/off   space signal on/off   up/down 1 dB   page up/down 6 dB   left/right frequency   l load",
    "b bursts or tone   d driven channel   h hold   c keep a record   n note   q end   any other key: I am here",
)
# With fewer lines than this, or fewer columns, the figures are small: everything else must stay in sight.
LINES_FOR_LARGE, COLUMNS_FOR_LARGE = 34, 100
NOTES_SHOWN = 4
_UNKNOWN = "-"


class Page(LiveView):
    """The terminal of a person who drives by hand: it shows the run, and it is the desk whose keys the run obeys."""

    def __init__(self, keys: Keys) -> None:
        super().__init__()
        self._keys = keys
        self._readings = Readings()
        self._written: str | None = None

    # -- as a desk -----------------------------------------------------------------------------------------------

    def wishes(self) -> Sequence[Wish]:
        """What the keys since the last call ask for."""
        return [self._wish_of(key) for key in self._keys.pressed()]

    def show(self, readings: Readings) -> None:
        self._readings = readings

    def _wish_of(self, key: str) -> Wish:
        if self._written is not None:
            return self._written_on(key)
        if key == "n":
            self._written = ""
            return Wish("present")
        return Wish(_WISHES.get(key, "present"))

    def _written_on(self, key: str) -> Wish:
        """A note goes on until Enter; the escape key gives it up."""
        written = self._written or ""
        match key:
            case "enter":
                self._written = None
                return Wish("note", written)
            case "\x1b":
                self._written = None
            case "backspace":
                self._written = written[:-1]
            case _ if len(key) == 1 and key.isprintable():
                self._written = written + key
        return Wish("present")

    # -- what is seen --------------------------------------------------------------------------------------------

    def __rich__(self) -> RenderableType:
        if self._run is None or self.checked is None:
            return Text("Opening the bench ...")
        run, console = self.run, self.live.console if self.live is not None else Console()
        guard = run.guard
        is_large = console.height >= LINES_FOR_LARGE and console.width >= COLUMNS_FOR_LARGE
        above = [state_in_words(self._readings)]
        if (reason := run.interlock.reason) is not None:
            above = [stopping_in_words(reason, guard.parts)]
        figures = figures_of(self._readings, guard.readings, is_large=is_large, plain=console.options.ascii_only)
        bars = limits_table(guard.watches, guard.readings, guard, energised=guard.energised)
        title = Text(f"{mark_in_words(run.recorder.simulation)}{run.files.amplifier.title}")
        return Panel(Group(*above, figures, bars, self._notes(), self._below()), title=title)

    def _notes(self) -> Text:
        lines = list(self._lines)[-NOTES_SHOWN:]
        return Text("\n".join(lines), style="dim", no_wrap=True, overflow="ellipsis")

    def _below(self) -> Text:
        if self._written is not None:
            return Text(f"note: {self._written}_   (Enter keeps it, Esc does not)", style="bold")
        return Text("\n".join(KEYS_IN_WORDS), style="cyan")


def state_in_words(readings: Readings) -> Text:
    """One line: on or off, with a signal or without, and what is set."""
    if not readings.is_on:
        text = Text("OFF", style="bold")
    elif not readings.is_driven:
        text = Text("ON, no signal", style="bold yellow")
    else:
        text = Text("ON, WITH A SIGNAL", style="bold red")
    text.append(f"   {_set_in_words(readings)}", style="not bold default")
    if readings.left_s is not None:
        text.append(
            f"   the signal goes off in {readings.left_s:.0f} s unless a key is pressed", style="not bold default"
        )
    if readings.is_held:
        text.append("   HELD: the readings below are old", style="bold yellow")
    return text


def _set_in_words(readings: Readings) -> str:
    wanted = readings.wanted
    parts = (
        render(readings.level_v, "V") if readings.level_v else "",
        _unless_none(wanted.frequency_hz, "Hz"),
        f"load {render(wanted.load_ohm, 'ohm')}" if wanted.load_ohm is not None else "no load",
        readings.bursts,
        _driven_in_words(wanted),
    )
    return ", ".join(filter(None, parts))


def _driven_in_words(wanted: Conditions) -> str:
    return f"{' and '.join(wanted.driven)} driven" if wanted.driven else ""


def figures_of(
    readings: Readings, guarded: dict[str, float | None], *, is_large: bool, plain: bool = False
) -> RenderableType:
    """The readings of outputs and supply, in large characters where there is room."""
    rows = [(channel, *_of_output(output)) for channel, output in readings.outputs.items()]
    rows.append(
        (
            "supply",
            _unless_none(guarded.get("supply_voltage"), "V"),
            _unless_none(guarded.get("supply_current"), "A"),
            _unless_none(guarded.get("heatsink"), "degC"),
        )
    )
    table = Table.grid(padding=(0, 3))
    for _ in range(4):
        table.add_column()
    for name, *values in rows:
        shown = ["\n".join(in_large(value or _UNKNOWN, plain=plain or not is_large)) for value in values]
        table.add_row(Text(name, style="bold"), *(Text(value, style="bold") for value in shown))
    return table


def _of_output(output: OutputReading) -> tuple[str, str, str]:
    """Volts, watts and distortion; of a quiet output its dc, of bursts their peak."""
    if output.dc_v is not None:
        return f"{render(output.dc_v, 'V', digits=3)} dc", "", ""
    if output.peak_v is not None:
        return f"{render(output.peak_v, 'V', digits=3)} peak", "", ""
    sign = "<" if output.is_bound else ""
    distortion = "" if output.thd_n is None else f"{sign}{render(output.thd_n, '1', digits=2)}"
    return _unless_none(output.rms_v, "V"), _unless_none(output.power_w, "W"), distortion


def _unless_none(value: float | None, unit: str) -> str:
    return "" if value is None else render(value, unit, digits=3)


@contextmanager
def page_of_terminal(console: Console) -> Iterator[Page]:
    """The page, on the whole terminal, which is as it was afterwards.

    Raises:
        UsageError: standard input is no terminal.
    """
    with keys_of_terminal() as keys:
        page = Page(keys)
        with Live(page, console=console, refresh_per_second=REFRESHES_PER_S, screen=True, transient=True) as live:
            page.live = live
            yield page
