"""YAML text becomes a tree of text with places, within bounds that no file of ours comes near."""

from __future__ import annotations

import pytest
import yaml

from benchctl.documents.text import tree as tree_module
from benchctl.documents.text.position import Position, position_of
from benchctl.documents.text.tree import Listing, Table, Text, parse_tree
from benchctl.errors import DocumentError


def fault(text: str) -> str:
    with pytest.raises(DocumentError) as caught:
        parse_tree(text, "f.yaml")
    assert len(caught.value.problems) == 1
    return str(caught.value).removeprefix("f.yaml:")


def value_of(text: str) -> object:
    tree, problems = parse_tree(f"a: {text}\n", "f.yaml")
    assert isinstance(tree, Table)
    assert not problems
    return tree["a"]


@pytest.mark.parametrize(
    "text", ["1e3", "1:30", "010", "off", "yes", "null", "~", "2026-03-02", "0x10", ".inf", "1_000"]
)
def test_a_scalar_stays_the_text_it_was_written_as(text: str) -> None:
    assert value_of(text) == text


def test_a_quoted_scalar_is_the_text_in_the_quotes() -> None:
    assert value_of('"a: b"') == "a: b"


def test_every_node_and_every_key_keeps_its_place() -> None:
    tree, _ = parse_tree("one: x\ntwo:\n  - {three: y}\n", "f.yaml")
    assert isinstance(tree, Table)
    assert position_of(tree) == Position(1, 1)
    assert position_of(tree["one"]) == Position(1, 6)
    assert tree.key_position("two") == Position(2, 1)
    assert position_of(tree["two"]) == Position(3, 3)
    assert position_of(tree["two"][0]) == Position(3, 5)
    assert tree["two"][0].key_position("three") == Position(3, 6)
    assert position_of(tree["two"][0]["three"]) == Position(3, 13)


def test_the_three_shapes_are_text_listing_and_table() -> None:
    tree, _ = parse_tree("{a: b, c: [d]}", "f.yaml")
    assert isinstance(tree, Table)
    assert isinstance(tree["a"], Text)
    assert isinstance(tree["c"], Listing)


def test_a_table_without_some_keys_stays_where_it_was() -> None:
    tree, _ = parse_tree("\n\na: 1\nb: 2\n", "f.yaml")
    assert isinstance(tree, Table)
    rest = tree.without(["a"])
    assert rest == {"b": "2"}
    assert rest.position == tree.position == Position(3, 1)


def test_a_doubled_key_is_a_problem_and_the_first_one_is_kept() -> None:
    tree, problems = parse_tree("a: 1\nb: 2\na: 3\n", "f.yaml")
    assert [str(problem) for problem in problems] == ["f.yaml:3:1: 'a' is given twice (first in line 1); keep one"]
    assert tree == {"a": "1", "b": "2"}


@pytest.mark.parametrize(
    ("text", "position", "word"),
    [
        ("a: 1\n<<: {b: 2}\n", (2, 1), "merge keys"),
        ("? [a]\n: b\n", (1, 3), "cannot be a key"),
        ("{a: b}: c\n", (1, 1), "cannot be a key"),
    ],
)
def test_a_key_that_is_no_word_is_a_problem(text: str, position: tuple[int, int], word: str) -> None:
    _, (problem,) = parse_tree(text, "f.yaml")
    assert (problem.line, problem.column) == position
    assert word in problem.message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "1:1: the file is empty"),
        ("# only a comment\n", "1:1: the file is empty"),
        ("a: 1\n---\nb: 2\n", "2:1: a second YAML document begins here"),
        ("a: !!float 1\n", "1:4: the tag 'tag:yaml.org,2002:float' is not supported"),
        ("a: !python/object/apply:os.system [ls]\n", "1:4: the tag '!python/object/apply:os.system' is not supported"),
        ("a: ! x\n", "1:4: the tag '!' is not supported"),
        ("title Quick\nsteps: []\n", "1:1: this line has no colon after its key"),
        ("a: b: c\n", "1:5: a colon that does not fit here"),
        ("a:\n\t- b\n", "2:1: a tab; indent with spaces"),
        ("a:\n  - b\n - c\n", "3:2: this does not line up"),
        ('a: "b\nc: d\n', "1:4: what begins here is never closed"),
        ("a: [b\n", "1:4: what begins here is never closed"),
        ("a: {b: c d: e}\n", "1:11: a comma or the closing '}' is missing before this"),
        ("a: [b c: [d] e]\n", "1:14: a comma or the closing ']' is missing before this"),
        ("\r\r\ra b\rc: d\r", "4:1: this line has no colon after its key"),
        ("[a,,b]\n", "1:4: a value is missing before this"),
        ("a: 1\n]\n", "2:1: "),
        ("a: *b\n", "1:4: an alias (*) without its anchor (&)"),
        ("a: @b\n", "1:4: this character cannot begin a value"),
        ("a: b\0c\n", "1:5: the character '\\x00' is not allowed in a text file"),
        ("a: b\nc: \x1b[2J\n", "2:4: the character '\\x1b' is not allowed in a text file"),
    ],
)
def test_what_is_not_yaml_of_ours_is_one_plain_sentence_at_its_place(text: str, message: str) -> None:
    assert fault(text).startswith(message)


@pytest.mark.parametrize(
    "text", ["a b\nc: d\n", "a: [b\n", "a:\n  - b\n - c\n", "a: {b: c d: e}\n", "a: @b\n", "a: *b\n"]
)
def test_the_parser_in_plain_python_is_answered_in_the_same_words(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    told = fault(text)
    monkeypatch.setattr(tree_module, "_Loader", yaml.SafeLoader)
    assert fault(text) == told


def test_a_simple_anchor_may_be_used_again() -> None:
    tree, problems = parse_tree("a: &probe {kind: differential}\nb: *probe\n", "f.yaml")
    assert isinstance(tree, Table)
    assert not problems
    assert tree["a"] == tree["b"]


def test_aliases_cannot_pile_up() -> None:
    laughs = "a: &a [x, x, x]\n" + "".join(
        f"{b}: &{b} [*{a}, *{a}, *{a}]\n" for a, b in zip("abcdefg", "bcdefgh", strict=True)
    )
    assert "stands inside an anchored value" in fault(laughs)


def test_a_value_that_contains_itself_is_refused() -> None:
    assert "stands inside an anchored value" in fault("a: &a [*a]\n")


def test_many_aliases_are_refused() -> None:
    assert "more than 50 aliases" in fault("a: &a x\nb: [" + ", ".join(["*a"] * 60) + "]\n")


def test_a_large_anchored_value_is_refused() -> None:
    assert "may hold 50 entries" in fault("a: &a [" + ", ".join(["x"] * 60) + "]\nb: *a\n")


@pytest.mark.parametrize("opening", ["[", "{a: ", "- ", "? "])
def test_deep_nesting_is_refused_before_anything_recurses(opening: str) -> None:
    assert "nested" in fault(opening * 20_000)


def test_very_many_entries_are_refused() -> None:
    assert "more than 10000 entries" in fault("[" + ",".join("x" * 20_000) + "]")
