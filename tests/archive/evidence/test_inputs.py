"""An input that is not as the run kept it is told, with what changed in it."""

from __future__ import annotations

import os
from hashlib import sha256

import pytest

from benchctl.archive.evidence.inputs import InputsCheck, changed_lines, check_inputs, keep_inputs
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.events import INPUTS_ACCEPTED, INPUTS_KEPT, RUN_STARTED
from benchctl.archive.journal.journal import Event

TEXTS = {"bench.yaml": "title: Bench\nlimits:\n  current: 110 A\n", "drivers/supply.yaml": "off: OUTP OFF\n"}


@pytest.fixture
def events(folder: RunFolder) -> list[Event]:
    hashes = keep_inputs(folder, TEXTS)
    return [
        {"number": 1, "event": RUN_STARTED, "inputs": hashes},
        {"number": 2, "event": INPUTS_KEPT, "texts": TEXTS},
    ]


def test_inputs_as_they_were_kept_are_in_order(folder: RunFolder, events: list[Event]) -> None:
    assert check_inputs(folder, events) == InputsCheck((), (), "", (), False, events[0]["inputs"])
    bench = (folder.inputs / "bench.yaml").read_bytes()
    assert events[0]["inputs"]["bench.yaml"] == sha256(bench).hexdigest()


def test_a_changed_line_is_told_as_it_was_and_as_it_is(folder: RunFolder, events: list[Event]) -> None:
    (folder.inputs / "bench.yaml").write_text(TEXTS["bench.yaml"].replace("110 A", "100000 A"))
    assert check_inputs(folder, events).changed == (
        "inputs/bench.yaml was changed after the run began: line 3 was 'current: 110 A', is 'current: 100000 A'",
    )


def test_where_the_journal_does_not_keep_the_text_the_file_is_named(folder: RunFolder, events: list[Event]) -> None:
    (folder.inputs / "drivers" / "supply.yaml").write_text("off: OUTP ON\n")
    assert check_inputs(folder, events[:1]).changed == ("inputs/drivers/supply.yaml was changed after the run began",)


def test_missing_and_unreadable_inputs_are_told(folder: RunFolder, events: list[Event]) -> None:
    (folder.inputs / "bench.yaml").unlink()
    (folder.inputs / "drivers" / "supply.yaml").unlink()
    os.mkfifo(folder.inputs / "drivers" / "supply.yaml")
    assert check_inputs(folder, events).changed == (
        "inputs/bench.yaml is missing",
        "inputs/drivers/supply.yaml cannot be read",
    )


def test_a_file_that_came_later_is_told_and_is_no_change(folder: RunFolder, events: list[Event]) -> None:
    (folder.inputs / "remarks.txt").write_text("x")
    check = check_inputs(folder, events)
    assert (check.changed, check.added) == ((), ("inputs/remarks.txt was not there when the run began",))


def test_a_folder_made_before_inputs_were_hashed_is_unproven_and_not_in_order(folder: RunFolder) -> None:
    keep_inputs(folder, TEXTS)
    check = check_inputs(folder, [{"number": 1, "event": RUN_STARTED}])
    assert (check.changed, check.was_never_hashed) == ((), True)
    assert check.unproven == "the inputs: this folder was made before inputs were hashed"


def test_once_hashed_such_a_folder_is_held_to_that_and_its_beginning_stays_unproven(folder: RunFolder) -> None:
    hashes = keep_inputs(folder, TEXTS)
    kept: Event = {"number": 9, "event": INPUTS_KEPT, "inputs": hashes, "texts": TEXTS}
    (folder.inputs / "bench.yaml").write_text("title: Other\n")
    check = check_inputs(folder, [{"number": 1, "event": RUN_STARTED}, kept])
    assert len(check.changed) == 1
    assert check.unproven == "the inputs before event 9: only since then are they hashed"


def test_what_was_accepted_is_in_order_and_stays_told(folder: RunFolder, events: list[Event]) -> None:
    (folder.inputs / "bench.yaml").write_text("title: Other\n")
    before = check_inputs(folder, events)
    accepted: Event = {
        "number": 3,
        "event": INPUTS_ACCEPTED,
        "reason": "new fuse",
        "changed": list(before.changed),
        "inputs": before.hashes,
        "texts": {},
    }
    after = check_inputs(folder, [*events, accepted])
    assert after.changed == ()
    assert after.accepted[0].endswith("Reason given: new fuse")


@pytest.mark.parametrize(
    ("was", "now", "expected"),
    [
        ("a\nb\n", "a\nb\n", []),
        ("a\nb\n", "a\n", ["line 2, 'b', was taken out"]),
        ("a\n", "a\nb\n", ["line 2, 'b', was added"]),
        ("a: 1\n", "a: \x1b[2J\n", ["line 1 was 'a: 1', is 'a: \\x1b[2J'"]),
        ("", "a", []),
        ("a\n" * 3000, "b\n" * 3000, []),
    ],
)
def test_lines_that_differ_are_told_in_words(was: str, now: str, expected: list[str]) -> None:
    assert changed_lines(was, now) == expected
