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
from rich.text import Text

from benchctl.archive.journal.events import OUTPUT_LOST
from benchctl.cli.shown.bars import limits_table
from benchctl.cli.shown.closing_line import mark_in_words
from benchctl.cli.shown.preflight import time_in_words
from benchctl.clock import RealClock
from benchctl.errors import BenchctlError, OperatorStop
from benchctl.guard.confirmation import Confirmation
from benchctl.launch.run import RunObserver
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import burst_in_words, unit_in_words, value_in_words
from benchctl.outlet import is_shown, lost_outputs, wait_for_outputs
from benchctl.quantity import clock_face
from benchctl.runner.acting.run import Run
from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.plan import PlannedStep

LINES_KEPT = 8
REFRESHES_PER_S = 4
# A terminal that has stopped (Ctrl-S), or a pipe that nobody reads, delays a real run by no more than this.
OUTPUT_PATIENCE_S = 0.5
# A plain view shows the progress of a step this often, and of a shorter step not at all.
PROGRESS_EVERY_S = 60.0
# Of all figures of a step these are shown while it runs; the closing tables have the rest.
_SHOWN = ("idle_current", "burst_power_clean", "continuous_power", "efficiency", "heatsink_temperature")


class View(RunObserver, Protocol):
    """An observer that shows the run; `run` may be asked for once it has started, and `checked` is known then."""

    checked: Preflight | None

    @property
    def has_started(self) -> bool: ...

    @property
    def is_asking(self) -> bool: ...

    @property
    def run(self) -> Run: ...


@contextmanager
def view_for(console: Console) -> Iterator[View]:
    """The view that suits where the output goes."""
    if not console.is_terminal:
        yield PlainView(console)
        return
    live_view = LiveView()
    with Live(live_view, console=console, refresh_per_second=REFRESHES_PER_S, transient=True) as live:
        live_view.live = live
        yield live_view


class PlainView:
    """A line an event."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._run: Run | None = None
        self.checked: Preflight | None = None
        self.is_asking = False
        self._next_progress_s = 0.0
        self._lost: set[str] = set()

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
        is_first_part, self.checked, self._run = self._run is None, checked, run
        if isinstance(run.clock, RealClock):  # what is energised must not stay so because nobody reads
            wait_for_outputs(OUTPUT_PATIENCE_S)
        if is_first_part:
            self._say(f"{run.files.sequence.title}: {run.files.amplifier.title} on {run.files.bench.title}")
            self._say(f"{len(checked.plan)} steps. {time_in_words(checked)}")
            if mark := mark_in_words(run.recorder.simulation):
                self._say(mark.rstrip(), style="bold")

    def step_started(self, index: int, planned: PlannedStep) -> None:
        self._next_progress_s = self.run.clock.now() + PROGRESS_EVERY_S
        total = len(self.checked.plan) if self.checked else 0
        self._say(f"{clock_face(self.run.clock.now())}  step {index + 1} of {total}: {planned.label}")

    def figures(self, _planned: PlannedStep, figures: Sequence[Figure]) -> None:
        for line in figure_lines(figures):
            self._say(f"          {line}")

    def note(self, text: str) -> None:
        self._say(f"{clock_face(self.run.clock.now())}  {text}")

    def stopping(self, text: str) -> None:
        """At once, before anything is known to be off."""
        self._say(text, style="bold")

    def alarm(self, text: str) -> None:
        """At once, in red."""
        self._say(text, style="bold red")

    def relief(self, text: str) -> None:
        self._say(text)

    def progress(self, text: str) -> None:
        """A line now and then: without a panel there is nothing to draw again."""
        if self.run.clock.now() >= self._next_progress_s:
            self._next_progress_s = self.run.clock.now() + PROGRESS_EVERY_S
            self.note(text)

    def hands_needed(self, request: str) -> None:
        """Ask, and wait for Enter; OperatorStop as for `answer`."""
        self._ask(f"{request}, then press Enter", default="")

    def answer(self, question: str) -> str:
        """Ask for a line.

        Raises:
            OperatorStop: the person pressed Ctrl-C instead, or there is nobody to ask.
        """
        return self._ask(question)

    def _ask(self, question: str, default: str | None = None) -> str:
        self.is_asking = True
        try:
            if not is_shown(lambda: click.echo(question, nl=False, err=True)):
                raise OperatorStop(f"stopped, because nobody can see what is asked: {question}")
            return str(click.prompt("", default=default, show_default=False, err=True))
        except click.Abort:
            raise OperatorStop(f"stopped by the operator, who was asked: {question}") from None
        finally:
            self.is_asking = False

    def _say(self, line: str, style: str = "") -> None:
        self._console.print(line, style=style, markup=False, emoji=False, highlight=False, soft_wrap=True)
        self._journal_lost_outputs()

    def _journal_lost_outputs(self) -> None:
        """Keep, once for each stream, that not all of it could be shown; the run goes on."""
        for stream, reason in lost_outputs().items():
            if stream not in self._lost:
                self._lost.add(stream)
                self.run.recorder.event(OUTPUT_LOST, stream=stream, reason=reason)


class LiveView(PlainView):
    """A panel that is drawn again several times a second: step, time, limits as bars, the last figures."""

    def __init__(self) -> None:
        super().__init__(Console(quiet=True))
        self.live: Live | None = None
        self._index = 0
        self._planned: PlannedStep | None = None
        self._step_began_s = 0.0
        self._step_progress = ""
        self._lines: deque[str] = deque(maxlen=LINES_KEPT)

    def step_started(self, index: int, planned: PlannedStep) -> None:
        self._index, self._planned, self._step_progress = index, planned, ""
        self._step_began_s = self.run.clock.now()
        self._journal_lost_outputs()

    def alarm(self, text: str) -> None:
        """In lines below each other from now on: the guardian writes to this terminal too, and a panel that is drawn
        again and again would write over its words."""
        self._leave_panel()
        super().alarm(text)

    def _leave_panel(self) -> None:
        if self.live is not None:
            self._console, live, self.live = self.live.console, self.live, None
            live.stop()

    def _ask(self, question: str, default: str | None = None) -> str:
        """Ask below the panel, which is not drawn over the question meanwhile."""
        if self.live is None:
            return super()._ask(question, default)
        self.live.stop()
        try:
            return super()._ask(question, default)
        finally:
            if self.live is not None:
                self.live.start()

    def progress(self, text: str) -> None:
        self._step_progress = text

    def _say(self, line: str, style: str = "") -> None:
        self._lines.append(line)
        super()._say(line, style)  # seen where the panel has been left

    def __rich__(self) -> RenderableType:
        if self._run is None or self.checked is None:
            return Text("Opening the bench ...")
        guard = self.run.guard
        bars = limits_table(guard.watches, guard.readings, guard, energised=guard.energised)
        lines = Text("\n".join(self._lines), style="dim", no_wrap=True, overflow="ellipsis")
        reason = self.run.interlock.reason
        above = [self._progress()] if reason is None else [stopping_in_words(reason, guard.parts)]
        mark = mark_in_words(self.run.recorder.simulation)
        return Panel(Group(*above, bars, lines), title=Text(f"{mark}{self.run.files.sequence.title}"))

    def _progress(self) -> Text:
        assert self.checked is not None
        label = self._planned.label if self._planned else "preparing"
        now_s = self.run.clock.now()
        remaining_s = self._remaining_s(now_s)
        return Text(
            f"step {self._index + 1} of {len(self.checked.plan)}  {label}  {self._step_progress}".rstrip() + "\n"
            f"elapsed {clock_face(now_s)}  remaining about {clock_face(remaining_s)}",
            style="bold",
        )

    def _remaining_s(self, now_s: float) -> float:
        assert self.checked is not None
        step, *later = self.checked.expected_steps[self._index :]
        left_in_step_s = max(0.0, step.duration_s - (now_s - self._step_began_s))
        return left_in_step_s + sum(each.duration_s for each in later)


def stopping_in_words(reason: BenchctlError, parts: Sequence[Confirmation]) -> Text:
    """Why the run stops, and how far each part of the safe state has come."""
    text = Text(f"STOPPING: {reason}\n", style="bold red")
    for part in parts:
        state = part.state if part.confirmed else f"not yet confirmed ({part.detail})"
        text.append(f"  {part.instrument}: {part.part}: {state}\n", style="not bold green" if part.confirmed else "")
    return text


def figure_lines(figures: Sequence[Figure]) -> list[str]:
    """The figures worth a line while the run goes on."""
    return [_line(figure) for figure in figures if figure.name in _SHOWN and figure.channel != TOTAL]


def _line(figure: Figure) -> str:
    """Name, channel and burst; value and unit; verdict."""
    burst = burst_in_words(figure.burst_cycles) if figure.burst_cycles else ""
    of = " ".join(filter(None, [figure.name, figure.channel, burst]))
    words = (value_in_words(figure), unit_in_words(figure), figure.verdict)
    return f"{of}: {' '.join(filter(None, words))}"
