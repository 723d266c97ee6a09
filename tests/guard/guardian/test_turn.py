"""Of two guardians one acts, and the other where that one does not."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from benchctl.guard.guardian import turn as module
from benchctl.guard.guardian.turn import Turn
from tests.guard.switches import DEADLINE_S

MakeTurn = Callable[[], Turn]
REASON = "the run has died"
HOLDER = """\
import sys, time
from pathlib import Path
from benchctl.guard.guardian.turn import Turn

def act():
    print("acting", flush=True)
    time.sleep(600)

Turn(Path(sys.argv[1])).act_once("the run has died", act)
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """The file that both have."""
    (tmp_path / "turn").touch()
    return tmp_path / "turn"


@pytest.fixture
def turn(path: Path) -> Iterator[MakeTurn]:
    """Gives one more guardian its hold on the file."""
    made: list[Turn] = []

    def make() -> Turn:
        made.append(Turn(path))
        return made[-1]

    yield make
    for each in made:
        each.leave()


@pytest.fixture
def holder(path: Path) -> Iterator[subprocess.Popen[bytes]]:
    """Another guardian, that has the turn and goes on acting."""
    with subprocess.Popen([sys.executable, "-c", HOLDER, str(path)], stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline().strip() == b"acting"
        yield process
        process.kill()


def never() -> bool:
    pytest.fail("acted a second time")


def in_a_thread(do: Callable[[], object]) -> threading.Event:
    """Do it; the event says that it is done."""
    done = threading.Event()
    threading.Thread(target=lambda: (do(), done.set()), daemon=True).start()
    return done


@pytest.mark.parametrize("is_safe", [True, False])
def test_what_one_has_done_the_other_leaves_at_that_and_says_the_same_of_the_bench(
    is_safe: bool, turn: MakeTurn
) -> None:
    one, other = turn(), turn()
    assert one.act_once(REASON, lambda: is_safe) is is_safe
    one.leave()
    assert other.act_once(REASON, never) is is_safe


def test_another_reason_is_another_deed(turn: MakeTurn) -> None:
    one, other = turn(), turn()
    one.act_once("the run hangs", lambda: True)
    acted: list[bool] = []
    other.act_once(REASON, lambda: not acted.append(True))
    assert acted


def test_what_happens_again_is_acted_upon_again(turn: MakeTurn) -> None:
    one, other = turn(), turn()
    acted: list[str] = []
    for _ in range(2):
        one.act_once(REASON, lambda: not acted.append("one"))
        other.act_once(REASON, lambda: not acted.append("other"))
    assert acted == ["one", "one"]


def test_the_other_waits_while_one_acts_and_shows_that_it_lives(turn: MakeTurn) -> None:
    one, other = turn(), turn()
    acting, may_end = threading.Event(), threading.Event()
    in_a_thread(lambda: one.act_once(REASON, lambda: acting.set() or may_end.wait(DEADLINE_S)))  # type: ignore[func-returns-value]
    assert acting.wait(DEADLINE_S)
    through = in_a_thread(lambda: other.act_once(REASON, never))
    assert not through.wait(3 * module.STILL_S), "it did not wait for one that lives"
    may_end.set()
    assert through.wait(DEADLINE_S)


def test_when_one_dies_in_its_turn_the_other_acts(turn: MakeTurn, holder: subprocess.Popen[bytes]) -> None:
    done = in_a_thread(lambda: turn().act_once(REASON, lambda: True))
    assert not done.wait(0.1)
    holder.kill()
    assert done.wait(DEADLINE_S)


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_when_one_stands_still_in_its_turn_the_other_acts_without(
    turn: MakeTurn, holder: subprocess.Popen[bytes]
) -> None:
    os.kill(holder.pid, signal.SIGSTOP)
    assert turn().act_once(REASON, lambda: True) is True


def test_a_file_that_is_gone_keeps_nobody_from_acting(tmp_path: Path) -> None:
    with Turn(tmp_path / "gone" / "turn") as gone:
        assert gone.act_once(REASON, lambda: True) is True


def test_a_file_that_holds_nonsense_keeps_nobody_from_acting(turn: MakeTurn, path: Path) -> None:
    for nonsense in (b"[", b"[1]", b"\xff" * 9000):
        path.write_bytes(nonsense)
        assert turn().act_once(REASON, lambda: True) is True


def test_a_file_that_cannot_be_read_keeps_nobody_from_acting(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Unreadable(io.FileIO):
        def read(self, *_: object) -> bytes:
            raise OSError("input/output error")

    monkeypatch.setattr(Path, "open", lambda each, *_, **__: Unreadable(each, "r+b"))
    with Turn(path) as turn:
        assert turn.act_once(REASON, lambda: True) is True


def test_what_is_left_of_a_longer_word_does_not_make_the_next_one_unreadable(turn: MakeTurn, path: Path) -> None:
    one, other = turn(), turn()
    path.write_bytes(b'{"' + b"a longer word" * 20 + b'": true}')
    assert one.act_once(REASON, lambda: True) is True
    assert other.act_once(REASON, never) is True


def test_the_file_is_gone_once_the_run_is_over(path: Path) -> None:
    with Turn(path):
        assert path.exists()
    assert not path.exists()


def test_five_signs_may_be_late_before_both_act_and_both_within_the_second_that_is_promised() -> None:
    """The times, not how a busy machine keeps them: SAFETY.md promises that all is off within a second."""
    assert pytest.approx(5 * module.SIGN_S) == module.STILL_S
    assert module.STILL_S + module.LOOK_S < 1.0 - module.STILL_S / 2
