"""Only one writes into a run folder at a time; anybody may read, and sees that it is written."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import is_being_written, written_alone
from benchctl.archive.journal.journal import Journal, read_journal
from benchctl.clock import VirtualClock
from benchctl.errors import PreflightRefused
from benchctl.file_lock import take_lock, unlock


def test_a_second_writer_is_refused_until_the_first_has_ended(folder: RunFolder) -> None:
    with written_alone(folder):
        assert is_being_written(folder)
        with pytest.raises(PreflightRefused, match="still goes on, or is being resumed"), written_alone(folder):
            pass
    assert not is_being_written(folder)
    with written_alone(folder):
        pass


def test_the_lock_hinders_neither_the_journal_nor_its_readers(folder: RunFolder, clock: VirtualClock) -> None:
    with written_alone(folder):
        journal = Journal(folder.journal, clock)
        journal.append("a")
        assert len(read_journal(folder.journal).events) == 1
        journal.close()
        assert is_being_written(folder), "closing the journal lets go of nothing"


def test_whoever_looks_takes_the_lock_from_nobody(folder: RunFolder) -> None:
    folder.journal.touch()
    assert not is_being_written(folder)
    with written_alone(folder):
        assert is_being_written(folder)
        assert is_being_written(folder)


def test_a_killed_process_holds_no_folder(folder: RunFolder) -> None:
    folder.journal.touch()
    program = (
        "import sys, time; from pathlib import Path; from benchctl.archive.folder import RunFolder;"
        "from benchctl.archive.folder_lock import written_alone\n"
        "with written_alone(RunFolder(Path(sys.argv[1]))): print('held', flush=True); time.sleep(600)"
    )
    command = [sys.executable, "-c", program, str(folder.path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        assert is_being_written(folder)
        holder.kill()
    assert not is_being_written(folder)


def test_a_run_is_told_apart_from_another_folders(folder: RunFolder, tmp_path: Path, clock: VirtualClock) -> None:
    other = RunFolder.create(tmp_path, "other", "amplifier", clock)
    with written_alone(folder), written_alone(other):
        pass


def test_a_writer_waits_for_who_only_looks(folder: RunFolder) -> None:
    """On a slow network drive a look may take a while; it is no reason to refuse a run."""
    written = threading.Event()

    def write() -> None:
        with written_alone(folder):
            written.set()

    with folder.journal.open("ab", buffering=0) as looker:
        assert take_lock(looker)
        writer = threading.Thread(target=write)
        writer.start()
        unlock(looker)
        writer.join()
    assert written.is_set()
