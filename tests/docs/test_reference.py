"""The reference is what the program says of itself: current, whole, and its examples are read."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import pytest

from benchctl.cli.main import cli
from benchctl.documents.model.figures import FIGURES
from benchctl.documents.model.model_base import Document, Part, Source
from benchctl.documents.reader import read
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.documents.sequence_file.steps import STEP_CLASSES
from benchctl.errors import BenchctlError, MeasurementError
from tests.pages import blocks_in, section_in
from tools.reference.commands import EXIT_CODES
from tools.reference.figures import givers
from tools.reference.pages import FOLDER, PAGES
from tools.reference.steps import kind_of


def text_of(page: str) -> str:
    return (FOLDER / page).read_text(encoding="utf-8")


@pytest.mark.parametrize("page", PAGES)
def test_a_page_of_the_reference_is_what_the_program_says_now(page: str) -> None:
    assert PAGES[page]() == text_of(page), "write it anew: make docs"


def test_the_folder_holds_these_pages_and_no_other() -> None:
    assert {path.name for path in FOLDER.iterdir()} == set(PAGES)


def subclasses(base: type) -> Iterator[type]:
    for each in base.__subclasses__():
        yield each
        yield from subclasses(each)


def rows(page: str) -> Iterator[dict[str, str]]:
    """Every row of a page's tables, its cells by the heads of their columns."""
    head: list[str] = []
    for line, after in pairwise([*text_of(page).splitlines(), ""]):
        cells = [cell.strip() for cell in line.strip("|").split(" | ")]
        if after.startswith("| ---"):
            head = cells
        elif line.startswith("| ") and not line.startswith("| ---"):
            yield dict(zip(head, cells, strict=True))


def test_every_key_of_every_model_stands_in_a_table() -> None:
    """Asked of the models themselves, and not of the schema from which the tables are made."""
    firsts = (next(iter(row.values())) for page in PAGES for row in rows(page))
    shown = {name for first in firsts for name in first.strip("`").replace("[]", "").split(".")}
    models = [each for each in subclasses(Part) if issubclass(each, Part) and not each.__name__.startswith("_")]
    keys = set[str]().union(*(model.keys() for model in models))
    assert len(keys) > 200
    in_sentences = {"criteria", "steps", "commands", "by", "measures", "send", "receive", "questions"}
    assert sorted(keys - shown - in_sentences) == []


MEANINGS = ("meaning", "is", "does", "what it is", "holds", "means", "title", "also written as", "settings", "for")


@pytest.mark.parametrize("page", sorted(set(PAGES) - {"README.md"}))
def test_every_row_says_what_its_key_means(page: str) -> None:
    meanings = [next(row[name] for name in MEANINGS if name in row) for row in rows(page)]
    assert len(meanings) > 5
    assert [meaning for meaning in meanings if len(meaning) < 5] == []


@pytest.mark.parametrize("step", STEP_CLASSES, ids=kind_of)
def test_the_example_of_a_step_is_read(step: type[StepBase]) -> None:
    (block,) = blocks_in(section_in(text_of("steps.md"), kind_of(step)), "yaml")
    before = "- power_on: {voltage: 14.4 V, current_limit: 90 A}\n- set: {load: 4 ohm, frequency: 1 kHz}\n"
    text = "benchctl: sequence 1\ntitle: T\nsteps:\n" + ("" if kind_of(step) in _FROM_OFF else before) + block.text
    document = read(Source("steps.md", None, text), None)
    assert isinstance(document, Sequence)
    assert type(document.steps[-1]) is step


_FROM_OFF = ("power_on", "ramp_supply")


def test_every_figure_is_given_by_a_step() -> None:
    assert [name for name in FIGURES if not list(givers(name))] == []


def test_every_command_has_its_section() -> None:
    page = text_of("commands.md")
    assert [name for name in cli.list_commands(None) if f"\n## benchctl {name}\n" not in page] == []  # type: ignore[arg-type]


def test_the_exit_codes_are_those_of_the_errors_and_of_a_run_that_finished() -> None:
    errors = {each for each in subclasses(BenchctlError) if not issubclass(each, MeasurementError)}
    assert {error.exit_code for error in errors} | {0, 1} == set(EXIT_CODES)  # type: ignore[attr-defined]


def test_every_kind_of_document_has_its_page() -> None:
    kinds = {each.__name__.removesuffix("Driver") or "Driver" for each in Document.__subclasses__()}
    assert {"Sequence", "Bench", "Amplifier"} <= kinds
    assert all(f"{kind}-file.md" in PAGES for kind in ("sequence", "bench", "amplifier", "driver"))
