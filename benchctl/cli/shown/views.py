"""What a person sees while a run goes on: a live view on a terminal, plain lines elsewhere."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Protocol

import click
from rich.console import Console, RenderableType
from rich.live import Live

from benchctl.archive.journal.events import OUTPUT_LOST
from benchctl.cli.shown.closing_line import mark_in_words
from benchctl.cli.shown.live.panel import LivePanel
from benchctl.cli.shown.preflight import time_in_words
from benchctl.clock import RealClock
from benchctl.errors import OperatorStop
from benchctl.launch.run import RunObserver
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import burst_in_words, unit_in_words, value_in_words
from benchctl.outlet import is_shown, lost_outputs, wait_for_outputs
from benchctl.quantity import clock_face
from benchctl.runner.acting.run import Run
from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.plan import PlannedStep
from benchctl.watch.seen import Seen

REFRESHES_PER_S = 4
# A terminal that has stopped (Ctrl-S), or a pipe that nobody reads, delays a real run by no more than this.
OUTPUT_PATIENCE_S = 0.5
# A plain view shows the progress of a step this often, and of a shorter step not at all.
PROGRESS_EVERY_S = 60.0
# Of all figures of a step these are shown while it runs; the closing tables have the rest.
_SHOWN = ("idle_current", "burst_power_clean", "continuous_power", "efficiency", "heatsink_temperature")


class View(RunObserver, Protocol):
    """An observer that shows the run; `run` may be asked for once it has started, and `checked` is known then.

    `seen` is the same for whoever else watches. `foot` are lines to show all the time.
    """

    seen: Seen
    foot: list[str]

    @property
    def checked(self) -> Preflight | None: ...

    @property
    def has_started(self) -> bool: ...

    @property
    def is_asking(self) -> bool: ...

    @property
    def run(self) -> Run: ...

    def say_first(self, text: str) -> None:
        """Say this before the run, so that it stays on the terminal afterwards."""

    def leave(self) -> None:
        """What is said from now on must stay on the terminal."""


@contextmanager
def view_for(console: Console) -> Iterator[View]:
    """The view that suits where the output goes."""
    if not console.is_terminal:
        yield PlainView(console)
        return
    live_view = LiveView()
    with on_whole_terminal(live_view, console):
        yield live_view


@contextmanager
def on_whole_terminal(view: LiveView, console: Console) -> Iterator[None]:
    """Draw the view again and again on the whole terminal, which is as it was afterwards. A bell rings at the end."""
    # No frame is left behind: not after the end, and not when the window changes its size.
    with Live(view, console=console, refresh_per_second=REFRESHES_PER_S, screen=True, transient=True) as live:
        view.live = live
        try:
            yield
        finally:
            view.leave()


class PlainView:
    """A line an event."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self.seen = Seen()
        self.foot: list[str] = []
        self.is_asking = False
        self._next_progress_s = 0.0
        self._lost: set[str] = set()

    @property
    def has_started(self) -> bool:
        """Whether the bench is open and an operator's stop can reach it."""
        return self.seen.run is not None

    @property
    def checked(self) -> Preflight | None:
        return self.seen.checked

    @property
    def run(self) -> Run:
        if self.seen.run is None:
            raise RuntimeError("the run has not started")
        return self.seen.run

    def say_first(self, text: str) -> None:
        """Say this on standard error, where it is no part of what a program reads."""
        click.echo(text, err=True)

    def leave(self) -> None:
        """Every line stays."""

    def started(self, checked: Preflight, run: Run) -> None:
        is_first_part = not self.has_started
        self.seen.started(checked, run, self._title_of(run), mark_in_words(run.recorder.simulation))
        if isinstance(run.clock, RealClock):  # what is energised must not stay so because nobody reads
            wait_for_outputs(OUTPUT_PATIENCE_S)
        if is_first_part:
            self._say(f"{run.files.sequence.title}: {run.files.amplifier.title} on {run.files.bench.title}")
            self._say(f"{len(checked.plan)} steps. {time_in_words(checked)}")
            if mark := mark_in_words(run.recorder.simulation):
                self._say(mark.rstrip(), style="bold")

    def _title_of(self, run: Run) -> str:
        return f"{run.files.sequence.title}: {run.files.amplifier.title}"

    def step_started(self, index: int, planned: PlannedStep) -> None:
        self.seen.step_started(index, planned, self.run.clock.now())
        self._next_progress_s = self.run.clock.now() + PROGRESS_EVERY_S
        total = len(self.checked.plan) if self.checked else 0
        self._say(f"{clock_face(self.run.clock.now())}  step {index + 1} of {total}: {planned.label}")

    def figures(self, _planned: PlannedStep, figures: Sequence[Figure]) -> None:
        self.seen.figures(figures)
        for line in figure_lines(figures):
            self._say(f"          {line}")

    def note(self, text: str) -> None:
        self.seen.note(text)
        self._say(f"{clock_face(self.run.clock.now())}  {text}")

    def stopping(self, text: str) -> None:
        """At once, before anything is known to be off."""
        self.seen.news(text)
        self._say(text, style="bold")

    def alarm(self, text: str) -> None:
        """At once, in red."""
        self.seen.news(text)
        self._say(text, style="bold red")

    def relief(self, text: str) -> None:
        self.seen.news(text)
        self._say(text)

    def progress(self, text: str) -> None:
        """A line now and then: without a panel there is nothing to draw again."""
        self.seen.progress(text)
        if self.run.clock.now() >= self._next_progress_s:
            self._next_progress_s = self.run.clock.now() + PROGRESS_EVERY_S
            self._say(f"{clock_face(self.run.clock.now())}  {text}")

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
        self.seen.asked(question)
        try:
            if not is_shown(lambda: click.echo(question, nl=False, err=True)):
                raise OperatorStop(f"stopped, because nobody can see what is asked: {question}")
            return str(click.prompt("", default=default, show_default=False, err=True))
        except click.Abort:
            raise OperatorStop(f"stopped by the operator, who was asked: {question}") from None
        finally:
            self.is_asking = False
            self.seen.asked("")

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
    """A panel that is drawn again several times a second; see `LivePanel`."""

    def __init__(self) -> None:
        super().__init__(Console(quiet=True))
        self.live: Live | None = None

    def alarm(self, text: str) -> None:
        """In lines below each other from now on: the guardian writes to this terminal too, and a panel that is drawn
        again and again would write over its words."""
        self.leave()
        super().alarm(text)

    def leave(self) -> None:
        """Take the panel off the terminal, once, and ring the bell."""
        if self.live is not None:
            self._console, live, self.live = self.live.console, self.live, None
            live.stop()
            self._console.bell()

    def _ask(self, question: str, default: str | None = None) -> str:
        """Ask on the plain terminal, with a bell."""
        with self._without_panel():
            if self.live is not None:
                self.live.console.bell()
            return super()._ask(question, default)

    def say_first(self, text: str) -> None:
        with self._without_panel():
            super().say_first(text)

    @contextmanager
    def _without_panel(self) -> Iterator[None]:
        """The plain terminal, for as long as the block lasts."""
        if self.live is None:
            yield
            return
        self.live.stop()
        try:
            yield
        finally:
            if self.live is not None:
                self.live.start()

    def progress(self, text: str) -> None:
        self.seen.progress(text)

    def __rich__(self) -> RenderableType:
        return LivePanel(self.seen.now(), self.foot)


def figure_lines(figures: Sequence[Figure]) -> list[str]:
    """The figures worth a line while the run goes on."""
    return [_line(figure) for figure in figures if figure.name in _SHOWN and figure.channel != TOTAL]


def _line(figure: Figure) -> str:
    """Name, channel and burst; value and unit; verdict."""
    burst = burst_in_words(figure.burst_cycles) if figure.burst_cycles else ""
    of = " ".join(filter(None, [figure.name, figure.channel, burst]))
    words = (value_in_words(figure), unit_in_words(figure), figure.verdict)
    return f"{of}: {' '.join(filter(None, words))}"
