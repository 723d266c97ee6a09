"""A line that was changed, taken out, added or moved shows, and which one it was."""

from __future__ import annotations

from hashlib import sha256

import pytest

from benchctl.archive.journal.chain import Chain, last_hash, sealed

BODIES = [b'{"number": %d, "value": %d}' % (number, 7 * number) for number in range(1, 6)]


@pytest.fixture
def lines() -> list[bytes]:
    lines, before = [], ""
    for body in BODIES:
        line, before = sealed(body, before)
        lines.append(line)
    return lines


def troubles(lines: list[bytes]) -> dict[int, str]:
    """Place of a line, from 1 -> what is wrong with it."""
    chain = Chain()
    followed = [chain.follow(line) for line in lines]
    return {place: trouble for place, trouble in enumerate(followed, start=1) if trouble}


def test_a_line_ends_in_the_hash_of_the_line_before_and_its_own(lines: list[bytes]) -> None:
    """By FIPS 180-4, as the standard library has it, over the bytes that stand there."""
    content, _, tail = lines[1].partition(b', "hash": ')
    assert tail == b'"%s"}' % sha256(content).hexdigest()[:16].encode()
    assert content.endswith(b'"before": "%s"' % lines[0][-18:-2])


def test_lines_as_they_were_written_are_in_order(lines: list[bytes]) -> None:
    assert troubles(lines) == {}
    assert troubles([line + b"\r\n" for line in lines]) == {}, "whatever their line ends have become"


@pytest.mark.parametrize("place", range(1, 6))
def test_a_changed_line_is_told_itself_also_the_last_one(lines: list[bytes], place: int) -> None:
    lines[place - 1] = lines[place - 1].replace(b'"value": ', b'"value": 1')
    assert troubles(lines) == {place: "this line was changed after it was written"}


@pytest.mark.parametrize("place", range(1, 5))
def test_where_a_line_was_taken_out_the_one_behind_it_is_told(lines: list[bytes], place: int) -> None:
    del lines[place - 1]
    assert list(troubles(lines)) == [place]


def test_a_line_written_twice_and_lines_that_changed_places_are_told(lines: list[bytes]) -> None:
    assert list(troubles([*lines[:2], lines[1], *lines[2:]])) == [3]
    assert list(troubles([lines[0], lines[2], lines[1], *lines[3:]])) == [2, 3, 4]


def test_a_line_without_hashes_among_those_that_have_them_is_told(lines: list[bytes]) -> None:
    assert 3 in troubles([*lines[:2], BODIES[0], *lines[2:]])
    assert 1 not in troubles([BODIES[0], *lines[1:]]), "the first one alone could be of an earlier version"
    assert 2 in troubles([BODIES[0], *lines[1:]])


def test_lines_of_an_earlier_version_are_counted_and_held_from_the_first_hash_on(lines: list[bytes]) -> None:
    old = BODIES[:3]
    line, _ = sealed(BODIES[3], last_hash(b"\n".join(old)))
    chain = Chain()
    assert [chain.follow(each) for each in [*old, line]] == [""] * 4
    assert chain.unchained == 3
    assert list(troubles([old[0], old[1] + b" ", old[2].replace(b"21", b"22"), line])) == [4]


def test_a_line_that_was_cut_off_is_no_part_of_the_chain(lines: list[bytes]) -> None:
    assert last_hash(b"\n".join([*lines[:2], lines[2][:20]])) == last_hash(b"\n".join(lines[:2]))
