"""Runs that a program starts: what is refused before anything is touched."""

from __future__ import annotations

from pathlib import Path

import pytest

import benchctl
from benchctl.archive.journal.simulation import Simulation
from benchctl.errors import DocumentError, LimitTripped, NotConfirmedOff, OperatorStop, PreflightRefused
from benchctl.guard.confirmation import Confirmation
from benchctl.launch.acknowledgement import WORD
from benchctl.launch.run import Result
from benchctl.library import shipped
from benchctl.python.performing import raise_its_end
from benchctl.runner.engine.execute import Outcome

# Where nothing answers, and which is on no network: TEST-NET-1 of RFC 5737.
ELSEWHERE = "192.0.2.1"


@pytest.fixture
def real_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A bench whose instruments are not on this computer, and a state folder in which nothing is acknowledged."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    bench = tmp_path / "bench.yaml"
    text = shipped("benches")["workshop"].read_text(encoding="utf-8")
    bench.write_text(text.replace("127.0.0.1", ELSEWHERE), encoding="utf-8")
    return bench


def test_a_file_that_is_wrong_is_told_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "wrong.yaml").write_text("benchctl: sequence 1\ntitle: x\nsteps: []\n", encoding="utf-8")
    with pytest.raises(DocumentError, match=r"wrong.yaml:\d+:\d+: "):
        benchctl.run(tmp_path / "wrong.yaml", "workshop", "hx2150", out=tmp_path)


def test_a_run_is_dry_unless_the_program_says_otherwise_and_a_hazard_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PreflightRefused, match="stay within 60 A"):
        benchctl.run("quick_check", "drawer", "hx2150", out=tmp_path / "runs")
    assert not (tmp_path / "runs").exists()


def test_the_first_real_run_needs_the_cautions_and_shows_them(real_bench: Path, tmp_path: Path) -> None:
    with pytest.raises(OperatorStop, match=f"give cautions='{WORD}'") as refused:
        benchctl.run("quick_check", real_bench, "hx2150", dry_run=False, out=tmp_path / "runs")
    assert "An emergency stop that opens the supply lead by hand" in str(refused.value)
    assert not (tmp_path / "runs").exists()
    assert not (tmp_path / "state").exists()


def test_a_real_run_without_anybody_to_ask_refuses_what_needs_hands(real_bench: Path, tmp_path: Path) -> None:
    with pytest.raises(PreflightRefused, match="unattended"):
        benchctl.run(
            "set_gains", real_bench, "hx2150", dry_run=False, cautions=WORD, accept="a trial", out=tmp_path / "runs"
        )


def test_an_output_that_is_not_known_to_be_off_matters_more_than_why_the_run_ended(tmp_path: Path) -> None:
    tripped = LimitTripped("supply_current", 96.0, "A", 4.0, "supply_current is 96 A")
    parts = (
        Confirmation("generator", "output off", True),
        Confirmation("supply", "output 'main' off", False, "no answer"),
    )
    with pytest.raises(NotConfirmedOff) as unsafe:
        raise_its_end(Result(Outcome(tripped, (), (), parts), tmp_path, Simulation()))
    assert str(unsafe.value).startswith(
        "NOT SAFE: supply: output 'main' off: NOT CONFIRMED (no answer). By hand, now: "
    )
    assert unsafe.value.__cause__ is tripped
    assert unsafe.value.run_folder == tmp_path
