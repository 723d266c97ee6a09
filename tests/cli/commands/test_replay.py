"""benchctl replay: a recorded run is run again, and is told as replayed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Command
from tests.cli.files import sequence


def test_a_recorded_run_is_replayed_and_told_as_such(benchctl: Command, tmp_path: Path) -> None:
    ran = benchctl("run", sequence(tmp_path), "-b", "workshop", "-a", "hx2150", "--dry-run", "--record", "--json")
    again = benchctl("replay", ran.data["folder"], "--json")
    assert again.exit_code == ran.exit_code == 0
    assert (ran.data["replayed"], again.data["replayed"]) == (False, True)
    assert again.data["verdicts"] == ran.data["verdicts"]
    assert "REPLAYED" in (Path(again.data["folder"]) / "report.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("content", [None, b"no recording"])
def test_what_is_no_recording_is_refused(benchctl: Command, tmp_path: Path, content: bytes | None) -> None:
    file = tmp_path / "traffic.jsonl.gz"
    if content is not None:
        file.write_bytes(content)
    ended = benchctl("replay", file)
    assert ended.exit_code == 2
    assert "traffic.jsonl.gz" in ended.err
