"""The short form of `python -m benchmarks.shared_folder`: two processes make runs in one slow folder, a third reads."""

from __future__ import annotations

from pathlib import Path

from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import written_alone
from benchctl.archive.journal.events import RUN_ENDED, RUN_STARTED
from benchctl.archive.recorder import Recorder
from benchctl.clock import VirtualClock
from benchmarks.shared_folder.trial import share
from tests.archive.made_runs import record_tone, two_tones

BENCHES, RUNS = 2, 3


def make_at_one_time(root: Path, _: int) -> Path:
    """A run whose name every other one asks for as well: as of benches that begin in the same second."""
    clock = VirtualClock()
    folder = RunFolder.create(root, "Quick check", "HX 2150", clock)
    with written_alone(folder):
        recorder = Recorder(folder, clock)
        recorder.event(RUN_STARTED, dry_run=True, settings={}, instruments={})
        record_tone(recorder, two_tones())
        trend_sha256 = recorder.finish_trend()
        recorder.event(RUN_ENDED, reason="finished", exit_code=0, safe=True, trend_sha256=trend_sha256)
        recorder.finish()
    return folder.path


def test_runs_of_two_processes_in_one_slow_folder_are_whole_and_hinder_nobody(tmp_path: Path) -> None:
    (tmp_path / "ended").mkdir()
    shared = share(make_at_one_time, tmp_path / "runs", tmp_path / "ended", benches=BENCHES, runs=RUNS, at_most_s=0.005)
    assert shared.violations == []
    names = {path.name for path in shared.made}
    assert names == {
        f"20260101-080000-quick-check-hx-2150{end}" for end in ("", *(f"-{n}" for n in range(2, BENCHES * RUNS + 1)))
    }
    assert shared.looks > 0
