"""The last lines of a run: how it ended, whether everything is off, what is kept, and how to go on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.text import Text

from benchctl.archive.journal.simulation import Simulation
from benchctl.cli.shown.kept import Kept
from benchctl.errors import BenchctlError, LimitTripped, OperatorStop, RequirementFailed
from benchctl.guard.confirmation import Confirmation, all_confirmed, not_safe_in_words
from benchctl.guard.limits import ProtectionLimit
from benchctl.launch.run import Result
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import figure_in_words, inconclusive_in_words, verdicts_in_words
from benchctl.runner.engine.execute import Outcome

# Where there is no terminal to fit into, a table is as wide as it needs to be.
WIDTH_WITHOUT_TERMINAL = 130
# So many verdicts of a kind are named; the tables show all of them.
_MOST_NAMED = 4


def console_for(*, stderr: bool = False) -> Console:
    """A console as wide as the terminal, or wide enough for the tables where there is none.

    It takes text for what it is: the titles of a user's files are no markup.
    """
    width = None if Console(stderr=stderr).is_terminal else WIDTH_WITHOUT_TERMINAL
    return Console(stderr=stderr, width=width, markup=False, emoji=False, highlight=False)


def last_lines(result: Result, kept: Kept | None = None) -> Text:
    """What the exit code says, in one line of words. After a run that ended early more lines follow: that every output
    is off, what is kept, and the command to go on. Before them, an instrument that could not confirm is named in
    red.
    """
    text = Text()
    outcome = result.outcome
    if not outcome.is_safe:
        text.append(state_of_outputs(outcome.confirmations)).append("\n")
    text.append(mark_in_words(result.simulation), style="bold")
    text.append(ending_in_words(outcome), style="" if outcome.error is None else "bold red")
    if outcome.error is None:
        text.append(" ")
    else:
        text.append("".join(f"\n{line}" for line in _of_an_early_end(outcome, outcome.error, kept)) + "\n")
    text.append(f"Run folder: {result.folder}")
    return text


def state_of_outputs(parts: Sequence[Confirmation]) -> Text:
    """That every output is confirmed off; or, in red, each that is not, and what a person does about it."""
    if not parts:
        return Text("No instrument was asked whether its output is off.")
    if all_confirmed(parts):
        told = "".join(f" {part}." for part in parts if part.detail)
        return Text(f"Every output is confirmed off.{told}")
    return Text("\n".join(not_safe_in_words(parts)), style="bold red")


def _of_an_early_end(outcome: Outcome, error: BenchctlError, kept: Kept | None) -> Iterator[str]:
    if outcome.tripped_outputs and ProtectionLimit.sentence not in str(error):
        names = " and ".join(f"'{name}'" for name in outcome.tripped_outputs)
        yield f"The supply's own protection (over-voltage or over-current) has switched its output {names} off."
    if outcome.is_safe:
        yield str(state_of_outputs(outcome.confirmations))
    if kept is not None:
        yield from kept.lines(error)


def mark_in_words(simulation: Simulation) -> str:
    """That the run is not a measurement, and why, as a sentence to put before others; empty if it is one."""
    if not simulation.is_simulated:
        return ""
    return f"{simulation.word}, no measurement{'' if simulation.is_whole else f' ({simulation.words})'}. "


def ending_in_words(outcome: Outcome) -> str:
    """How the run ended, in a sentence or two."""
    error = outcome.error
    if error is None:
        return f"Finished: {_verdicts(outcome)}.{_failed(outcome)}{_ended_early(outcome)}{_inconclusive(outcome)}"
    match error:
        case LimitTripped():
            return f"Stopped by a limit: {error}."
        case OperatorStop() | RequirementFailed():
            return f"Ended: {error}."
        case _:
            return f"Failed: {error}. {error.advice}".rstrip()


def _failed(outcome: Outcome) -> str:
    """Which figures fail, and what they must be; if there are many, the first few."""
    failed = [figure for figure in outcome.figures if figure.verdict == "fails"]
    found = list(dict.fromkeys(figure_in_words(figure) + _required(figure, outcome) for figure in failed))
    return f" Failed: {_first_few(found)}." if found else ""


def _required(figure: Figure, outcome: Outcome) -> str:
    """What a figure must be; it is not known of one from a part of the run before it was resumed."""
    required = outcome.requirements.get(figure)
    return f", must be {required}" if required else ""


def _ended_early(outcome: Outcome) -> str:
    """Which drives ended before their time, and why."""
    return f" Ended early: {_first_few(outcome.early_ends)}." if outcome.early_ends else ""


def _first_few(found: Sequence[str]) -> str:
    more = f"; and {len(found) - _MOST_NAMED} more" if len(found) > _MOST_NAMED else ""
    return "; ".join(found[:_MOST_NAMED]) + more


def _inconclusive(outcome: Outcome) -> str:
    """Which figures are inconclusive, and what they must be; if there are many, the first few."""
    undecided = [figure for figure in outcome.figures if figure.verdict == "inconclusive"]
    found = list(dict.fromkeys(inconclusive_in_words(figure) + _required(figure, outcome) for figure in undecided))
    return f" Inconclusive: {_first_few(found)}." if found else ""


def _verdicts(outcome: Outcome) -> str:
    passes, fails, inconclusive = (outcome.verdicts(verdict) for verdict in ("passes", "fails", "inconclusive"))
    return verdicts_in_words(passes, fails, inconclusive, len(outcome.unmeasured), outcome.contradicted)
