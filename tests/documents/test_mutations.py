"""Whatever befalls the text of a document, reading it gives a document or plain faults, and never anything else.

`MUTATED_DOCUMENTS=10000 pytest tests/documents/test_mutations.py` is the long form.
"""

from __future__ import annotations

import os
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl import library
from benchctl.documents.model.model_base import Source
from benchctl.documents.reader import Kind, read, read_source
from benchctl.errors import DocumentError

EXAMPLES = int(os.environ.get("MUTATED_DOCUMENTS", "200"))
_settings = settings(derandomize=True, max_examples=EXAMPLES, deadline=None)

KINDS: dict[library.Shelf, Kind] = {
    "drivers": "driver",
    "sequences": "sequence",
    "benches": "bench",
    "amplifiers": "amplifier",
}
SHIPPED = [(kind, path.read_text()) for shelf, kind in KINDS.items() for path in library.shipped(shelf).values()]

# What slips into a file from a keyboard, an editor or a copy, and what YAML itself gives a meaning to.
SNIPPETS = st.one_of(
    st.sampled_from(["", "\t", "\n", " ", "  ", ":", ": ", "- ", "{", "}", "[", "]", ",", "'", '"', "#", "&a ", "*a"]),
    st.sampled_from(
        ["<<: ", "!x ", "? ", "| ", "> ", "---\n", "...\n", "%YAML 1.2\n", "\x00", "\x1b[2J", "\r", "\u2028"]
    ),
    st.sampled_from(["0", "-1", "1e999", "nan", "010", "1:30", "null", "off", "5 V", "5 A", "1 %", "below 1 W", "{a}"]),
    st.text(max_size=8),
    st.integers().map(str),
)
EDIT = st.tuples(st.floats(0, 1), st.integers(0, 12), SNIPPETS)


def edited(text: str, edits: list[tuple[float, int, str]]) -> str:
    """`text` with a few places cut out and replaced."""
    for where, length, snippet in edits:
        at = int(where * len(text))
        text = text[:at] + snippet + text[at + length :]
    return text


def shuffled(text: str, moves: list[tuple[float, float]]) -> str:
    """`text` with lines copied to other places."""
    lines = text.split("\n")
    for source, target in moves:
        lines.insert(int(target * len(lines)), lines[int(source * (len(lines) - 1))])
    return "\n".join(lines)


def check(text: str, kind: Kind | None) -> None:
    try:
        document = read(Source("f.yaml", None, text), kind)
    except DocumentError as error:
        problems = error.problems
    else:
        assert document.source.text == text
        return
    assert problems
    positions = [(problem.line, problem.column) for problem in problems if problem.file == "f.yaml"]
    assert positions == sorted(positions)
    for problem in problems:
        assert problem.message.isprintable()
        assert "Input" not in problem.message
        assert len(problem.message) < 500
        assert problem.line >= 1
        assert problem.column >= 1


@_settings
@given(st.sampled_from(SHIPPED), st.lists(EDIT, min_size=1, max_size=5))
def test_an_edited_document_is_valid_or_refused_in_plain_words(
    shipped: tuple[Kind, str], edits: list[tuple[float, int, str]]
) -> None:
    kind, text = shipped
    check(edited(text, edits), kind)


@_settings
@given(st.sampled_from(SHIPPED), st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=4))
def test_a_document_with_lines_copied_about_is_valid_or_refused_in_plain_words(
    shipped: tuple[Kind, str], moves: list[tuple[float, float]]
) -> None:
    kind, text = shipped
    check(shuffled(text, moves), kind)


_words = st.sampled_from(
    ["steps", "sweep", "load", "role", "commands", "limits", "instruments", "signals", "kind", "by"]
)
_trees = st.recursive(
    st.one_of(_words, st.sampled_from(["4 ohm", "1 kHz", "8", "''", "supply", "power_off"])),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4).map(lambda items: "[" + ", ".join(items) + "]"),
        st.lists(st.tuples(_words, inner), max_size=4).map(
            lambda pairs: "{" + ", ".join(f"{key}: {value}" for key, value in pairs) + "}"
        ),
    ),
    max_leaves=12,
)


@_settings
@given(st.sampled_from(["sequence", "bench", "amplifier", "driver"]), st.lists(st.tuples(_words, _trees), max_size=5))
def test_a_document_of_any_shape_is_valid_or_refused_in_plain_words(kind: str, body: list[tuple[str, str]]) -> None:
    check(f"benchctl: {kind} 1\n" + "".join(f"{key}: {tree}\n" for key, tree in body), None)


@_settings
@given(st.text(max_size=200))
def test_any_text_at_all_is_refused_in_plain_words(text: str) -> None:
    check(text, None)


@_settings
@given(st.binary(max_size=400))
def test_any_bytes_at_all_are_refused_in_plain_words(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.mktemp("bytes") / "f.yaml"
    path.write_bytes(b"benchctl: sequence 1\n" + content)
    with suppress(DocumentError):
        check(read_source(path).text, "sequence")


def test_the_mutations_begin_from_everything_that_ships() -> None:
    assert len(SHIPPED) >= 11
    assert {kind for kind, _ in SHIPPED} == set(KINDS.values())
