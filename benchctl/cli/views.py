"""What a person sees while a run goes on: a live view on a terminal, plain lines elsewhere."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Protocol

import click
from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.panel import Panel
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from benchctl.cli.preflight import in_minutes
from benchctl.cli.tables import value_in_words
from benchctl.guard.limits import Watch
from benchctl.launch.run import RunObserver
from benchctl.measure.figure import Figure
from benchctl.quantity import render
from benchctl.runner.plan import PlannedStep
from benchctl.runner.preflight import Preflight
from benchctl.runner.run import Run

LINES_KEPT = 8
REFRESHES_PER_S = 4
# Of all figures of a step these are shown while it runs; the closing tables have the rest.
_SHOWN = ("idle_current", "burst_power_clean", "continuous_power", "efficiency", "heatsink_temperature")


class View(RunObserver, Protocol):
    """An observer that shows the run; `run` may be asked for once it has started."""

    @property
    def has_started(self) -> bool: ...

    @property
    def run(self) -> Run: ...


@contextmanager
def view_for(console: Console) -> Iterator[View]:
    """The view that suits where the output goes."""
    if not console.is_terminal:
        yield PlainView(console)
        return
    live_view = LiveView()
    with Live(live_view, console=console, refresh_per_second=REFRESHES_PER_S, transient=True):
        yield live_view


class PlainView:
    """A line an event."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._run: Run | None = None
        self.checked: Preflight | None = None

    @property
    def has_started(self) -> bool:
        """Whether the bench is open and an operator's stop can reach it."""
        return self._run is not None

    @property
    def run(self) -> Run:
        if self._run is None:
            raise RuntimeError("the run has not started")
        return self._run

    def started(self, checked: Preflight, run: Run) -> None:
        self.checked, self._run = checked, run
        self._say(f"{run.files.sequence.title}: {run.files.amplifier.title} on {run.files.bench.title}")
        self._say(f"{len(checked.plan)} steps, about {in_minutes(checked.duration_s)} and the time to cool")

    def step_started(self, index: int, planned: PlannedStep) -> None:
        total = len(self.checked.plan) if self.checked else 0
        self._say(f"{clock_face(self.run.clock.now())}  step {index + 1} of {total}: {planned.label}")

    def figures(self, _planned: PlannedStep, figures: Sequence[Figure]) -> None:
        for line in figure_lines(figures):
            self._say(f"          {line}")

    def note(self, text: str) -> None:
        self._say(f"{clock_face(self.run.clock.now())}  {text}")

    def hands_needed(self, request: str) -> None:
        click.prompt(f"{request}, then press Enter", default="", show_default=False)

    def _say(self, line: str) -> None:
        self._console.print(line, markup=False, highlight=False, soft_wrap=True)


class LiveView(PlainView):
    """A panel that is drawn again several times a second: step, time, limits as bars, the last figures."""

    def __init__(self) -> None:
        super().__init__(Console(quiet=True))
        self._index = 0
        self._planned: PlannedStep | None = None
        self._step_began_s = 0.0
        self._lines: deque[str] = deque(maxlen=LINES_KEPT)

    def step_started(self, index: int, planned: PlannedStep) -> None:
        self._index, self._planned = index, planned
        self._step_began_s = self.run.clock.now()

    def _say(self, line: str) -> None:
        self._lines.append(line)

    def __rich__(self) -> RenderableType:
        if self._run is None or self.checked is None:
            return Text("Opening the bench ...")
        parts: list[RenderableType] = [self._progress(), limits_table(self.run.guard.watches)]
        parts.append(Text("\n".join(self._lines), style="dim", no_wrap=True, overflow="ellipsis"))
        return Panel(Group(*parts), title=self.run.files.sequence.title)

    def _progress(self) -> Text:
        assert self.checked is not None
        label = self._planned.label if self._planned else "preparing"
        now_s = self.run.clock.now()
        remaining_s = self._remaining_s(now_s)
        return Text(
            f"step {self._index + 1} of {len(self.checked.plan)}  {label}\n"
            f"elapsed {clock_face(now_s)}  remaining about {clock_face(remaining_s)} and the time to cool",
            style="bold",
        )

    def _remaining_s(self, now_s: float) -> float:
        assert self.checked is not None
        forecasts = self.checked.forecasts[self._index :]
        left_in_step_s = max(0.0, forecasts[0].duration_s - (now_s - self._step_began_s))
        return left_in_step_s + sum(forecast.duration_s for forecast in forecasts[1:])


def limits_table(watches: Sequence[Watch]) -> Table:
    """Each limit as a bar against its bound."""
    table = Table.grid(padding=(0, 2))
    for _ in range(4):
        table.add_column()
    for watch in watches:
        reading = "-" if watch.value is None else render(watch.value, watch.limit.bound.unit)
        table.add_row(watch.limit.signal, reading, _bar(watch), Text(str(watch.limit.bound), style="dim"))
    return table


def _bar(watch: Watch) -> ProgressBar:
    used = fraction_used(watch)
    style = "red" if used >= 0.9 else "yellow" if used >= 0.7 else "green"
    return ProgressBar(total=1.0, completed=min(used, 1.0), width=24, complete_style=style, finished_style="red")


def fraction_used(watch: Watch) -> float:
    """How far a reading is on its way to the nearer of its bounds, 0 to 1; 1 where it cannot be read."""
    value, bound = watch.value, watch.limit.bound
    if value is None:
        return 0.0
    upward = value / bound.high if bound.high not in (0.0, float("inf")) else 0.0
    downward = bound.low / value if value and bound.low > 0 else 0.0
    if bound.low < 0:
        downward = value / bound.low
    return max(0.0, upward, downward)


def figure_lines(figures: Sequence[Figure]) -> list[str]:
    """The figures worth a line while the run goes on."""
    lines = []
    for figure in figures:
        if figure.name in _SHOWN and figure.channel != "total":
            of = " ".join(
                filter(None, [figure.channel, f"{figure.burst_cycles} cycles" if figure.burst_cycles else ""])
            )
            unit = "%" if figure.unit == "1" else figure.unit
            lines.append(
                f"{figure.name} {of}: {value_in_words(figure)} {unit} {figure.verdict}".replace(" :", ":").rstrip()
            )
    return lines


def clock_face(seconds: float) -> str:
    """h:mm:ss."""
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
