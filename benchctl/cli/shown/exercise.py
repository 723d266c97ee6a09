"""What is asked before the words of driver files are tried, and what came of it: as tables and lines, or as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass

import click
from rich.table import Table
from rich.text import Text

from benchctl.cli.shown.closing_line import console_for
from benchctl.errors import InstrumentError, OperatorStop
from benchctl.instruments.exercise.exercise import Plan
from benchctl.instruments.exercise.findings import Finding, Said, Verdict
from benchctl.launch.exercise import Consent, Exercised, exercise
from benchctl.launch.needed_words import NeededWords

GO_ON, DISCONNECTED = "yes", "disconnected"
_STYLES = {
    Verdict.WORKS: "green",
    Verdict.WRONG: "bold red",
    Verdict.ERROR: "bold red",
    Verdict.UNSUPPORTED: "bold red",
}
_LONGEST_SHOWN = 160
# The messages shown with a word that fails; what went wrong is among the last.
_MOST_SAID = 4


@dataclass(frozen=True)
class Agreed:
    """What was agreed to on the command line.

    Attributes:
        yes: what energises nothing may be done without a question.
        energise: why what energises may be done too, in a person's words; '' asks.
        simulated: nothing can be energised.
        as_json: what is said goes to standard error, as standard output is for a program.
    """

    yes: bool
    energise: str
    simulated: bool
    as_json: bool = False

    def consent(self, plans: Mapping[str, Plan]) -> Consent:
        """Tell what will be done, and ask for what was not agreed to."""
        self._tell(
            "This will be done. It energises nothing:", [each for plan in plans.values() for each in plan.harmless]
        )
        if not self.simulated and not self.yes and not _agrees(f"Type '{GO_ON}' to go on", GO_ON):
            raise OperatorStop("nothing was sent")
        energising = [each for plan in plans.values() for each in plan.energising]
        return Consent(goes_on=True, energises=bool(energising) and self._may_energise(energising))

    def _may_energise(self, energising: Sequence[str]) -> bool:
        self._tell("This switches something on:", energising)
        if self.simulated:
            self._say("The instruments are simulated, so nothing is asked.")
            return True
        if self.energise:
            self._say(f"It is done, as you say: {self.energise}.")
            return True
        if self.yes:
            self._say("It is left out: give --energise REASON for it.")
            return False
        question = f"Take every lead off these outputs first. Type '{DISCONNECTED}' once nothing is connected, or Enter"
        return _agrees(question, DISCONNECTED)

    def _tell(self, head: str, sentences: Sequence[str]) -> None:
        self._say(head)
        for sentence in sentences:
            self._say(f"  - {sentence}")

    def _say(self, text: str) -> None:
        click.echo(text, err=self.as_json)


def _agrees(question: str, word: str) -> bool:
    typed: str = click.prompt(question, default="", show_default=False, err=True)
    return typed.strip().lower() == word


def show_exercise(bench: str, role: str, agreed: Agreed, sequences: Sequence[str], *, as_json: bool) -> int:
    """Try the words; the exit code is 5 where one fails that is needed, or something may still be on."""
    needed = NeededWords.of(sequences) if sequences else None
    exercised = exercise(bench, role, agreed.consent, simulated=agreed.simulated)
    if needed is not None:
        exercised = [needed.marked(each) for each in exercised]
    if as_json:
        click.echo(json.dumps(_as_data(exercised, simulated=agreed.simulated), indent=2))
    else:
        for each in exercised:
            _print(each, simulated=agreed.simulated)
    return InstrumentError.exit_code if any(map(_falls_short, exercised)) else 0


def _falls_short(exercised: Exercised) -> bool:
    return bool(exercised.left_on) or any(finding.is_needed for finding in exercised.failures)


def _print(exercised: Exercised, *, simulated: bool) -> None:
    console = console_for()
    mark = "Simulated. " if simulated else ""
    table = Table(title=f"{mark}{exercised.role}: {exercised.file}", title_justify="left", title_style="bold")
    for head in ("word", "line", "verdict", "a question takes", "what was found"):
        table.add_column(head, justify="right" if head in {"line", "a question takes"} else "left", overflow="fold")
    for finding in exercised.findings:
        table.add_row(*_cells(finding))
    console.print(table)
    for finding in exercised.failures:
        for line in _told(exercised, finding):
            click.echo(line)
    for what in exercised.left_on:
        click.secho(f"NOT CONFIRMED OFF: {exercised.role}: {what}. Switch it off by hand, now.", fg="red", err=True)
    click.echo(_in_all(exercised))


def _cells(finding: Finding) -> tuple[Text | str, ...]:
    slowest_s = finding.slowest_s
    needed = "" if finding.is_needed or not finding.verdict.is_failure else " (not needed by these sequences)"
    return (
        finding.word,
        "" if finding.line is None else str(finding.line),
        Text(finding.verdict.value + needed, style=_STYLES.get(finding.verdict, "yellow")),
        "" if slowest_s is None else f"{1000 * slowest_s:.0f} ms",
        Text(finding.text if not finding.verdict.is_failure else "see below"),
    )


def _told(exercised: Exercised, finding: Finding) -> Iterator[str]:
    """A word that fails: where, what, the bytes both ways, and what to write instead."""
    yield f"{_place(exercised, finding.line)}: {finding.word}: {finding.verdict.value}: {finding.text}"
    for said in finding.said[-_MOST_SAID:]:
        yield from _bytes(said)
    for word, line in finding.suspects:
        yield f"    or the fault is in {word} ({_place(exercised, line)})"
    if finding.offer:
        yield f"    to correct it: {finding.offer}"
    if finding.advice:
        yield f"    {finding.advice}"


def _place(exercised: Exercised, line: int | None) -> str:
    return exercised.file if line is None else f"{exercised.file}:{line}"


def _bytes(said: Said) -> Iterator[str]:
    yield f"    sent      {_shown(said.sent)}"
    if said.answer:
        yield f"    received  {_shown(said.answer)}"
    elif b"?" in said.sent:
        yield "    received  nothing"


def _shown(data: bytes) -> str:
    """Bytes as Python writes them: what is not plain text is an escape."""
    text = repr(data)[2:-1]
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}..."


def _in_all(exercised: Exercised) -> str:
    counts = {verdict: sum(each.verdict is verdict for each in exercised.findings) for verdict in Verdict}
    words = [f"{count} {verdict.value}" for verdict, count in counts.items() if count]
    return f"{exercised.role}: {', '.join(words)}."


def _as_data(every: Sequence[Exercised], *, simulated: bool) -> dict[str, object]:
    return {"simulated": simulated, "instruments": [_instrument(each) for each in every]}


def _instrument(exercised: Exercised) -> dict[str, object]:
    return {
        "role": exercised.role,
        "address": exercised.address,
        "file": exercised.file,
        "left_on": list(exercised.left_on),
        "words": [_word(finding) for finding in exercised.findings],
    }


def _word(finding: Finding) -> dict[str, object]:
    said = [
        {"sent": _shown(each.sent), "received": _shown(each.answer), "took_s": each.took_s} for each in finding.said
    ]
    return {**asdict(finding), "verdict": finding.verdict.value, "said": said}
