"""Shared by the tests of documents: a text in, its faults out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from textwrap import dedent

import pytest

from benchctl import library
from benchctl.documents.model.model_base import Document, Source
from benchctl.documents.reader import Kind, read
from benchctl.errors import DocumentError

ProblemsOf = Callable[..., list[str]]


def read_text(text: str, kind: Kind | None = None) -> Document:
    return read(Source("f.yaml", None, dedent(text).lstrip("\n")), kind)


def faults(text: str, kind: Kind | None = None) -> list[str]:
    """`line:column: message` of every fault; none if the text is a valid document."""
    try:
        read_text(text, kind)
    except DocumentError as error:
        return [str(problem).removeprefix("f.yaml:") for problem in error.problems]
    return []


@pytest.fixture
def problems_of() -> ProblemsOf:
    return faults


@pytest.fixture
def document_of() -> Callable[..., Document]:
    return read_text


@pytest.fixture
def bench_text() -> str:
    return library.find("benches", "workshop").read_text()


@pytest.fixture
def amplifier_text() -> str:
    return library.find("amplifiers", "hx2150").read_text()


@pytest.fixture
def shipped_files() -> list[Path]:
    shelves: tuple[library.Shelf, ...] = ("drivers", "sequences", "benches", "amplifiers")
    return [path for shelf in shelves for path in library.shipped(shelf).values()]
