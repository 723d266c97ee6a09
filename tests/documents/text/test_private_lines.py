"""Lines that may name a person are known however the file is written; in doubt, all of them."""

from __future__ import annotations

import pytest

from benchctl.documents.text.private_lines import private_lines


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("title: x\nunit:\n  owner: a\n  reference: b\nclass: AB\n", {2, 3, 4}),
        ("title: x\nworkshop: {name: a,\n  tester: b}\n", {2, 3}),
        ("{title: x, unit: {owner: a,\n contact: b}, class: AB,\n gain: 30 dB}", {1, 2}),
        ("unit:\n  owner: >\n    a\n    b\ntitle: x\n", {1, 2, 3, 4}),
        ("title: x\nclass: AB\n", set()),
        ("title: {x\nunit: {owner: a}\n", {1, 2}),
        ("- unit\n- a\n", {1, 2}),
        ("title: {x\ny\n", set()),
        ("title: x\nunlt:\n  owner: a\n  complaint: b\n", {3}),
    ],
    ids=["block", "at the end", "flow", "folded", "none", "not YAML", "no mapping", "not YAML, no part", "misspelt"],
)
def test_the_lines_of_private_parts(text: str, lines: set[int]) -> None:
    assert private_lines(text) == lines
