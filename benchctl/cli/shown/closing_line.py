"""The last line of a run: how it ended, in words, and where everything is."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from benchctl.archive.journal.simulation import Simulation
from benchctl.errors import LimitTripped, OperatorStop, RequirementFailed
from benchctl.launch.run import Result
from benchctl.measure.budget.words import inconclusive_in_words, verdicts_in_words
from benchctl.runner.engine.execute import Outcome

# Where there is no terminal to fit into, a table is as wide as it needs to be.
WIDTH_WITHOUT_TERMINAL = 130
# So many inconclusive verdicts are named; the tables show all of them.
_MOST_NAMED = 4


def console_for(*, stderr: bool = False) -> Console:
    """A console as wide as the terminal, or wide enough for the tables where there is none.

    It takes text for what it is: the titles of a user's files are no markup.
    """
    width = None if Console(stderr=stderr).is_terminal else WIDTH_WITHOUT_TERMINAL
    return Console(stderr=stderr, width=width, markup=False, emoji=False, highlight=False)


def last_line(result: Result) -> Text:
    """What the exit code says, in words; an instrument that could not confirm is named in red."""
    text = Text()
    outcome = result.outcome
    for confirmation in outcome.confirmations:
        if not confirmation.confirmed:
            text.append(f"NOT SAFE: {confirmation}. By hand, now: {confirmation.by_hand}.\n", style="bold red")
    text.append(mark_in_words(result.simulation), style="bold")
    text.append(_ending(outcome), style="" if outcome.error is None else "bold red")
    text.append(f" Run folder: {result.folder}")
    return text


def mark_in_words(simulation: Simulation) -> str:
    """That the run is no measurement, and why, as a sentence to put before others; nothing where it is one."""
    if not simulation.is_simulated:
        return ""
    return f"Simulated, no measurement{'' if simulation.is_whole else f' ({simulation.words})'}. "


def _ending(outcome: Outcome) -> str:
    error = outcome.error
    if error is None:
        return f"Finished: {_verdicts(outcome)}.{_inconclusive(outcome)}"
    match error:
        case LimitTripped():
            return f"Stopped by a limit: {error}."
        case OperatorStop() | RequirementFailed():
            return f"Ended: {error}."
        case _:
            return f"Failed: {error}. {error.advice}".rstrip()


def _inconclusive(outcome: Outcome) -> str:
    """Which verdicts are; of many, the first few."""
    found = list(dict.fromkeys(inconclusive_in_words(f) for f in outcome.figures if f.verdict == "inconclusive"))
    if not found:
        return ""
    more = f"; and {len(found) - _MOST_NAMED} more" if len(found) > _MOST_NAMED else ""
    return f" Inconclusive: {'; '.join(found[:_MOST_NAMED])}{more}."


def _verdicts(outcome: Outcome) -> str:
    passes, fails, inconclusive = (outcome.verdicts(verdict) for verdict in ("passes", "fails", "inconclusive"))
    return verdicts_in_words(passes, fails, inconclusive, len(outcome.unmeasured), outcome.contradicted)
