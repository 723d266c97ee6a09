"""A driver file that is based on another, and what `answers` says of every answer."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.documents.reader import load_driver
from benchctl.errors import DocumentError

MINE = "benchctl: driver 1\ntitle: Mine\nbased_on: ./whole\n"
BASE = """\
benchctl: driver 1
role: supply
title: The whole
answers: {header: yes}
steps: {voltage: 10 mV, overvoltage: 500 mV}
"""


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def whole(folder: Path) -> Path:
    shipped = load_driver("supply/scpi99")
    commands = shipped.source.text.split("commands:", 1)[1]
    return written(folder, "whole.yaml", BASE + "commands:" + commands)


def problem_of(path: Path) -> str:
    with pytest.raises(DocumentError) as caught:
        load_driver(path)
    return "\n".join(str(problem) for problem in caught.value.problems)


def test_only_what_differs_is_said(tmp_path: Path) -> None:
    whole(tmp_path)
    text = MINE + 'steps: {voltage: 20 mV}\ncommands:\n  output_on: "ON {output}"\n'
    driver = load_driver(written(tmp_path, "mine.yaml", text))
    assert isinstance(driver, SupplyDriver)
    assert driver.title == "Mine"
    assert driver.commands.output_on.render(output=1) == ("ON 1",)
    assert driver.commands.output_off.render(output=1) == ("INST:NSEL 1;:OUTP OFF",)
    assert driver.steps["voltage"].multiple_of == pytest.approx(0.02)
    assert driver.steps["overvoltage"].multiple_of == pytest.approx(0.5)


def test_what_a_run_keeps_of_it_needs_no_other_file(tmp_path: Path) -> None:
    whole(tmp_path)
    text = 'benchctl: driver 1\ntitle: Mine\nbased_on: ./whole\ncommands:\n  output_on: "ON {output}"\n'
    mine = load_driver(written(tmp_path, "mine.yaml", text))
    (alone := tmp_path / "alone").mkdir()
    kept = load_driver(written(alone, "kept.yaml", mine.whole_text))
    assert isinstance(kept, SupplyDriver)
    assert isinstance(mine, SupplyDriver)
    assert kept.based_on is None
    assert (kept.commands, kept.steps, kept.answers) == (mine.commands, mine.steps, mine.answers)


def test_what_answers_says_holds_for_each_question_that_says_nothing_else(tmp_path: Path) -> None:
    whole(tmp_path)
    text = 'benchctl: driver 1\ntitle: Mine\nbased_on: ./whole\ncommands:\n  get_output: {ask: "OUTP?", header: no}\n'
    driver = load_driver(written(tmp_path, "mine.yaml", text))
    assert isinstance(driver, SupplyDriver)
    assert driver.commands.get_voltage.form.header
    assert driver.commands.measure["current"].form.header
    assert not driver.commands.get_output.form.header


def test_a_mistake_is_told_where_the_file_that_was_asked_for_has_it(tmp_path: Path) -> None:
    whole(tmp_path)
    text = 'benchctl: driver 1\ntitle: Mine\nbased_on: ./whole\ncommands:\n  get_output: "OUTP"\n'
    assert "mine.yaml:5:15" in problem_of(written(tmp_path, "mine.yaml", text))


def test_a_mistake_in_the_file_that_it_is_based_on_is_told_there(tmp_path: Path) -> None:
    path = whole(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("OUTP ON", "OUTP ON?"), encoding="utf-8")
    text = "benchctl: driver 1\ntitle: Mine\nbased_on: ./whole\n"
    assert "whole.yaml:" in problem_of(written(tmp_path, "mine.yaml", text))


@pytest.mark.parametrize(
    ("base", "told"),
    [("./nothing", "there is no file"), ("load/relay_bank", "for the role load"), ("./mine", "itself based on")],
)
def test_a_base_that_cannot_be_one_is_refused(tmp_path: Path, base: str, told: str) -> None:
    text = f"benchctl: driver 1\nrole: supply\ntitle: Mine\nbased_on: {base}\n"
    problem = problem_of(written(tmp_path, "mine.yaml", text))
    assert told in problem
    assert "mine.yaml:4:" in problem
