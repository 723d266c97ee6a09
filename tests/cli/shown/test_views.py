"""What a person sees while a run goes on, and how the run asks for hands."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click
import pytest
from rich.console import Console
from rich.live import Live

from benchctl.cli.shown.views import LiveView, PlainView, View, figure_lines, view_for
from benchctl.errors import OperatorStop
from benchctl.guard.confirmation import Confirmation
from benchctl.launch.run import Documents, run
from benchctl.measure.budget.figure import Figure
from benchctl.outlet import Outlet
from benchctl.runner.plan import PlannedStep
from tests.cli.figures import ENTRIES
from tests.cli.files import IDLE, sequence


def console(*, terminal: bool = False) -> Console:
    return Console(
        file=io.StringIO(),
        width=90,
        height=40,
        color_system=None,
        force_terminal=terminal,
        legacy_windows=False,
        _environ={},
    )


def text_of(shown: Console) -> str:
    assert isinstance(shown.file, io.StringIO)
    return shown.file.getvalue()


def run_dry(view: View, tmp_path: Path) -> None:
    run(Documents(sequence(tmp_path, IDLE), "workshop", "hx2150"), view, out=tmp_path / "runs", dry_run=True)


def test_a_question_that_nobody_can_see_ends_the_run_instead_of_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    with io.FileIO(os.devnull, "w") as nowhere:
        outlet = Outlet(nowhere, "standard error")
        monkeypatch.setattr("sys.stderr", io.TextIOWrapper(io.BufferedWriter(outlet)))
        monkeypatch.setattr("sys.stdin", io.StringIO("understood\nunderstood\n"))
        view = PlainView(console())
        assert view.answer("What was switched?") == "understood"
        outlet.give_up("the window is closed")
        with pytest.raises(OperatorStop, match=r"nobody can see what is asked: What was switched\?"):
            view.answer("What was switched?")
        assert not view.is_asking


def test_only_a_terminal_gets_the_live_view() -> None:
    with view_for(console()) as plain:
        assert type(plain) is PlainView
    with view_for(console(terminal=True)) as live:
        assert type(live) is LiveView


def test_the_plain_view_is_a_line_an_event(tmp_path: Path) -> None:
    shown = console()
    run_dry(PlainView(shown), tmp_path)
    lines = text_of(shown).splitlines()
    assert lines[0] == "Idle only: HX 2150 on Bench 2 of the ferry-amplifier workshop"
    assert lines[1].startswith("3 steps. About ")
    steps = [line[9:] for line in lines if "  step " in line]
    assert steps == ["step 1 of 3: 1 power_on", "step 2 of 3: 2 measure_idle", "step 3 of 3: 3 power_off"]
    assert lines[5].startswith(" " * 10 + "idle_current: ")
    assert lines[5].endswith(" A passes")


def test_no_view_takes_text_of_a_file_for_markup(tmp_path: Path) -> None:
    title = "[bold]50 Hz[/bold] :smile:"
    titled = IDLE.replace("title: Idle only", f'title: "{title}"')
    shown, live = console(), Photographer()
    for view in (PlainView(shown), live):
        run(Documents(sequence(tmp_path, titled), "workshop", "hx2150"), view, out=tmp_path, dry_run=True)
    assert text_of(shown).startswith(f"{title}: HX 2150")
    assert title in live.pictures[0]


class Photographer(LiveView):
    """A live view that is drawn once as each step begins."""

    def __init__(self) -> None:
        super().__init__()
        self.pictures: list[str] = []

    def step_started(self, index: int, planned: PlannedStep) -> None:
        super().step_started(index, planned)
        shown = console()
        shown.print(self)
        self.pictures.append(text_of(shown))


def test_the_live_view_shows_step_time_limits_and_the_last_figures(tmp_path: Path) -> None:
    view = Photographer()
    run_dry(view, tmp_path)
    last = view.pictures[-1]
    assert "step 3 of 3" in last
    assert "left 0:00:00" in last
    assert "power off" in last
    assert "Idle only: HX 2150" in last
    assert "above 95 A" in last
    assert "above 85 degC" in last, "the amplifier file's own limit holds as well"
    assert "idle current: 1." in last
    assert all(len(line) <= 90 for line in last.splitlines())


def test_when_the_run_stops_the_live_view_says_why_and_how_far_each_part_has_come(tmp_path: Path) -> None:
    view = Photographer()
    run_dry(view, tmp_path)
    view.run.interlock.open(OperatorStop("stopped by Ctrl-C"))
    view.run.guard.confirmations = (
        Confirmation("generator", "output off", confirmed=True),
        Confirmation("supply", "output 'main' off", confirmed=False, detail="no answer yet"),
    )
    assert view.seen.now().headline == "STOPPING"
    shown = console()
    shown.print(view)
    lines = text_of(shown).splitlines()
    assert "stopped by Ctrl-C" in lines
    assert "generator: output off: confirmed" in lines
    assert "supply: output 'main' off: NOT CONFIRMED (no answer yet)" in lines


def test_a_live_view_leaves_no_frame_behind_and_rings_a_bell_at_the_end() -> None:
    shown = console(terminal=True)
    with view_for(shown):
        pass
    text = text_of(shown)
    assert text.index("\x1b[?1049h") < text.index("\x1b[?1049l") < text.index("\a")
    assert text.rindex("\x1b[?1049l") > text.rindex("\x1b[H"), "nothing is drawn once the terminal is as it was"


def test_once_there_is_alarm_the_panel_gives_way_to_lines_so_that_the_guardians_words_are_not_drawn_over() -> None:
    shown = console(terminal=True)
    with view_for(shown) as view:
        assert isinstance(view, LiveView)
        live = view.live
        assert live is not None
        view.alarm("NOT YET CONFIRMED: supply: output 'main' off.")
        assert not live.is_started
        view.relief("a line after it")
    assert "NOT YET CONFIRMED: supply: output 'main' off.\n" in text_of(shown)
    assert "a line after it" in text_of(shown)


@pytest.mark.parametrize("method", ["stopping", "alarm"])
def test_the_plain_view_says_at_once_what_happens_and_an_alarm_in_red(method: str) -> None:
    shown = Console(file=io.StringIO(), width=90, force_terminal=True, color_system="standard", legacy_windows=False)
    getattr(PlainView(shown), method)("what happens")
    assert "what happens" in text_of(shown)
    assert ("\x1b[1;31m" in text_of(shown)) is (method == "alarm")


def test_before_the_bench_is_open_the_live_view_says_so() -> None:
    shown = console()
    view = LiveView()
    assert view.seen.now().headline == "OPENING"
    shown.print(view)
    assert "█▀▀█" in text_of(shown)


# -- figures as lines ----------------------------------------------------------------------------------------------


def test_the_figures_that_matter_are_told_channel_by_channel_and_totals_are_left_to_the_tables() -> None:
    assert figure_lines([figure for entry in ENTRIES for figure in entry.figures]) == [
        "idle_current: 1.700 ± 0.075 A passes",
        "burst_power_clean A 1 cycle: 190.0 ± 3.8 W",
        "burst_power_clean A 8 cycles: 170.0 ± 3.4 W",
        "continuous_power A: 160.0 ± 3.2 W passes",
        "efficiency: 60.0 ± 1.1 %",
    ]


def test_a_temperature_keeps_its_unit() -> None:
    assert figure_lines([Figure("heatsink_temperature", 31.5, "degC", 1.2, 2.0)]) == [
        "heatsink_temperature: 31.5 ± 1.2 degC"
    ]


# -- hands ---------------------------------------------------------------------------------------------------------


def test_hands_are_asked_for_and_enter_goes_on(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("\n"))
    PlainView(console()).hands_needed("Connect the lead")
    assert "Connect the lead, then press Enter" in capsys.readouterr().err


@pytest.mark.parametrize("answer", [EOFError, KeyboardInterrupt])
def test_no_answer_is_an_operators_stop(monkeypatch: pytest.MonkeyPatch, answer: type[BaseException]) -> None:
    def unanswered(*_: object) -> str:
        raise answer

    monkeypatch.setattr(click.termui, "visible_prompt_func", unanswered)
    view = PlainView(console())
    with pytest.raises(OperatorStop, match="Connect the lead"):
        view.hands_needed("Connect the lead")
    assert not view.is_asking


def test_the_live_view_is_not_drawn_over_a_question(monkeypatch: pytest.MonkeyPatch) -> None:
    view = LiveView()
    drawn = []

    def note_whether_drawn(*_: object) -> str:
        assert view.live is not None
        drawn.append(view.live.is_started)
        return ""

    monkeypatch.setattr(click.termui, "visible_prompt_func", note_whether_drawn)
    with live_on(view):
        view.hands_needed("Connect the lead")
        assert view.live is not None
        drawn.append(view.live.is_started)
    assert drawn == [False, True]


@contextmanager
def live_on(view: LiveView) -> Iterator[None]:
    with Live(view, console=console(terminal=True), auto_refresh=False) as live:
        view.live = live
        yield
