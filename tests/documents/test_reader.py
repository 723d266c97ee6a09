"""A document is read whole or refused with every fault at once, each as `file:line:column: sentence`."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchctl import library
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.documents.reader import (
    MOST_PROBLEMS,
    load_amplifier,
    load_bench,
    load_driver,
    load_sequence,
    read_any,
)
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.errors import DocumentError, UsageError
from tests.documents.conftest import ProblemsOf

HEAD = "benchctl: sequence 1\ntitle: t\n"


def problems_of(path: Path) -> list[str]:
    with pytest.raises(DocumentError) as caught:
        read_any(path)
    return [str(problem).removeprefix(f"{path}:") for problem in caught.value.problems]


def test_everything_that_ships_is_valid(shipped_files: list[Path]) -> None:
    assert len(shipped_files) >= 11
    for path in shipped_files:
        assert read_any(path).source.path == path


def test_each_kind_has_its_loader() -> None:
    assert isinstance(load_sequence("quick_check"), Sequence)
    assert isinstance(load_bench("workshop"), Bench)
    assert isinstance(load_amplifier("hx2150"), Amplifier)
    assert isinstance(load_driver("supply/scpi99"), SupplyDriver)


def test_a_document_remembers_its_file_and_its_text() -> None:
    path = library.find("sequences", "quick_check")
    sequence = load_sequence(path)
    assert sequence.source.path == path
    assert sequence.source.folder == path.parent
    assert sequence.source.text == path.read_text()


def test_all_faults_are_told_at_once_in_the_order_of_the_file(problems_of: ProblemsOf) -> None:
    text = """
        benchctl: sequence 1
        title: Quick check
        limits:
          supply_curent: {above: 95 A, for: 500 ms}
          supply_voltage: {below: 11 A, for: 500}
          heatsink: {above: 85 degC, above: 90 degC}
        steps:
          - power_on: {voltage: 14.4 V}
          - measure_bust: {cycles: [1, 8]}
          - set: {load: 4}
    """
    assert problems_of(text) == [
        "4:3: unknown key 'supply_curent'; did you mean 'supply_current'?",
        "5:27: '11 A': 'A' is not accepted here; give V, mV, kV or dBV",
        "5:38: '500' has no unit; give s, ms, us, min or h, for example '20 ms'",
        "6:30: 'above' is given twice (first in line 6); keep one",
        "8:15: 'current_limit' is missing here",
        "9:5: unknown step 'measure_bust'; did you mean 'measure_burst'?",
        "10:17: '4' has no unit; give ohm, mohm or kohm, for example '4 ohm'",
    ]


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        ("title: t", "1:1: the first line is missing; a document begins with 'benchctl: sequence 1'"),
        ("benchctl: seqence 1", "1:11: unknown kind of document 'seqence'; did you mean 'sequence'?"),
        ("benchctl: sequence 2", "1:11: version 2 is not known; this program reads version 1"),
        ("benchctl: sequence", "1:11: 'sequence' is not a kind and version; write 'benchctl: sequence 1'"),
        ("benchctl: [sequence, 1]", "1:11: a list is not a kind and version; write 'benchctl: sequence 1'"),
        ("benchctl: bench 1", "1:11: this is a bench file; a sequence file is wanted here"),
        ("benchctl: amplifier 1", "1:11: this is an amplifier file; a sequence file is wanted here"),
    ],
)
def test_a_wrong_first_line_is_named_clearly(head: str, expected: str, problems_of: ProblemsOf) -> None:
    tail = "" if head.startswith("title") else "\ntitle: t"
    assert problems_of(f"{head}{tail}\nsteps: [power_off]\n", "sequence")[0] == expected


def test_the_kind_must_be_on_the_first_line(problems_of: ProblemsOf) -> None:
    faults = problems_of("title: t\nbenchctl: sequence 1\nsteps: [power_off]\n")
    assert faults == ["2:1: the line 'benchctl: ...' must be the first one"]


@pytest.mark.parametrize("text", ["just words\n", "[benchctl, sequence]\n"])
def test_a_file_that_is_no_mapping_is_no_document(text: str, problems_of: ProblemsOf) -> None:
    assert "is written where a document belongs; it begins with 'benchctl: sequence 1'" in problems_of(text)[0]


def test_a_colon_left_out_in_a_flow_mapping_is_named(problems_of: ProblemsOf) -> None:
    faults = problems_of(HEAD + "limits: {heatsink: {above: 85 degC, for 3 s}}\nsteps: [power_off]\n")
    assert faults == ["3:37: a colon is missing in 'for 3 s'; write 'for: ...'"]


def test_a_decimal_comma_in_a_flow_mapping_is_named(problems_of: ProblemsOf) -> None:
    faults = problems_of(HEAD + "steps:\n  - power_on: {voltage: 14,4 V, current_limit: 9 A}\n")
    assert (
        faults[-1] == "4:28: '4 V' is not a key; if it is what follows a decimal comma, write the number with a point"
    )


def test_no_fault_is_told_in_the_words_of_a_library(problems_of: ProblemsOf) -> None:
    told = "\n".join(
        problems_of(
            HEAD
            + "purpose: [x]\nlimits: [1]\nsteps:\n  - hold: [a]\n  - measure_burst: {cycles: {a: b}, expect: 3}\n"
            + "  - sweep: {load: 4 ohm}\n    steps: power_off\n  - set: {level: {}, channels: [[a]]}\n"
        )
    )
    assert told.count("\n") >= 7
    assert "Input" not in told
    assert "valid" not in told
    assert "pydantic" not in told


def test_a_megabyte_of_noise_is_refused_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "noise.yaml"
    path.write_bytes(bytes(index * 7 % 256 for index in range(1_000_000)))
    assert problems_of(path) == ["1:1: the file is longer than 100 kB, so it is not a benchctl document"]


def test_bytes_that_are_not_utf_8_are_refused_at_their_place(tmp_path: Path) -> None:
    path = tmp_path / "latin.yaml"
    path.write_bytes("benchctl: sequence 1\ntitle: Prüfung\n".encode("latin-1"))
    assert problems_of(path) == ["2:10: this byte is not UTF-8 text; save the file as UTF-8"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_files_from_any_editor_are_read(encoding: str, newline: str, tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_bytes(
        "benchctl: sequence 1\ntitle: Prüfung Nr. 3\nsteps: [power_off]\n".replace("\n", newline).encode(encoding)
    )
    assert load_sequence(path).title == "Prüfung Nr. 3"


def test_places_are_right_in_a_file_with_windows_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_bytes(b"benchctl: sequence 1\r\ntitle: t\r\nstep: []\r\nsteps: [power_off]\r\n")
    assert problems_of(path) == ["3:1: unknown key 'step'; did you mean 'steps'?"]


def test_a_file_with_very_many_faults_shows_the_first_and_counts_the_rest(problems_of: ProblemsOf) -> None:
    faults = problems_of(HEAD + "steps:\n" + "  - foo\n" * 200)
    assert len(faults) == MOST_PROBLEMS + 1
    assert faults[-1].endswith("and 150 more from here on")


def test_messages_move_no_cursor(problems_of: ProblemsOf) -> None:
    for fault in problems_of(HEAD + 'limits: {"\\e[2J": 1}\nsteps: ["\\e[31m", power_off]\n'):
        assert fault.isprintable()


def test_a_file_that_is_not_there_is_a_matter_of_usage(tmp_path: Path) -> None:
    for load in (load_bench, load_sequence, load_amplifier, load_driver, read_any):
        with pytest.raises(UsageError):
            load(tmp_path / "missing.yaml")


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        read_any(tmp_path)


def test_a_driver_file_that_was_edited_is_read_anew(tmp_path: Path) -> None:
    """So is one that is based on it."""
    base, based = tmp_path / "base.yaml", tmp_path / "based.yaml"
    text = library.find("drivers", "supply/scpi99").read_text(encoding="utf-8")
    based.write_text("benchctl: driver 1\nbased_on: base.yaml\n", encoding="utf-8")
    for title in ("The first", "The second"):
        base.write_text(re.sub("^title: .*$", f"title: {title}", text, flags=re.MULTILINE), encoding="utf-8")
        assert [load_driver(file, tmp_path).title for file in (base, based)] == [title, title]
