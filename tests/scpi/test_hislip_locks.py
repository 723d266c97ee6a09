"""Locks of HiSLIP: IVI-6.1 table 22, a row a case."""

from __future__ import annotations

import pytest

from benchctl.scpi.hislip_locks import LockAnswer, LockTable

FAILURE, SUCCESS, SHARED_RELEASED, ERROR = LockAnswer

EXCLUSIVE, SHARED = b"", b"bench 2"


def table(*held: tuple[str, bytes]) -> LockTable[str]:
    """Locks that were granted one after another."""
    locks = LockTable[str]()
    for holder, name in held:
        assert locks.request(holder, name) is SUCCESS
    return locks


@pytest.mark.parametrize(
    ("held", "holder", "name", "answer"),
    [
        ([], "A", EXCLUSIVE, SUCCESS),
        ([], "A", SHARED, SUCCESS),
        ([("A", EXCLUSIVE)], "A", EXCLUSIVE, ERROR),
        ([("A", EXCLUSIVE)], "A", SHARED, ERROR),
        ([("A", EXCLUSIVE)], "B", EXCLUSIVE, FAILURE),
        ([("A", EXCLUSIVE)], "B", SHARED, FAILURE),
        ([("A", SHARED)], "A", SHARED, ERROR),
        ([("A", SHARED)], "A", EXCLUSIVE, SUCCESS),
        ([("A", SHARED)], "B", SHARED, SUCCESS),
        ([("A", SHARED)], "B", b"another name", FAILURE),
        ([("A", SHARED)], "B", EXCLUSIVE, FAILURE),
        ([("A", SHARED), ("A", EXCLUSIVE)], "B", SHARED, SUCCESS),
        ([("A", SHARED), ("A", EXCLUSIVE)], "B", EXCLUSIVE, FAILURE),
        ([("A", SHARED), ("B", SHARED), ("A", EXCLUSIVE)], "B", EXCLUSIVE, FAILURE),
    ],
)
def test_a_request_is_answered(held: list[tuple[str, bytes]], holder: str, name: bytes, answer: LockAnswer) -> None:
    assert table(*held).request(holder, name) is answer


def test_the_exclusive_lock_is_given_back_before_the_shared_one() -> None:
    locks = table(("A", SHARED), ("A", EXCLUSIVE))
    assert [locks.release("A") for _ in range(3)] == [SUCCESS, SHARED_RELEASED, ERROR]


def test_nobody_gives_back_what_another_holds() -> None:
    assert table(("A", EXCLUSIVE)).release("B") is ERROR


def test_a_shared_lock_may_have_another_name_once_all_have_given_it_back() -> None:
    locks = table(("A", SHARED))
    locks.release("A")
    assert locks.request("B", b"another name") is SUCCESS


def test_only_holders_are_admitted_and_the_exclusive_one_before_the_shared_ones() -> None:
    locks = table()
    assert admitted(locks) == "ABC"
    locks.request("A", SHARED)
    locks.request("B", SHARED)
    assert admitted(locks) == "AB"
    locks.request("A", EXCLUSIVE)
    assert admitted(locks) == "A"
    locks.release("A")
    assert admitted(locks) == "AB"


def admitted(locks: LockTable[str]) -> str:
    return "".join(holder for holder in "ABC" if locks.admits(holder))


def test_who_holds_both_locks_counts_once() -> None:
    locks = table(("A", SHARED), ("B", SHARED), ("A", EXCLUSIVE))
    assert (locks.is_exclusive, locks.holders) == (True, 2)


def test_who_is_gone_holds_nothing() -> None:
    locks = table(("A", SHARED), ("A", EXCLUSIVE))
    locks.forget("A")
    assert (locks.is_exclusive, locks.holders) == (False, 0)
    assert locks.request("B", EXCLUSIVE) is SUCCESS
