"""The short form of `python -m benchmarks.mutations`: which changes are made, and that what is judged still stands."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from benchmarks.mutations.__main__ import scores
from benchmarks.mutations.campaign import TARGETS, Trial, changes_in, judgements
from benchmarks.mutations.changes import changes_of
from benchmarks.mutations.trial import Copy, Fate, Target
from tests.pages import ROOT

MODULE = '''"""Words that are for people."""

from __future__ import annotations

WAIT_S: float = 2.0


def switch_off(output: str, current_a: float = 0.0) -> bool:
    """More words."""
    send(f"OFF {output}")
    if current_a < WAIT_S + 1 and output:
        raise ValueError(output)
    return not max(current_a, 3) > 0
'''


def changed_lines(what: str) -> list[str]:
    """The lines that the change of this name leaves, where they differ from the module's."""
    (change,) = (change for change in changes_of(MODULE) if change.what == what)
    before = MODULE.splitlines()
    return [line.strip() for line, old in zip(change.text.splitlines(), before, strict=True) if line != old]


@pytest.mark.parametrize(
    ("what", "line"),
    [
        ('left out: send(f"OFF {output}")', "pass"),
        ("left out: raise ValueError(output)", "pass"),
        ("left out: return not max(current_a, 3) > 0", "return None"),
        ("2.0 -> (2.0 * 2)", "WAIT_S: float = (2.0 * 2)"),
        ("3 -> (3 - 1)", "return not max(current_a, (3 - 1)) > 0"),
        ("current_a < WAIT_S + 1: < -> >=", "if current_a >= WAIT_S + 1 and output:"),
        ("current_a < WAIT_S + 1: < -> <=", "if current_a <= WAIT_S + 1 and output:"),
        ("WAIT_S + 1: + -> -", "if current_a < WAIT_S - 1 and output:"),
        ("current_a < WAIT_S + 1 and output: and -> or", "if ((current_a < WAIT_S + 1) or (output)):"),
        ("not max(current_a, 3) > 0 -> (max(current_a, 3) > 0)", "return (max(current_a, 3) > 0)"),
        ("max -> min", "return not min(current_a, 3) > 0"),
    ],
)
def test_a_change_is_one_slip_and_leaves_the_rest_as_it_is_written(what: str, line: str) -> None:
    assert changed_lines(what) == [line]


def test_docstrings_annotations_and_imports_are_left_alone() -> None:
    lines = {change.line for change in changes_of(MODULE)}
    assert lines == {5, 8, 10, 11, 12, 13}


def test_a_change_is_tried_on_a_copy_and_noticed_by_the_tests_of_its_module(tmp_path: Path) -> None:
    """By tests of a module that imports the changed one as well."""
    target = Target("benchctl.guard.confirmation", ("tests/guard/test_carry_out.py",))
    change = next(change for change in changes_in(target) if change.what.startswith("left out: return all"))
    before = (ROOT / target.path).read_bytes()
    copy = Copy(tmp_path)
    try:
        assert 0.0 < copy.longest_pause_s(target) < 60.0
        assert copy.try_out(target, change, 60.0) is Fate.NOTICED
        assert copy.try_out(target, replace(change, text=before.decode("utf-8")), 60.0) is Fate.UNNOTICED
    finally:
        copy.close()
    assert (ROOT / target.path).read_bytes() == before


@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.module)
def test_every_module_of_the_campaign_and_its_tests_are_there(target: Target) -> None:
    assert len(changes_in(target)) > 5
    assert all((ROOT / path).exists() for path in target.tests)


def test_every_judgement_is_about_a_change_that_is_still_made_and_gives_a_reason() -> None:
    made = {(target.module, change.what) for target in TARGETS for change in changes_in(target)}
    assert set(judgements()) <= made
    assert all(why.strip() for why in judgements().values())


def test_what_came_of_the_changes_is_counted_for_each_module_and_in_all() -> None:
    one, other = TARGETS[:2]
    change = changes_in(one)[0]
    done = [
        *(Trial(one, change, fate) for fate in (Fate.NOTICED, Fate.NOTICED, Fate.HUNG, Fate.UNNOTICED)),
        Trial(one, change, Fate.UNNOTICED, "nobody could see it"),
        Trial(other, change, Fate.NOTICED),
    ]
    console = Console(width=80, record=True, file=io.StringIO())
    console.print(scores(done))
    rows = [line.replace("\u2502", " ").split() for line in console.export_text().splitlines()]
    assert ["guard.limits", "5", "2", "1", "1", "1", "80%"] in rows
    assert ["guard.states", "1", "1", "0", "0", "0", "100%"] in rows
    assert ["all", "6", "3", "1", "1", "1", "83%"] in rows
