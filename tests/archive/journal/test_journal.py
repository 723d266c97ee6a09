"""What has been journalled survives; what a crash tore is found and told."""

from __future__ import annotations

import json
import math
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.archive.journal.journal import Event, Journal, parse_journal, read_as_far_as_whole, read_journal
from benchctl.clock import VirtualClock
from benchctl.errors import ArchiveError

PATH = Path("runs/x/journal.jsonl")

json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=6,
)
told_events = st.lists(st.tuples(st.text(max_size=8), json_values), max_size=5)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.jsonl"


@pytest.fixture
def journal(path: Path, clock: VirtualClock) -> Iterator[Journal]:
    journal = Journal(path, clock)
    yield journal
    journal.close()


def write(path: Path, told: list[tuple[str, Any]]) -> bytes:
    """A journal of these events; returns its bytes."""
    journal = Journal(path, VirtualClock())
    for kind, value in told:
        journal.append(kind, value=value)
    journal.close()
    return path.read_bytes()


def go_on(path: Path, kind: str) -> None:
    write(path, [(kind, None)])


def kinds(events: tuple[Event, ...]) -> list[str]:
    return [event["event"] for event in events]


def test_an_event_is_one_line_with_number_time_date_and_kind(journal: Journal, path: Path, clock: VirtualClock) -> None:
    journal.append("run_started", title="Burst")
    with clock.take_part():
        clock.sleep(90.25)
    journal.append("step_started", step="2 cool")
    first, second = path.read_text("utf-8").splitlines()
    assert first.startswith(
        '{"number": 1, "time_s": 0.0, "wall": "2026-01-01T08:00:00.000+00:00", "event": "run_started", '
        '"title": "Burst", "before": "", "hash": "'
    )
    assert json.loads(second)["number"] == 2
    assert json.loads(second)["time_s"] == 90.25
    assert json.loads(second)["wall"] == "2026-01-01T08:01:30.250+00:00"


def test_an_event_can_be_read_by_others_as_soon_as_append_returns(journal: Journal, path: Path) -> None:
    for number in range(1, 4):
        told = journal.append("sample", value=number)
        assert read_journal(path).events[-1] == told
        assert len(read_journal(path).events) == number


@settings(derandomize=True, max_examples=40, deadline=None)
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float_comes_back_with_every_bit(value: float) -> None:
    with TemporaryDirectory() as place:
        write(Path(place) / "j", [("sample", value)])
        back = read_journal(Path(place) / "j").events[0]["value"]
    assert math.copysign(1.0, back) == math.copysign(1.0, value)
    assert back == value


def test_numbers_of_numpy_and_paths_are_written_plainly(journal: Journal, path: Path) -> None:
    journal.append("sample", value=np.float64(0.1), count=np.int16(7), flag=np.bool_(True), file=Path("captures/1.npz"))
    event = read_journal(path).events[0]
    assert (event["value"], event["count"], event["flag"], event["file"]) == (0.1, 7, True, "captures/1.npz")


@pytest.mark.parametrize("value", [math.nan, math.inf, [1.0, -math.inf]])
def test_a_number_that_is_not_finite_is_refused_and_nothing_is_written(
    journal: Journal, path: Path, value: object
) -> None:
    with pytest.raises(ArchiveError, match="'sample' holds a number that is not finite"):
        journal.append("sample", value=value)
    journal.append("sample", value=None, reason="over range")
    assert [event["number"] for event in read_journal(path).events] == [1]


def test_a_field_cannot_take_the_place_of_the_journals_own(journal: Journal) -> None:
    with pytest.raises(ValueError, match="a field named time_s"):
        journal.append("sample", time_s=3.0)


def test_events_of_several_threads_do_not_mix(journal: Journal, path: Path) -> None:
    def work() -> None:
        for _ in range(20):
            journal.append("sample", text="x" * 200)

    threads = [threading.Thread(target=work) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    read = read_journal(path)
    assert [event["number"] for event in read.events] == list(range(1, 121))
    assert read.torn is None


@settings(derandomize=True, max_examples=70, deadline=None)
@given(told_events, st.data())
def test_a_journal_cut_at_any_byte_yields_every_whole_event_and_the_torn_rest(
    told: list[tuple[str, Any]], data: st.DataObject
) -> None:
    with TemporaryDirectory() as place:
        content = write(Path(place) / "j", told)
    cut = data.draw(st.integers(0, len(content)))
    read = parse_journal(content[:cut], PATH)

    lines = content.splitlines(keepends=True)
    whole = sum(1 for number in range(1, len(lines) + 1) if sum(map(len, lines[:number])) - 1 <= cut)
    rest = content[sum(map(len, lines[:whole])) : cut]
    assert [(event["event"], event["value"]) for event in read.events] == told[:whole]
    assert read.torn == (rest.decode("utf-8", errors="backslashreplace") if rest else None)


@settings(derandomize=True, max_examples=50, deadline=None)
@given(st.data())
def test_however_often_a_run_is_killed_no_whole_event_and_no_torn_piece_is_lost(data: st.DataObject) -> None:
    """Each round goes on where the last was cut, and is cut in what it wrote itself."""
    with TemporaryDirectory() as place:
        path = Path(place) / "j"
        content = write(path, [("run_started", "Ω 4 ohm"), ("step_started", [1.5, None])])
        kept = 0
        for number in range(4):
            cut = data.draw(st.integers(kept, len(content)), label=f"cut {number}")
            path.write_bytes(content[:cut])
            before = read_journal(path)
            go_on(path, f"resumed {number}")
            after = read_journal(path)
            assert after.torn is None
            assert after.events[: len(before.events)] == before.events
            torn = [event["torn"] for event in after.events[len(before.events) :] if event["event"] == "torn_line"]
            assert torn == ([] if before.torn is None else [before.torn])
            assert after.events[-1]["event"] == f"resumed {number}"
            content, kept = path.read_bytes(), cut


def test_a_broken_line_before_the_last_is_an_error_that_names_the_line(path: Path) -> None:
    content = write(path, [("a", 1), ("b", 2), ("c", 3)])
    lines = content.splitlines(keepends=True)
    path.write_bytes(lines[0] + lines[1][:20] + b"\n" + lines[2])
    with pytest.raises(ArchiveError, match=r"journal\.jsonl:2: this line is not a journal event"):
        read_journal(path)


def test_a_line_that_was_taken_out_is_an_error_that_names_the_place(path: Path) -> None:
    lines = write(path, [("a", 1), ("b", 2), ("c", 3)]).splitlines(keepends=True)
    path.write_bytes(lines[0] + lines[2])
    with pytest.raises(ArchiveError, match=r"journal\.jsonl:2: event number 3 is written where number 2 belongs"):
        read_journal(path)


@pytest.mark.parametrize("line", [b"[1, 2]", b'"text"', b"7", b'{"event": "x"}', b"\x00\x00\x00", b"[" * 100_000])
def test_a_last_line_that_is_json_but_no_event_is_torn(path: Path, line: bytes) -> None:
    content = write(path, [("a", 1)])
    read = parse_journal(content + line, PATH)
    assert kinds(read.events) == ["a"]
    assert read.torn == line.decode()


def test_a_torn_line_event_that_tells_of_another_piece_heals_nothing(path: Path) -> None:
    content = write(path, [("a", 1)])
    path.write_bytes(content + b'{"numb')
    go_on(path, "resumed")
    path.write_bytes(path.read_bytes().replace(b'{"numb\n', b'{"number\n'))
    with pytest.raises(ArchiveError, match=r"journal\.jsonl:2"):
        read_journal(path)


def test_running_out_of_room_is_an_error_and_the_journal_can_go_on_when_there_is_room(
    journal: Journal, path: Path, out_of_room: Callable[[int], AbstractContextManager[None]]
) -> None:
    journal.append("a")
    with out_of_room(path.stat().st_size + 30), pytest.raises(ArchiveError, match="the disk is full"):
        journal.append("b")
    torn = read_journal(path).torn
    assert torn is not None
    assert torn.startswith('{"number": 2')
    journal.append("c")
    read = read_journal(path)
    assert kinds(read.events) == ["a", "torn_line", "c"]
    assert read.events[1]["torn"] == torn


def test_a_folder_deleted_under_the_journal_is_told_at_the_next_event(tmp_path: Path, clock: VirtualClock) -> None:
    run = tmp_path / "run"
    run.mkdir()
    journal = Journal(run / "journal.jsonl", clock)
    journal.append("a")
    shutil.rmtree(run)
    with pytest.raises(ArchiveError, match="is gone"):
        journal.append("b")
    journal.close()


def test_a_journal_in_no_folder_or_of_no_file_is_an_archive_error(tmp_path: Path, clock: VirtualClock) -> None:
    with pytest.raises(ArchiveError, match="is gone"):
        Journal(tmp_path / "nowhere" / "journal.jsonl", clock)
    with pytest.raises(ArchiveError, match="cannot read"):
        read_journal(tmp_path / "journal.jsonl")


@pytest.mark.parametrize("broken", range(1, 6))
def test_of_a_broken_journal_what_stands_before_the_break_can_be_read(tmp_path: Path, broken: int) -> None:
    path = tmp_path / "journal.jsonl"
    with closing(Journal(path, VirtualClock())) as journal:
        for number in range(6):
            journal.append(f"event {number}")
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*lines[: broken - 1], b"{}\n", *lines[broken:]]))
    found, trouble = read_as_far_as_whole(path)
    assert [event["event"] for event in found.events] == [f"event {number}" for number in range(broken - 1)]
    assert f"journal.jsonl:{broken}: " in trouble


def test_of_a_whole_journal_everything_can_be_read_and_nothing_is_amiss(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    with closing(Journal(path, VirtualClock())) as journal:
        journal.append("event")
    assert read_as_far_as_whole(path) == (read_journal(path), "")
