"""A run as a person sees it: progress while it lasts, a way to stop it, and its result."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import asdict
from pathlib import Path
from typing import TypeVar

import click
from rich.console import Console
from rich.text import Text

from benchctl.cli.options import Watching
from benchctl.cli.shown.closing_line import console_for, ending_in_words, last_lines, state_of_outputs
from benchctl.cli.shown.kept import Kept
from benchctl.cli.shown.tables import closing_tables
from benchctl.cli.shown.views import View
from benchctl.cli.shown.watched.page import page_for
from benchctl.cli.shown.watched.telling import End, tell_at_end
from benchctl.clock import RealClock
from benchctl.errors import BenchctlError, InstrumentError, LimitTripped
from benchctl.guard.confirmation import all_confirmed
from benchctl.launch.run import Result
from benchctl.outlet import lost_outputs, wait_for_outputs
from benchctl.runner.engine.execute import FAULT_EXIT_CODE, Outcome
from benchctl.watch.now import State
from benchctl.watch.stopping import operator_can_stop

_V = TypeVar("_V", bound=View)


def show_run(
    performed: Callable[[_V], Result],
    as_json: bool,
    viewing: Callable[[Console], AbstractContextManager[_V]],
    watching: Watching = Watching(),  # noqa: B008 - it is frozen
) -> int:
    """Let a run be watched in a view and stopped, show what came of it, and return its exit code."""
    console = console_for(stderr=as_json)
    with viewing(console) as view, operator_can_stop(view) as stop, page_for(view, stop, watching):
        try:
            result = performed(view)
            view.seen.ended(*state_in_words(result.outcome))
        except (Exception, KeyboardInterrupt) as error:
            view.seen.ended(*_state_without_result(view, error))
            view.leave()
            _tell_of_no_result(error, view, console, watching)
            raise
        finally:
            wait_for_outputs(None)
    words = last_lines(result, _kept(result, view))
    if as_json:
        click.echo(json.dumps(_as_data(result), indent=2))
        if not result.outcome.is_safe:  # whatever program reads the rest, a person must hear of this
            console.print(words, soft_wrap=True)
    else:
        run, confirmations = view.run, result.outcome.confirmations
        recorder = run.recorder
        figures, amplifier = recorder.measured, run.files.amplifier
        console.print(closing_tables(figures, amplifier, confirmations, recorder.positions, result.simulation))
        console.print(words, soft_wrap=True)
    _tell_elsewhere(words, console)
    tell_at_end(watching.at_end, _end_of(view, result.outcome.exit_code, result.outcome.is_safe))
    leave_report(result.folder)
    return result.outcome.exit_code


def _kept(result: Result, view: View) -> Kept | None:
    if result.outcome.error is None or view.checked is None:
        return None
    return Kept.of(result.folder, view.checked.plan)


def state_in_words(outcome: Outcome) -> tuple[State, str]:
    """How the run ended, as a view shows it, and in sentences; first of all whether everything is off."""
    outputs = str(state_of_outputs(outcome.confirmations))
    ending = ending_in_words(outcome)
    if not outcome.is_safe:
        return "unsafe", f"{outputs} {ending}"
    match outcome.error:
        case None:
            state: State = "finished"
        case LimitTripped():
            state = "tripped"
        case _:
            state = "ended"
    return state, f"{ending} {outputs}"


def _state_without_result(view: View, error: BaseException) -> tuple[State, str]:
    """Of a run that could not begin, or that an error in the program has ended."""
    why = "a person stopped it" if isinstance(error, KeyboardInterrupt) else str(error) or repr(error)
    if not view.has_started:
        return "ended", f"The run did not begin: {why}. Nothing was switched on."
    parts = view.run.guard.parts
    state: State = "ended" if parts and all_confirmed(parts) else "unsafe"
    return state, f"{state_of_outputs(parts)} The run broke off: {why}"


def _end_of(view: View, exit_code: int, is_safe: bool) -> End:
    now, run = view.seen.now(), view.run
    title = f"{now.mark}{now.title}"
    is_real_time = isinstance(run.clock, RealClock)
    return End(now.state, title, now.sentence, exit_code, is_safe, run.recorder.folder.path, is_real_time)


def _tell_of_no_result(error: BaseException, view: View, console: Console, watching: Watching) -> None:
    """Report a run that could not begin, an error in the program, or a third Ctrl-C, after which nothing is waited
    for.
    """
    if not view.has_started:
        if isinstance(error, InstrumentError | KeyboardInterrupt):
            click.echo("Nothing was switched on.", err=True)
        return
    parts, folder = view.run.guard.parts, view.run.recorder.folder.path
    console.print(state_of_outputs(parts), soft_wrap=True)
    console.print(f"Run folder: {folder}", soft_wrap=True)
    if isinstance(error, Exception):  # whoever presses Ctrl-C three times waits for no report either
        exit_code = error.exit_code if isinstance(error, BenchctlError) else FAULT_EXIT_CODE
        tell_at_end(watching.at_end, _end_of(view, exit_code, bool(parts) and all_confirmed(parts)))
        leave_report(folder)


def _tell_elsewhere(words: Text, console: Console) -> None:
    """Where the output could not be shown, the last lines go to standard error: a bench may not be safe."""
    if not console.stderr and lost_outputs():
        console_for(stderr=True).print(words, soft_wrap=True)


def leave_report(folder: Path) -> None:
    """Write the page of a run that has ended. The result has been shown before, and no error here may hide it."""
    try:
        # Heavy, and nobody waits for it before the run.
        from benchctl.report.page import write_report  # noqa: PLC0415
        from benchctl.report.reading.run_record import read_run_record  # noqa: PLC0415

        write_report(read_run_record(folder))
    except (Exception, KeyboardInterrupt) as error:  # noqa: BLE001 - the run's own exit code is what counts
        click.echo(f"Warning: there is no report of this run: {error!r}", err=True)
        click.echo(f"What was measured is kept. To try again: benchctl report {folder}", err=True)


def _as_data(result: Result) -> dict[str, object]:
    outcome = result.outcome
    return {
        "folder": str(result.folder),
        "simulated": result.simulation.is_simulated,
        "simulated_instruments": list(result.simulation.simulated),
        "replayed": result.simulation.is_replayed,
        "exit_code": outcome.exit_code,
        "error": None if outcome.error is None else str(outcome.error),
        "unmeasured": list(outcome.unmeasured),
        "verdicts": {verdict: outcome.verdicts(verdict) for verdict in ("passes", "fails", "inconclusive")},
        "tripped_outputs": list(outcome.tripped_outputs),
        "safe_state": [asdict(each) | {"by_hand": each.by_hand} for each in outcome.confirmations],
    }
