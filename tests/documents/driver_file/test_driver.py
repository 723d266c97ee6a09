"""A driver file holds the command set of one family in one role; what is missing or would be lost is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl import library
from benchctl.documents.driver_file.driver import ROLES
from benchctl.documents.reader import load_driver
from tests.documents.conftest import ProblemsOf


@pytest.mark.parametrize("name", library.shipped("drivers"))
def test_every_shipped_driver_lies_in_the_folder_of_its_role(name: str) -> None:
    assert load_driver(name).role == name.split("/", maxsplit=1)[0]


def test_every_role_has_a_driver_that_ships() -> None:
    assert {name.split("/")[0] for name in library.shipped("drivers")} == set(ROLES)


@pytest.fixture
def driver_text() -> str:
    return library.find("drivers", "oscilloscope/preamble_list").read_text()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("role: oscilloscope", "role: oscilloscop", "2:7: unknown role 'oscilloscop'; did you mean 'oscilloscope'?"),
        ("role: oscilloscope\n", "", "1:1: 'role' is missing; give one of generator, oscilloscope"),
        ("role: oscilloscope", "role: [oscilloscope]", "2:7: a list is not a role"),
        ("commands:", "preamble: list\ncommands:", "5:1: 'preamble' is not a key any more: what samples stand for is"),
        ("DISP OFF", "DISP OFF {chan}", "8:17: 'CHAN{channel}:DISP OFF {chan}': unknown value 'chan'; did you mean"),
        ("CHAN{channel}:DISP OFF", "CHAN1:DISP OFF", "8:17: the value '{channel}' is not used, so it would never"),
        ('"WAV:DATA?"', '"WAV:DATA"', "21:16: a question ends in one message with '?'"),
        (
            '"WAV:DATA?"',
            '["WAV:DATA?", "WAV:DATA?"]',
            "21:16: a question ends in one message with '?', and none before",
        ),
        ('"SING"', '"SING?"', "15:11: a '?' in a command that is not a question"),
        ('"SING"', "[]", "15:11: a list is written where a command"),
        ('"SING"', "{a: b}", "15:12: unknown key 'a'; known here: send, settle"),
        ('"SING"', '["SING", [x]]', "15:20: a list is written where a command belongs"),
        ('"SING"', '["SING", "SI\\nNG"]', "15:20: 'SI\\x0aNG': a command is one line"),
        ("  get_finished", "  get_finishd", "6:3: 'get_finished' is missing here"),
        ("commands:", "divisions: {vertical: 0}\ncommands:", "5:23: '0' is out of range; it must be from 2 to 20"),
    ],
)
def test_a_driver_that_could_not_work_is_refused_at_its_place(
    old: str, new: str, message: str, driver_text: str, problems_of: ProblemsOf
) -> None:
    assert old in driver_text
    told = problems_of(driver_text.replace(old, new, 1), "driver")
    assert told[0].startswith(message)


def test_a_supply_with_one_output_need_not_choose_it(problems_of: ProblemsOf) -> None:
    text = library.find("drivers", "supply/scpi99").read_text().replace("INST:NSEL {output};:", "")
    assert problems_of(text, "driver") == []


def test_a_driver_is_found_beside_the_bench_file_or_in_its_folder(tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text(library.find("drivers", "thermometer/scpi99").read_text())
    bench = tmp_path / "bench.yaml"
    bench.write_text("")
    assert load_driver("mine.yaml", tmp_path).role == "thermometer"
    assert load_driver("mine.yaml", bench).role == "thermometer"
