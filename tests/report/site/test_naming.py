"""Names in the site are safe on any disk and in any address, and never lead from one thing to another."""

from __future__ import annotations

import re

import pytest

from benchctl.report.site.naming import distinct, safe_name, unit_name

HOSTILE = [
    "../../etc/passwd",
    "<script>alert(1)</script>",
    "a\x00b",
    "\u202eabc",
    "\u05de\u05d2\u05d1\u05e8",
    "",
    ".",
    "x" * 900,
]
SAFE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


@pytest.mark.parametrize("text", HOSTILE)
def test_any_text_makes_a_name_of_plain_letters(text: str) -> None:
    for name in (safe_name(text), unit_name(text, text), unit_name("HX 2150", text)):
        assert SAFE.fullmatch(name), name
        assert len(name) <= 100


def test_a_plain_name_stays_readable() -> None:
    assert safe_name("HX 2150") == "hx-2150"
    assert unit_name("Großverstärker", "A/17") == f"{safe_name('Großverstärker')}-a-17"
    assert unit_name("HX 2150", "") == "hx-2150-no-serial"


def test_texts_that_lose_letters_stay_apart() -> None:
    """Two titles in another script, and two that differ behind what fits into a name."""
    assert safe_name("\u0413\u0430\u043c\u043c\u0430") != safe_name("\u0414\u0435\u043b\u044c\u0442\u0430")
    assert safe_name("x" * 60 + "a") != safe_name("x" * 60 + "b")


def test_where_two_would_have_one_name_each_of_them_gets_another() -> None:
    """So that a link to the one that was there first leads nowhere, and not to the other."""
    names = distinct({1: ("hx-2150-17", "HX 2150/17"), 2: ("hx-2150-17", "HX-2150/17"), 3: ("kx-240-3", "KX 240/3")})
    assert names[3] == "kx-240-3"
    assert len(set(names.values())) == 3
    assert all(re.fullmatch(r"hx-2150-17-[0-9a-f]{8}", names[key]) for key in (1, 2))


def test_a_name_that_is_spelled_like_the_hash_of_another_takes_nobodys_place() -> None:
    first = distinct({1: ("hx", "one"), 2: ("hx", "two")})
    names = distinct({1: ("hx", "one"), 2: ("hx", "two"), 3: (first[1], "three")})
    assert len(set(names.values())) == 3
