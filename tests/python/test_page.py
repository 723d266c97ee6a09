"""docs/python.md: its programs run, in their order, and it tells of everything that is public."""

from __future__ import annotations

import contextlib
import inspect
import re
from pathlib import Path

import pytest

import benchctl
from tests import saloon_deck
from tests.pages import blocks, text_of

PAGE = "docs/python.md"


def test_the_programs_of_the_page_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """But for the page that each run leaves, which has tests of its own."""
    monkeypatch.setattr("benchctl.python.performing.leave_report", lambda _folder: None)
    saloon_deck.documents_in(tmp_path)
    known: dict[str, object] = {}
    with contextlib.chdir(tmp_path):
        for block in blocks(PAGE, "python"):
            if not block.reason:
                exec(compile(block.text, PAGE, "exec"), known)
    assert "continuous_power" in set(known["figures"]["figure"])  # type: ignore[index]
    assert known["stopped"].ending == "limit"  # type: ignore[attr-defined]
    assert set(known["together"]["figure"]) == set(known["figures"]["figure"])  # type: ignore[index]


def test_the_page_tells_of_all_that_is_public() -> None:
    page = text_of(PAGE)
    words = set(re.findall(r"\w+", page))
    functions = [name for name in benchctl.__all__ if inspect.isfunction(getattr(benchctl, name))]
    members = [name for name in vars(benchctl.OpenedRun) if not name.startswith("_")]
    members += [name for name in vars(benchctl.OpenedRuns) if not name.startswith("_")]
    members += [name for name in inspect.get_annotations(benchctl.RecordedCapture) if not name.startswith("_")]
    for offered in (benchctl.OpenedBench, benchctl.GeneratorAtBench, benchctl.LoadAtBench):
        members += [name for name in vars(offered) if not name.startswith("_")]
    assert [name for name in (*functions, *members) if name not in words] == []
