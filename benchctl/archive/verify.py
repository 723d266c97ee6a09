"""Compute every figure of a run folder again, and list where the result is not what is written there."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from benchctl.archive.compare import Difference, differences, identity, label, table_differences
from benchctl.archive.evidence.findings import Findings, findings_of
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import is_being_written
from benchctl.archive.journal.entries import FiguresEntry, context_of, entries_of
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.recomputing import NOT_COMPUTED, Captures, compute
from benchctl.archive.tables.figures import figure_table, read_figures
from benchctl.archive.tables.figures_csv import renew_figures
from benchctl.archive.tables.run_identity import run_identity_of
from benchctl.archive.verdicts import NamedFigures, note_named, verdict_again
from benchctl.archive.zeros import zeros_of_captures
from benchctl.errors import ArchiveError
from benchctl.measure.agreement.compared import comparisons
from benchctl.measure.agreement.comparison import Comparison, alike
from benchctl.measure.budget.figure import Figure
from benchctl.measure.method import METHOD
from benchctl.measure.signal.record import Capture


@dataclass(frozen=True)
class Verification:
    """The result of verifying a run folder.

    `checked` counts the figures in the journal. `of_method` are differences of figures that another method computed
    (`methods` are the numbers of all that are in the folder): nobody has altered those. `findings` say whether the
    folder is as the run left it. `unused_captures` and `torn` (what a crash left of the journal's last line) are
    reported, but are no problem of any figure. A run that is still running (`is_running`) has not written its table
    yet.
    """

    checked: int
    differences: tuple[Difference, ...]
    figures_without_capture: tuple[str, ...]
    unused_captures: tuple[str, ...]
    torn: str | None
    findings: Findings = field(default_factory=Findings)
    is_running: bool = False
    of_method: tuple[Difference, ...] = ()
    methods: tuple[int, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether every figure can be computed again with the same result, but for what another method computes
        differently, in a folder that nobody changed."""
        return self.figures_agree and not self.findings.changed

    @property
    def figures_agree(self) -> bool:
        """Whether every figure can be computed again with the same result, but for what another method computes
        differently."""
        return not self.differences and not self.figures_without_capture


def verify(path: Path) -> Verification:
    """Recompute every figures event of the run folder at `path`, and compare figures.csv with the journal.

    Where a run was killed before it could write the table, it is written first.

    Raises:
        UsageError: there is no run folder at `path`.
        ArchiveError: the journal is broken before its end.
    """
    folder = RunFolder.open(path)
    is_running = is_being_written(folder)
    journal = read_journal(folder.journal)
    entries = entries_of(journal.events)
    recomputed = [_recompute(folder, entry, is_sealed=entry.number > journal.unchained) for entry in entries]
    zeros = zeros_of_captures(folder, journal.events)
    used = {file for entry in entries for file in entry.captures.values()} | zeros.records
    return Verification(
        checked=sum(len(entry.figures) for entry in entries),
        differences=(
            *(difference for outcome in recomputed for difference in outcome.differences),
            *verdict_differences(entries),
            *zeros.differences,
            *_check_table(folder, figure_table(entries, run_identity_of(journal.events)), is_running=is_running),
        ),
        figures_without_capture=tuple(orphan for outcome in recomputed for orphan in outcome.orphans),
        unused_captures=tuple(file for file in folder.capture_files() if file not in used),
        torn=None if is_running else journal.torn,
        findings=findings_of(folder, journal),
        is_running=is_running,
        of_method=(*(each for outcome in recomputed for each in outcome.of_method), *zeros.of_method),
        methods=tuple(sorted({entry.method for entry in entries})),
    )


def verdict_differences(entries: Sequence[FiguresEntry]) -> Iterator[Difference]:
    """Where a verdict does not follow from the figure, its criterion and the earlier figure that this is told from."""
    named: NamedFigures = {}
    for entry in entries:
        for figure in entry.figures:
            again = verdict_again(figure, entry, named)
            if again != figure.verdict:
                was = figure.verdict or "nothing"
                yield Difference(label(entry.step, figure), "verdict", was, f"comes out as {again or 'nothing'}")
        note_named(entry, named)


@dataclass
class _Outcome:
    """What is wrong with one figures event: figures that differ, and figures whose capture is missing.

    `of_method` are figures that come out differently where another method computed them, and the journal's hashes
    vouch for what it wrote; `told` is the list that a figure which comes out differently belongs into.
    """

    step: str
    is_of_other_method: bool = False
    differences: list[Difference] = field(default_factory=list)
    orphans: list[str] = field(default_factory=list)
    of_method: list[Difference] = field(default_factory=list)

    @property
    def told(self) -> list[Difference]:
        return self.of_method if self.is_of_other_method else self.differences

    def unreadable(self, figure: Figure, reason: str) -> None:
        self.differences.append(self._not_computed(figure, reason))

    def not_computed(self, figure: Figure, reason: str) -> None:
        self.told.append(self._not_computed(figure, reason))

    def _not_computed(self, figure: Figure, reason: str) -> Difference:
        return Difference(label(self.step, figure), "value", repr(figure.value), f"cannot be computed: {reason}")

    def orphan(self, figure: Figure, reason: str) -> None:
        self.orphans.append(f"{label(self.step, figure)}: {reason}")


def _recompute(folder: RunFolder, entry: FiguresEntry, *, is_sealed: bool) -> _Outcome:
    outcome = _Outcome(entry.step, is_of_other_method=is_sealed and entry.method != METHOD)
    captures = Captures.load(folder, entry)
    if not (captures.missing or captures.broken):
        _compare_again(entry, captures.by_role, outcome)
    computable = [figure for figure in entry.figures if _has_captures(figure, captures, outcome)]
    if not computable:
        return outcome
    try:
        computed = compute(entry, captures.by_role)
    except NOT_COMPUTED as error:
        for figure in computable:
            outcome.not_computed(figure, str(error))
    else:
        _compare(computable, computed, outcome)
    return outcome


def _compare_again(entry: FiguresEntry, captures: Mapping[str, Capture], outcome: _Outcome) -> None:
    """Compare two instruments again from what was kept; not in a folder from before such comparisons were made."""
    if entry.comparisons is None:
        return
    what = f"what instruments show against each other in step '{entry.step}'"
    try:
        made = comparisons(entry.analysis, captures, entry.named_readings(), context_of(entry))
    except NOT_COMPUTED as error:
        outcome.told.append(Difference(what, "it", "compared", f"cannot be computed: {error}"))
        return
    if not (len(made) == len(entry.comparisons) and all(map(alike, made, entry.comparisons))):
        written, again = (_in_words(each) for each in (entry.comparisons, made))
        outcome.told.append(Difference(what, "it", written, f"comes out as {again}"))


def _in_words(compared: Sequence[Comparison]) -> str:
    return "; ".join(map(str, compared)) or "nothing"


def _has_captures(figure: Figure, captures: Captures, outcome: _Outcome) -> bool:
    for file in figure.capture.split():
        if file in captures.missing:
            outcome.orphan(figure, captures.missing[file])
            return False
        if file in captures.broken:
            outcome.unreadable(figure, captures.broken[file])
            return False
    return True


def _compare(written: Sequence[Figure], computed: Sequence[Figure], outcome: _Outcome) -> None:
    fresh: dict[object, list[Figure]] = defaultdict(list)
    for figure in computed:
        fresh[identity(figure)].append(figure)
    for figure in written:
        if twins := fresh[identity(figure)]:
            _compare_one(figure, twins.pop(0), outcome)
        else:
            outcome.not_computed(figure, "the analysis gives no such figure")
    for figure in (figure for twins in fresh.values() for figure in twins):
        outcome.told.append(
            Difference(label(outcome.step, figure), "value", "nothing", f"comes out as {figure.value!r}")
        )


def _compare_one(written: Figure, computed: Figure, outcome: _Outcome) -> None:
    if computed.capture and not written.capture and not outcome.is_of_other_method:
        outcome.orphan(written, f"it names no capture, and comes from {computed.capture}")
        return
    outcome.told.extend(differences(outcome.step, written, computed))


def _check_table(folder: RunFolder, journal: pd.DataFrame, *, is_running: bool) -> list[Difference]:
    if is_running or (journal.empty and not folder.figures.exists()):
        return []
    try:
        renew_figures(folder)
        return table_differences(read_figures(folder), journal)
    except ArchiveError as error:
        return [Difference("figures.csv", "the table", "something that cannot be read", error.message)]
