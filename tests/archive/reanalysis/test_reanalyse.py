"""All figures computed again: what differs is told, what cannot be computed is named, and no run folder is touched."""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Iterable, Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from benchctl.archive.notes import add_note
from benchctl.archive.reanalysis.kept import Kept
from benchctl.archive.reanalysis.one_run import RunResult, RunTask
from benchctl.archive.reanalysis.tally import tally_of
from benchctl.archive.tables.figures_csv import COLUMNS
from benchctl.archive.verify import verify
from benchctl.documents.model.criteria import Criterion
from benchctl.errors import UsageError
from benchctl.measure.method import CHANGES, METHOD
from benchctl.spread.here import Here
from benchctl.spread.spread import Failure
from tests.archive.made_runs import IDLE, TONE, change_figure, change_journal, held_against, made_by
from tests.archive.reanalysis.conftest import Reanalyse


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def content(folder: Path) -> dict[str, str]:
    """Every file in a folder, with the hash of what it holds."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): sha256(path.read_bytes()).hexdigest() for path in files}


def test_sound_runs_come_out_as_they_are_written_and_stay_untouched(
    runs: Path, results: Path, again: Reanalyse
) -> None:
    before = content(runs)
    done = again()
    assert (len(done.rows), done.failed) == (3, [])
    assert [done.count(number) for number in ("changed", "verdicts_turned", "new", "not_computed")] == [0] * 4
    assert content(runs) == before
    assert verify(runs / "a").agrees
    rows = table(results / "figures" / "a.csv")
    assert [{name: row[name] for name in COLUMNS} for row in rows] == table(runs / "a" / "figures.csv")
    assert {(row["method"], row["changes"], row["why"]) for row in rows} == {(str(METHOD), "", "")}
    assert table(results / "changes.csv") == []


def test_a_value_of_an_earlier_method_stands_beside_that_of_today_with_what_changed(
    runs: Path, results: Path, again: Reanalyse
) -> None:
    today = next(row for row in table(runs / "b" / "figures.csv") if row["figure"] == "continuous_power")
    made_by(runs / "b", METHOD - 1)
    change_figure(runs / "b", "continuous_power", value=float(today["value"]) + 1.0, expanded_uncertainty=0.5)
    assert again().count("changed") == 1
    (row,) = table(results / "changes.csv")
    assert (row["run_folder"], row["figure"], row["channel"]) == ("b", "continuous_power", "A")
    assert row["value"] == today["value"]
    assert float(row["difference"]) == pytest.approx(-1.0)
    assert float(row["difference_in_u"]) == pytest.approx(-2.0), "1 W, of the 0.5 W that the run wrote"
    assert (row["method_before"], row["method"]) == (str(METHOD - 1), str(METHOD))
    assert set(row["changes"].split()) == {"value", "expanded_uncertainty"}
    concerned = [change.says for change in CHANGES[METHOD] if change.concerns(["continuous_power"])]
    assert row["why"] == "; ".join(f"method {METHOD}: {says}" for says in concerned)
    tally = tally_of(Kept(results, runs).changes(), {"b"})
    assert list(tally.why) == [f"method {METHOD}: {says}" for says in concerned]
    assert tally.figures["continuous_power"].largest_in_u == pytest.approx(-2.0)


def test_a_verdict_that_does_not_follow_today_is_told_as_turned(runs: Path, results: Path, again: Reanalyse) -> None:
    """12.46 W or so is not above 1 kW."""
    held_against(runs / "a", {"continuous_power": Criterion(relation="above", bound=1000.0, unit="W")}, "passes")
    done = again()
    turned = [row for row in table(results / "changes.csv") if row["changes"] == "verdict"]
    assert {(row["verdict_before"], row["verdict"]) for row in turned} == {("passes", "fails")}
    assert done.count("verdicts_turned") == len(turned) > 0
    assert "continuous_power of A: passes -> fails" in tally_of(Kept(results, runs).changes(), {"a"}).turned[0]


def test_instruments_that_are_held_against_each_other_only_today_are_told(
    runs: Path, results: Path, again: Reanalyse
) -> None:
    """10 and 9 V peak at 4.013 ohm are 22.6 W: more than the 17 W that the supply gave by these readings."""

    def change(event: dict[str, Any]) -> None:
        event["readings"]["supply_current"] = [1.21, 1.19, 1.2]

    change_journal(runs / "a", change)
    again("a")
    power = next(row for row in table(results / "changes.csv") if row["figure"] == "continuous_power")
    assert power["changes"] == "contradiction"
    assert "the outputs give 22.6 W, the supply gives 17.3 W" in power["why"]


def test_a_figure_that_cannot_be_computed_any_more_is_named_with_the_reason(
    runs: Path, results: Path, again: Reanalyse
) -> None:
    (runs / "a" / TONE).unlink()
    done = again("a")
    rows = table(results / "changes.csv")
    assert done.count("not_computed") == len(rows) > 0
    assert {(row["changes"], row["value"], row["why"]) for row in rows if row["capture"]} == {
        ("not computed", "", f"{TONE} is not there")
    }
    assert all(row["value_before"] for row in rows)
    idle = [row for row in table(results / "figures" / "a.csv") if row["capture"] == IDLE]
    assert idle
    assert all(row["value"] for row in idle), "the other step is computed all the same"


def test_a_run_that_cannot_be_read_is_named_and_the_others_go_on(runs: Path, results: Path, again: Reanalyse) -> None:
    (runs / "a" / "journal.jsonl").write_bytes(b"no journal\n{}\n")
    lines = (runs / "b" / "journal.jsonl").read_bytes().splitlines(keepends=True)
    (runs / "b" / "journal.jsonl").write_bytes(b"".join([lines[0], b"broken\n", *lines[1:]]))
    reasons = {row.name: row.error for row in again().failed}
    assert reasons["a"].endswith("journal.jsonl holds no whole event")
    assert "journal.jsonl:2" in reasons["b"]
    assert [each["run_folder"] for each in table(results / "runs.csv") if each["table"]] == ["c"]


class Counting(Here):
    """Does the work here, and keeps count of it; dies after some."""

    def __init__(self, dies_after: int | None = None) -> None:
        super().__init__(1)
        self.worked: list[str] = []
        self._dies_after = dies_after

    def each(self, work: Callable[..., object], tasks: Iterable[object]) -> Iterator[tuple[object, object]]:  # type: ignore[override]
        for task, result in super().each(work, tasks):
            assert isinstance(task, RunTask)
            if not isinstance(result, RunResult) or not result.is_as_before:
                self.worked.append(task.name)
            yield task, result
            if len(self.worked) == self._dies_after:
                raise KeyboardInterrupt


def test_a_reanalysis_that_was_killed_goes_on_and_gives_the_same_bytes(
    runs: Path, results: Path, again: Reanalyse, tmp_path: Path
) -> None:
    again()
    undisturbed = content(results)
    results.rename(tmp_path / "undisturbed")
    with pytest.raises(KeyboardInterrupt):
        again(spread=Counting(dies_after=2))
    part = results / "runs.csv.part"
    part.write_bytes(part.read_bytes()[:-20])  # a crash cut off the row of the second run
    goes_on = Counting()
    done = again(spread=goes_on)
    assert (goes_on.worked, done.as_before) == (["b", "c"], 1)
    assert content(results) == undisturbed


def test_only_a_run_whose_record_changed_is_computed_again(runs: Path, results: Path, again: Reanalyse) -> None:
    again()
    add_note(runs / "b", "The fuse holder was loose.")
    os.utime(runs / "c" / TONE, ns=(0, 0))
    (results / "figures" / "a.csv").unlink()
    counting = Counting()
    again(spread=counting)
    assert counting.worked == ["a", "b", "c"], "its table is gone, it has a note, it has another capture"
    counting = Counting()
    again("b", spread=counting)
    assert counting.worked == []
    assert [row["run_folder"] for row in table(results / "runs.csv")] == ["a", "b", "c"], "the others stay listed"


def test_results_of_two_collections_are_not_mixed(runs: Path, results: Path, again: Reanalyse, tmp_path: Path) -> None:
    again("a")
    with pytest.raises(UsageError, match="has the results of"):
        Kept(results, tmp_path)
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "letter.txt").touch()
    with pytest.raises(UsageError, match="is not empty and has no results"):
        Kept(tmp_path / "letters", runs)


def test_an_error_in_the_program_is_that_of_one_run(runs: Path, again: Reanalyse) -> None:
    class Failing(Here):
        def each(self, work: Callable[..., object], tasks: Iterable[object]) -> Iterator[tuple[object, object]]:  # type: ignore[override]
            details = 'Traceback\n  File "a.py", line 7, in f\n    x = 1 / 0\nZeroDivisionError: by zero\n'
            yield from ((task, Failure("ZeroDivisionError: by zero", details)) for task in tasks)

    done = again("a", spread=Failing(1))
    assert [row.error for row in done.failed] == ['ZeroDivisionError: by zero File "a.py", line 7, in f x = 1 / 0']
