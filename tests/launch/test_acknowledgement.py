"""The cautions are shown before the first real run on a bench, asked for once, and kept for that bench."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.reader import load_bench
from benchctl.errors import OperatorStop, PreflightRefused
from benchctl.launch.acknowledgement import WORD, require_acknowledgement

SHIPPED = Path(__file__).parents[2] / "sim" / "workshop.yaml"


class Person:
    """Answers as told, and remembers what was asked."""

    def __init__(self, says: str = WORD) -> None:
        self.says = says
        self.asked: list[str] = []

    def __call__(self, question: str) -> str:
        self.asked.append(question)
        return self.says


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return tmp_path / "state"


def bench_at(folder: Path, host: str) -> Bench:
    """The shipped bench with its instruments at another host; 192.0.2.0/24 is for documentation (RFC 5737)."""
    path = folder / f"bench-{host}.yaml"
    path.write_text(SHIPPED.read_text().replace("127.0.0.1", host))
    return load_bench(path)


def test_a_bench_on_loopback_needs_none() -> None:
    person = Person()
    require_acknowledgement(load_bench(SHIPPED), person, unattended=True)
    assert person.asked == []


def test_a_real_bench_is_asked_for_once(tmp_path: Path) -> None:
    person = Person()
    for _ in range(2):
        require_acknowledgement(bench_at(tmp_path, "192.0.2.7"), person, unattended=False)
    assert len(person.asked) == 1
    assert "emergency stop" in person.asked[0].lower()


def test_another_bench_is_asked_for_again(tmp_path: Path) -> None:
    person = Person()
    for host in ("192.0.2.7", "192.0.2.8"):
        require_acknowledgement(bench_at(tmp_path, host), person, unattended=False)
    assert len(person.asked) == 2


def test_an_unattended_first_run_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PreflightRefused, match="without --unattended"):
        require_acknowledgement(bench_at(tmp_path, "192.0.2.7"), Person(), unattended=True)


def test_an_unattended_run_may_follow_an_acknowledged_one(tmp_path: Path) -> None:
    require_acknowledgement(bench_at(tmp_path, "192.0.2.7"), Person(), unattended=False)
    require_acknowledgement(bench_at(tmp_path, "192.0.2.7"), Person("no"), unattended=True)


@pytest.mark.parametrize("answer", ["", "yes", "no", "y"])
def test_anything_but_the_word_ends_the_run_before_it_begins(tmp_path: Path, answer: str) -> None:
    person = Person(answer)
    with pytest.raises(OperatorStop):
        require_acknowledgement(bench_at(tmp_path, "192.0.2.7"), person, unattended=False)
    with pytest.raises(OperatorStop):
        require_acknowledgement(bench_at(tmp_path, "192.0.2.7"), person, unattended=False)
    assert len(person.asked) == 2
