"""What changed in all runs together: counted for each figure by its name, however many runs there are."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from benchctl.archive.reanalysis.again import NEW, NOT_COMPUTED_ANY_MORE, UNEXPLAINED
from benchctl.measure.method import changes_since

# Turned verdicts that are told one by one; changes.csv has all of them.
MOST_TOLD = 20


@dataclass
class OfFigure:
    """What became of one kind of figure. `largest_in_u` is the change that is largest beside the U that was written,
    with its sign; None where only bounds changed."""

    runs: set[str] = field(default_factory=set)
    changed: int = 0
    turned: int = 0
    new: int = 0
    not_computed: int = 0
    largest_in_u: float | None = None

    def add(self, row: Mapping[str, str]) -> None:
        """Count a row of changes.csv."""
        self.runs.add(row["run_folder"])
        if row["changes"] == NEW:
            self.new += 1
        elif row["changes"] == NOT_COMPUTED_ANY_MORE:
            self.not_computed += 1
        else:
            self.changed += 1
            self.turned += "verdict" in row["changes"].split()
            self._note_size(row["difference_in_u"])

    def _note_size(self, written: str) -> None:
        size = float(written) if written else None
        if size is not None and (self.largest_in_u is None or abs(size) > abs(self.largest_in_u)):
            self.largest_in_u = size


@dataclass
class Tally:
    """`figures` by name; `turned` the first verdicts that turned, in words; `why` what changed in the method;
    `unexplained` how many figures changed without a change of the method on record."""

    figures: dict[str, OfFigure] = field(default_factory=dict)
    turned: list[str] = field(default_factory=list)
    unexplained: int = 0
    _methods: set[int] = field(default_factory=set)

    @property
    def why(self) -> Iterator[str]:
        """Each change of the method since the oldest run, as far as it concerns figures that changed."""
        if self.figures:
            for number, change in changes_since(min(self._methods), set(self.figures)):
                yield f"method {number}: {change.says}"

    def add(self, row: Mapping[str, str]) -> None:
        """Count a row of changes.csv."""
        self.figures.setdefault(row["figure"], OfFigure()).add(row)
        self._methods.add(int(row["method_before"]))
        self.unexplained += row["why"] == UNEXPLAINED
        if "verdict" in row["changes"].split() and len(self.turned) < MOST_TOLD:
            self.turned.append(_turned(row))


def tally_of(changes: Iterable[Mapping[str, str]], runs: Collection[str]) -> Tally:
    """The rows of changes.csv that are of these runs, counted."""
    tally = Tally()
    for row in changes:
        if row["run_folder"] in runs:
            tally.add(row)
    return tally


def _turned(row: Mapping[str, str]) -> str:
    channel = f" of {row['channel']}" if row["channel"] else ""
    was, now = row["verdict_before"] or "none", row["verdict"] or "none"
    return f"{row['run_folder']}, step '{row['step']}': {row['figure']}{channel}: {was} -> {now}"
