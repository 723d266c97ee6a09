"""The run folder fails during the run: the bench is still made safe, and a message says what to do."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.events import RUN_ENDED, STEP_STARTED
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.tables.trend import read_trend
from benchctl.archive.verify import verify
from benchctl.launch.resume import resume
from benchctl.runner.acting.run import Run
from tests.faults.dry import Ended, Meddler, dry_run, dry_run_of
from tests.runner.rig import POWER_ON_LINE
from tests.runner.rig import files as files_of

POWER_ON, MEASURE_IDLE, FIRST_TONE, POWER_OFF = 0, 1, 3, 4  # steps of the brief sequence, by index


def folder_of(run: Run) -> Path:
    return run.recorder.folder.path


def assert_safe_and_said(ended: Ended, *words: str) -> None:
    """Exit code 5, nothing on, and the message that a person needs."""
    assert ended.still_on == ()
    assert ended.exit_code == 5
    for each in words:
        assert each in ended.said


# -- deleted ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("index", [POWER_ON, FIRST_TONE, POWER_OFF])
def test_a_deleted_run_folder_ends_the_run_safe(tmp_path: Path, index: int) -> None:
    ended = dry_run(tmp_path, meddler=Meddler(index, lambda run: shutil.rmtree(folder_of(run))))
    assert_safe_and_said(ended, "the file or its folder is gone", "must not be moved or deleted")
    assert list(tmp_path.iterdir()) == [], "and nothing is written where it was"


def test_a_journal_deleted_alone_ends_the_run_safe(tmp_path: Path) -> None:
    """A deleted file that is open accepts every write without an error."""
    ended = dry_run(tmp_path, meddler=Meddler(FIRST_TONE, lambda run: run.recorder.folder.journal.unlink()))
    assert_safe_and_said(ended, "the file or its folder is gone")


# -- moved, or deleted, in the middle of a step that writes nothing ----------------------------------------------

HOLD = (POWER_ON_LINE, "hold: {for: 60 s}", "power_off")


def in_the_middle(at_s: float, meddle: Callable[[Path], object]) -> Callable[[Run], None]:
    """Does something to the run folder this long after the step began."""

    def later(run: Run) -> None:
        def work() -> None:
            run.clock.sleep(at_s)
            meddle(folder_of(run))

        run.clock.start_thread(work, "meddler")

    return later


def test_a_folder_that_is_moved_ends_the_run_within_a_second_and_keeps_all_that_it_has_to_say(tmp_path: Path) -> None:
    moved = tmp_path / "elsewhere"
    meddler = Meddler(1, in_the_middle(10.0, lambda folder: folder.rename(moved)))
    ended = dry_run_of(files_of(*HOLD), tmp_path, meddler=meddler)
    assert_safe_and_said(ended, "the file or its folder is gone", "put it back, or resume it where it is now")
    journal = read_journal(moved / "journal.jsonl")
    began = next(event["time_s"] for event in journal.of_kind(STEP_STARTED) if "hold" in event["step"])
    (over,) = journal.of_kind(RUN_ENDED)
    assert over["safe"]
    assert 10.0 <= over["time_s"] - began <= 11.0
    trend = read_trend(RunFolder.open(moved))
    assert trend["time_s"].iloc[-1] >= over["time_s"] - 0.5, "the last row before it was noticed is there"
    assert journal.breaks == ()


def test_a_moved_folder_is_gone_on_with_where_it_is(tmp_path: Path) -> None:
    moved = tmp_path / "elsewhere"
    meddler = Meddler(1, in_the_middle(10.0, lambda folder: folder.rename(moved)))
    dry_run_of(files_of(*HOLD), tmp_path, meddler=meddler)
    rows = len(read_trend(RunFolder.open(moved)))
    assert resume(moved, Meddler()).outcome.exit_code == 0
    assert len(read_trend(RunFolder.open(moved))) > rows + 60 / 0.2
    assert verify(moved).agrees


def test_a_folder_that_is_deleted_in_the_middle_of_a_step_ends_the_run_within_a_second(tmp_path: Path) -> None:
    meddler = Meddler(1, in_the_middle(10.0, shutil.rmtree))
    ended = dry_run_of(files_of(*HOLD), tmp_path, meddler=meddler)
    assert_safe_and_said(ended, "the file or its folder is gone")
    assert meddler.run.clock.now() < 20.0


# -- full -------------------------------------------------------------------------------------------------------


@contextmanager
def files_limited_to(size: int) -> Iterator[None]:
    """No file may grow beyond `size` bytes, by a limit of the system."""
    resource = pytest.importorskip("resource", reason="limits on file size are a POSIX matter")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("size", [2_000, 6_000, 9_000, 12_000, 20_000])
def test_a_file_that_may_not_grow_ends_the_run_safe(tmp_path: Path, size: int) -> None:
    """Whichever of journal, capture and trend reaches the limit first."""
    with files_limited_to(size):
        ended = dry_run(tmp_path)
    assert_safe_and_said(ended, "the disk is full", "Make room on the disk, then resume")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own, of one megabyte."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if not _mount(disk, "size=1m"):
        pytest.skip("only root may mount a file system")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


def _mount(folder: Path, options: str) -> bool:
    if os.name != "posix" or os.geteuid() != 0 or shutil.which("mount") is None:
        return False
    mount = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
    return subprocess.run(mount, check=False, capture_output=True).returncode == 0


def fill(disk: Path) -> None:
    with (disk / "filler").open("wb", buffering=0) as filler:
        try:
            while True:
                filler.write(b"\0" * 4096)
        except OSError:
            return


@pytest.mark.parametrize("index", [POWER_ON, FIRST_TONE])
def test_a_full_disk_ends_the_run_safe_and_the_run_goes_on_once_there_is_room(small_disk: Path, index: int) -> None:
    """The journal is whole, and `resume` continues from there to the end."""
    ended = dry_run(small_disk, meddler=Meddler(index, lambda _: fill(small_disk)))
    assert_safe_and_said(ended, "the disk is full", "Make room on the disk, then resume")
    (small_disk / "filler").unlink()
    (folder,) = [path for path in small_disk.iterdir() if path.is_dir()]
    assert resume(folder, Meddler()).outcome.exit_code == 0
    events = read_journal(RunFolder.open(folder).journal).events
    assert events[-1]["event"] == "run ended"
    assert events[-1]["safe"]


@pytest.fixture(scope="module")
def calm(tmp_path_factory: pytest.TempPathFactory) -> RunFolder:
    """The folder of a run in which nothing goes wrong."""
    ended = dry_run(tmp_path_factory.mktemp("calm"))
    assert ended.result is not None
    return RunFolder.open(ended.result.folder)


@pytest.mark.parametrize(("room", "is_told"), [(-100, False), (0, True)])
def test_a_disk_that_is_full_once_the_last_step_is_finished_leaves_a_run_that_can_be_completed(
    tmp_path: Path, calm: RunFolder, room: int, is_told: bool
) -> None:
    """Without room for the journal's last event, or for the table after it."""
    size = calm.journal.stat().st_size + room
    with ExitStack() as full:

        def fill_up(run: Run) -> None:
            full.enter_context(files_limited_to(size))
            run.recorder.folder.figures.with_name("figures.csv.part").mkdir()  # smaller files find no room either

        ended = dry_run(tmp_path / "full", meddler=Meddler(POWER_OFF, fill_up))
    (folder,) = map(RunFolder.open, (tmp_path / "full").iterdir())
    (folder.path / "figures.csv.part").rmdir()
    told = [event["event"] for event in read_journal(folder.journal).events]
    assert (told[-1] == "run ended") == is_told
    assert told.count("step finished") == POWER_OFF + 1
    assert (ended.exit_code, ended.still_on, folder.is_closed) == (5, (), False)
    assert resume(folder.path, Meddler()).outcome.exit_code == 0
    assert folder.is_closed
    assert read_journal(folder.journal).events[-1]["event"] == "run ended"


# -- read-only --------------------------------------------------------------------------------------------------


@pytest.fixture
def make_read_only() -> Iterator[Callable[[Path], None]]:
    """Makes a folder read-only: by its mode or, for root, by a mount."""
    mounted: list[Path] = []

    def make(folder: Path) -> None:
        if os.geteuid() != 0:
            folder.chmod(0o555)
        elif _mount(folder, "ro"):
            mounted.append(folder)
        else:
            pytest.skip("root can write everywhere, and may not mount here")

    yield make
    for folder in mounted:
        subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.mark.parametrize("index", [MEASURE_IDLE, FIRST_TONE])
def test_a_folder_that_turns_read_only_ends_the_run_safe(
    tmp_path: Path, make_read_only: Callable[[Path], None], index: int
) -> None:
    ended = dry_run(tmp_path, meddler=Meddler(index, lambda run: make_read_only(folder_of(run) / "captures")))
    assert_safe_and_said(ended, "read-only", "Give yourself the right to write there")


def test_where_no_run_folder_can_be_made_nothing_is_switched_on(
    tmp_path: Path, make_read_only: Callable[[Path], None]
) -> None:
    make_read_only(tmp_path)
    ended = dry_run(tmp_path)
    assert_safe_and_said(ended, "read-only", "choose another folder with --out")
    assert not ended.was_driven
