"""Run a recorded run again without its instruments: their recorded answers are given again, in virtual time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from benchctl.archive.folder import RunFolder
from benchctl.clock import VirtualClock
from benchctl.errors import UsageError
from benchctl.instruments.bench import Bench, open_bench
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.recordings.replay import Replay
from benchctl.instruments.links.recordings.traffic import Recorded, read_recording
from benchctl.launch.opened import Opened
from benchctl.launch.resume import kept_files
from benchctl.launch.run import Result, RunObserver, run_on
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand

# Preflight's warnings were accepted when the run was recorded, so they are accepted again.
ACCEPTED = "they were when the run was recorded"


def replay(path: Path, observer: RunObserver, *, out: Path) -> Result:
    """Perform the recorded run again, into a run folder of its own that says that it was replayed.

    Args:
        path: the recording, or the run folder that holds it.
        observer: is told what happens.
        out: the folder in which the run folder is made.

    Raises:
        UsageError: there is no recording, or it is broken.
        DocumentError, PreflightRefused: this version of the program refuses the run's documents.
        ArchiveError: the run folder cannot be written.
    """
    recorded = read_recording(path / "traffic.jsonl.gz" if path.is_dir() else path)
    files = _files(recorded)
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    checked.refuse_hazards(recorded.about.get("accepted") or ACCEPTED)
    with _opened(recorded, files) as opened:
        return run_on(opened, files, checked, observer, out=out, settings=recorded.about["settings"])


def _files(recorded: Recorded) -> Files:
    """The documents as they were used. They are in the recording itself."""
    try:
        texts: Mapping[str, str] = recorded.about["inputs"]
        settings: Mapping[str, str] = recorded.about["settings"]
        with TemporaryDirectory(prefix="benchctl-replay-") as folder:
            kept = RunFolder(Path(folder))
            for name, text in texts.items():
                place = kept.inputs / name
                if kept.inputs.resolve() not in place.resolve().parents:
                    raise UsageError(f"the recording names a document '{name}', which no run keeps")
                place.parent.mkdir(parents=True, exist_ok=True)
                place.write_text(text, encoding="utf-8")
            return kept_files(kept, {"settings": settings})
    except (KeyError, TypeError, AttributeError) as error:
        raise UsageError(f"the recording does not hold the run's documents ({error!r})") from error


@contextmanager
def _opened(recorded: Recorded, files: Files) -> Iterator[Opened]:
    """The bench whose instruments are the recording."""
    addresses: Mapping[str, str] = {
        role: recorded.about["addresses"].get(role, entry.address) for role, entry in files.bench.instruments.items()
    }
    clock = VirtualClock()
    role_at = {address: role for role, address in addresses.items()}
    instruments = Replay(recorded.exchanges, role_at, recorded.about["marks_ends"], clock.now)

    def connect(interlock: Interlock) -> Bench:
        return open_bench(
            files.bench,
            addresses,
            interlock,
            clock.sleep,
            opener=instruments.open_link,
            owed=instruments.owed_s,
            now=clock.now,
        )

    with clock.take_part():
        interlock = Interlock(clock)
        with connect(interlock) as bench:
            yield Opened(bench, clock, interlock, connect, is_replayed=True)
