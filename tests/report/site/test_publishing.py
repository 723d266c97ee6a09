"""A folder of runs becomes a site: what is in it, what is left out of it, and what is made anew."""

from __future__ import annotations

import csv
import pickle
import re
import shutil
from collections.abc import Callable, Generator, Iterable
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import written_alone
from benchctl.archive.notes import add_note
from benchctl.errors import ArchiveError, UsageError
from benchctl.report.site.publishing import Published, Settings, publish
from benchctl.spread.here import Here
from benchctl.spread.spread import Failure, Result, Task, attempted
from tests.journals import read_events, write_events
from tests.measured_runs import cut_off, measured

OLDEST, STOPPED, NEWEST = (
    f"{stamp}-quick-check-hx-2150" for stamp in ("20260301-091500", "20260402-100000", "20260403-100000")
)
HX_PAGES = "units/hx-2150-17"
EVERYTHING = Settings(with_simulated=True, url="https://tests.example/")


def files_of(site: Path) -> dict[str, bytes]:
    return {path.relative_to(site).as_posix(): path.read_bytes() for path in site.rglob("*") if path.is_file()}


def text_of(site: Path, names: Iterable[str] = ()) -> str:
    return "\n".join(content.decode("utf-8") for name, content in files_of(site).items() if not names or name in names)


def test_each_run_has_a_page_and_a_table_below_its_unit(runs: Path, tmp_path: Path) -> None:
    published = publish(runs, tmp_path / "site", Settings(title="Ferry amplifiers"))
    assert (published.units, published.runs, published.made, published.left_out) == (2, 3, 3, ())
    files = files_of(tmp_path / "site")
    of_unit = {"index.html", "figures.js", *(f"2026040{2}-100000.{end}" for end in ("html", "csv"))}
    of_unit |= {f"20260301-091500.{end}" for end in ("html", "csv")}
    assert {name.removeprefix(f"{HX_PAGES}/") for name in files if name.startswith(HX_PAGES)} == of_unit
    assert "units/lw-1200-17/20260403-100000.html" in files, "another amplifier with the same serial number"
    page = files[f"{HX_PAGES}/20260402-100000.html"].decode("utf-8")
    ways = re.findall(r'<a href="([^"#]+)"', page)
    assert ways == ["../../index.html", "index.html", "20260402-100000.csv"]
    assert b"Ferry amplifiers" in files["index.html"]


def test_the_table_of_a_run_holds_the_figures_of_its_folder(original: Path, tmp_path: Path) -> None:
    folder = measured(original, tmp_path / "runs", "20260301-091500", edit=cut_off(3))
    publish(tmp_path / "runs", tmp_path / "site", Settings())
    with (tmp_path / "site" / HX_PAGES / "20260301-091500.csv").open(encoding="utf-8", newline="") as table:
        published = [(row["figure"], row["value"], row["serial"]) for row in csv.DictReader(table)]
    with (folder / "figures.csv").open(encoding="utf-8", newline="") as table:
        kept = [(row["figure"], row["value"], "17") for row in csv.DictReader(table)]
    assert len(published) > 5
    assert published == kept[: len(published)], "of a run that was cut off, those that it had by then"


def test_the_same_runs_elsewhere_give_the_same_bytes(runs: Path, tmp_path: Path) -> None:
    (runs / STOPPED / "inputs" / "bench.yaml").unlink()  # a message about it has a path
    publish(runs, tmp_path / "site", EVERYTHING)
    elsewhere = shutil.copytree(runs, tmp_path / "elsewhere" / "kept", copy_function=shutil.copy)
    publish(elsewhere, tmp_path / "other", EVERYTHING)
    assert files_of(tmp_path / "site") == files_of(tmp_path / "other")
    assert str(tmp_path) not in text_of(tmp_path / "site")


def pages(published: Published) -> tuple[int, int]:
    return published.made, published.unchanged


def test_only_what_has_changed_is_made_anew(runs: Path, tmp_path: Path) -> None:
    site = tmp_path / "site"
    publish(runs, site, Settings())
    before = {path: path.stat().st_mtime_ns for path in site.rglob("*.html")}
    assert pages(publish(runs, site, Settings())) == (0, 3)
    assert {path: path.stat().st_mtime_ns for path in site.rglob("*.html")} == before
    add_note(runs / NEWEST, "Cleaned the relays.")
    assert pages(publish(runs, site, Settings())) == (1, 2)
    assert "Cleaned the relays." in text_of(site)
    assert pages(publish(runs, site, Settings(title="Another title"))) == (3, 0), "their head names the collection"


def test_a_record_that_was_altered_shows_although_its_size_is_the_same(runs: Path, tmp_path: Path) -> None:
    publish(runs, tmp_path / "site", Settings())
    folder = runs / NEWEST
    capture = sorted((folder / "captures").iterdir())[0]
    content = bytearray(capture.read_bytes())
    content[-1] ^= 1
    capture.write_bytes(content)
    assert pages(publish(runs, tmp_path / "site", Settings())) == (1, 2)
    assert "folder changed after the run" in text_of(tmp_path / "site", ["index.html"])


def test_what_is_remembered_changes_nothing(
    runs: Path, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    publish(runs, tmp_path / "site", Settings())
    before = files_of(tmp_path / "site")
    monkeypatch.setenv("BENCHCTL_CACHE", str(tmp_path_factory.mktemp("empty")))
    assert pages(publish(runs, tmp_path / "site", Settings())) == (0, 3), "the site itself knows its pages"
    assert files_of(tmp_path / "site") == before
    unusable = tmp_path_factory.mktemp("unusable") / "file"
    unusable.write_bytes(b"")
    monkeypatch.setenv("BENCHCTL_CACHE", str(unusable))
    published = publish(runs, tmp_path / "site", Settings())
    assert any("not remembered" in warning for warning in published.warnings)


def test_pages_of_runs_that_are_gone_are_removed(runs: Path, tmp_path: Path) -> None:
    site = tmp_path / "site"
    publish(runs, site, Settings())
    shutil.rmtree(runs / NEWEST)
    assert publish(runs, site, Settings()).removed == 4
    assert not (site / "units" / "lw-1200-17").exists()
    assert "LW 1200" not in text_of(site)


def test_simulated_runs_are_left_out_unless_asked_and_then_marked(runs: Path, original: Path, tmp_path: Path) -> None:
    simulated = shutil.copytree(original, runs / original.name) / "journal.jsonl"
    write_events(simulated, cut_off(1)(read_events(simulated)))  # a run with fewer pictures
    published = publish(runs, tmp_path / "site", Settings())
    assert (published.runs, published.simulated) == (3, 1)
    assert b'<p class="simulated">' not in b"".join(files_of(tmp_path / "site").values())
    publish(runs, tmp_path / "both", Settings(with_simulated=True))
    site = files_of(tmp_path / "both")
    for name in ("index.html", "units.html", "compare.html", "units/hx-2150-no-serial/index.html"):
        assert b'<p class="simulated">' in site[name], name
        assert b"<title>SIMULATED RUNS AMONG IT" in site[name], name
    assert b"DRY RUN" in site[f"units/hx-2150-no-serial/{original.name[:15]}.html"]
    assert b'class="simulated"' not in site[f"{HX_PAGES}/index.html"], "all runs of this unit are measurements"
    assert publish(runs, tmp_path / "both", Settings()).simulated == 1
    assert files_of(tmp_path / "both") == files_of(tmp_path / "site"), "left out again, although it is known by now"


def test_a_run_whose_journal_does_not_say_whether_it_was_simulated_counts_as_simulated(
    original: Path, tmp_path: Path
) -> None:
    measured(original, tmp_path / "runs", "20260301-091500", edit=cut_off(1))
    shutil.copytree(original, tmp_path / "runs" / "20260302-091500-old")
    journal = tmp_path / "runs" / "20260302-091500-old" / "journal.jsonl"
    journal.write_bytes(b"".join(journal.read_bytes().splitlines(keepends=True)[3:]))
    published = publish(tmp_path / "runs", tmp_path / "site", Settings())
    assert (published.runs, published.simulated) == (1, 0)
    (why,) = published.left_out
    assert "20260302-091500-old" in why
    assert "tells of no run that began" in why


def test_nobody_is_named_unless_asked(runs: Path, tmp_path: Path) -> None:
    publish(runs, tmp_path / "site", Settings(url="https://tests.example/"))
    everything = text_of(tmp_path / "site")
    assert "Cuts out when warm" in everything
    assert "lindqvist" not in everything.lower()
    publish(runs, tmp_path / "private", Settings(with_owner=True))
    private = files_of(tmp_path / "private")
    assert b"M. Lindqvist" in private[f"{HX_PAGES}/20260402-100000.html"]
    assert b"M. Lindqvist" not in private["index.html"]
    for name in ("index.html", "compare.html", f"{HX_PAGES}/index.html", f"{HX_PAGES}/20260402-100000.html"):
        assert b"Do not publish" in private[name], name


def test_how_a_run_ended_stands_beside_its_verdict(runs: Path, tmp_path: Path) -> None:
    publish(runs, tmp_path / "site", Settings())
    for name in ("index.html", f"{HX_PAGES}/index.html"):
        page = text_of(tmp_path / "site", [name])
        assert "stopped by a limit (supply current at 96.2 A)" in page
        assert ">interrupted<" in page
        assert ">Passes<" not in page


def test_what_is_no_whole_run_is_named_and_left_out(runs: Path, tmp_path: Path) -> None:
    (runs / "letters").mkdir()
    half = runs / "20260501-000000-half"
    half.mkdir()
    (half / "journal.jsonl").write_bytes(b'{"number": 1, "ti')
    shutil.copytree(runs / NEWEST, runs / "year" / NEWEST)
    with written_alone(RunFolder(runs / OLDEST)):
        published = publish(runs, tmp_path / "site", Settings())
    assert published.runs == 2
    left = dict(each.removeprefix(f"{runs}/").split(": ", 1) for each in published.left_out)
    assert left["20260501-000000-half"].startswith("its journal tells of no run that began")
    assert left["letters"].startswith("is not a run folder")
    assert "still goes on" in left[OLDEST]
    assert left[f"year/{NEWEST}"] == f"it is a copy of {runs / NEWEST}"


def test_a_run_folder_may_be_published_from_within(runs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (runs / NEWEST / "inputs" / "bench.yaml").unlink()  # a message about it names the folder
    publish(runs / NEWEST, tmp_path / "site", Settings())
    monkeypatch.chdir(runs / NEWEST)
    publish(Path(), tmp_path / "within", Settings())
    assert files_of(tmp_path / "within") == files_of(tmp_path / "site")


def test_two_runs_of_one_second_keep_pages_of_their_own(original: Path, tmp_path: Path) -> None:
    for place, count in (("one", 1), ("two", 2)):
        measured(original, tmp_path / "runs" / place, "20260301-091500", edit=cut_off(count))
    publish(tmp_path / "runs", tmp_path / "site", Settings())
    names = sorted(path.name for path in (tmp_path / "site" / HX_PAGES).glob("2026*.html"))
    assert len(names) == 2
    assert all(re.fullmatch(r"20260301-091500-[0-9a-f]{8}\.html", name) for name in names)


def test_where_there_is_nothing_to_publish_nothing_is_written(original: Path, tmp_path: Path) -> None:
    shutil.copytree(original, tmp_path / "runs" / original.name)
    with pytest.raises(UsageError, match="runs that are no measurements: 1; --with-simulated"):
        publish(tmp_path / "runs", tmp_path / "site", Settings())
    assert not (tmp_path / "site").exists()


class _Elsewhere(Here):
    """As processes or a cluster do it: work and tasks are pickled on the way."""

    def each(
        self, work: Callable[[Task], Result], tasks: Iterable[Task]
    ) -> Generator[tuple[Task, Result | Failure], None, None]:
        for sent in [pickle.dumps((work, task)) for task in tasks]:
            there, task = pickle.loads(sent)
            yield task, attempted(there, task)


def test_whoever_makes_the_pages_makes_the_same_bytes(runs: Path, tmp_path: Path) -> None:
    for number in range(2):  # enough pages to be worth the start of a process
        add_note(shutil.copytree(runs / NEWEST, runs / f"2026040{number + 4}-100000-more"), f"Note {number}.")
    publish(runs, tmp_path / "one", Settings())
    assert pages(publish(runs, tmp_path / "two", Settings(), spread=_Elsewhere(2))) == (5, 0)
    assert files_of(tmp_path / "one") == files_of(tmp_path / "two")


def test_a_page_that_cannot_be_made_is_named_and_what_was_made_before_is_kept(runs: Path, tmp_path: Path) -> None:
    class Fails(_Elsewhere):
        def each(
            self, work: Callable[[Task], Result], tasks: Iterable[Task]
        ) -> Generator[tuple[Task, Result | Failure], None, None]:
            *others, last = super().each(work, tasks)
            yield from others
            yield last[0], Failure("it was out of memory")

    for number in range(2):
        add_note(shutil.copytree(runs / NEWEST, runs / f"2026040{number + 4}-100000-more"), f"Note {number}.")
    with pytest.raises(ArchiveError, match=rf"the page of .*{OLDEST} cannot be made: it was out of memory"):
        publish(runs, tmp_path / "site", Settings(), spread=Fails(2))
    assert pages(publish(runs, tmp_path / "site", Settings())) == (1, 4)
