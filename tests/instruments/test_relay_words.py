"""A bank of relays in the words of its driver file: what is sent for which relays, and what its answers mean."""

from __future__ import annotations

import pytest

from benchctl.documents.driver_file.load import RelayBankDriver
from benchctl.instruments.relay_words import RelayWords
from tests.runner.rig import document

HEAD = "benchctl: driver 1\nrole: load\ntitle: Test\nkind: relay bank\n"


def words(close: str, open_: str, get_closed: str, more: str = "") -> RelayWords:
    commands = f"commands:\n  close: {close}\n  open: {open_}\n  get_closed: {get_closed}\n"
    return RelayWords(document(f"{HEAD}{more}{commands}", "driver", RelayBankDriver))


def sent(messages: object) -> list[str]:
    return [message.text for message in messages]  # type: ignore[attr-defined]


def by_mask() -> RelayWords:
    return words("'SET {mask}'", "'CLR {mask:x}'", "none")


def of_all(get_closed: str = "none") -> RelayWords:
    return words("'OUT {closed_mask}'", "'OUT {closed_mask}'", get_closed, "first_relay: 0\n")


def test_a_mask_has_a_bit_for_each_relay_that_is_meant() -> None:
    """Relay 1 is bit 0, so relays 2 and 3 are 2 + 4."""
    assert sent(by_mask().closing((2, 3), {1})) == ["SET 6"]
    assert sent(by_mask().opening((2, 3), {1, 2, 3})) == ["CLR 6"]


def test_a_mask_of_all_keeps_what_is_closed_already() -> None:
    """Relay 0 is bit 0: relays 1, 2 and 3 are 2 + 4 + 8; without 2 and 3 it is 2."""
    assert sent(of_all().closing((2, 3), {1})) == ["OUT 14"]
    assert sent(of_all().opening((2, 3), {1, 2, 3})) == ["OUT 2"]


def test_without_a_word_for_all_every_relay_is_opened_by_its_own() -> None:
    one_by_one = words("'on {relay_letter}'", "'off {relay_letter}'", "none")
    assert sent(one_by_one.opening_all((1, 2, 26))) == ["off A", "off B", "off Z"]
    assert sent(of_all().opening_all((1, 2, 3))) == ["OUT 0"]


@pytest.mark.parametrize(
    ("get_closed", "answer", "closed"),
    [
        ("{ask: 'ST? {relays}'}", "0,1,1", {2, 3}),
        ("{ask: 'OUT?', base: hex, as: mask}", "0x0C", {2, 3}),
        ("{ask: 'OUT?', as: mask}", "12", {2, 3}),
        ("{ask: 'OUT?', as: mask, yes: 0, no: 1}", "2", {2, 3}),
        ("{ask: 'CL?', as: closed}", "(@2:3,9)", {2, 3}),
        ("{ask: 'S?', field: relay, separator: ' '}", "0 1 1 0", {2, 3}),
    ],
)
def test_what_is_closed_is_read_in_every_form_of_answer(get_closed: str, answer: str, closed: set[int]) -> None:
    asked = of_all(get_closed).questions((1, 2, 3))
    assert set().union(*(question.closed(answer) for question in asked)) == closed
    are_off = all(question.form.all_mean_no(answer, question.switches) for question in asked)
    assert not are_off


@pytest.mark.parametrize(
    ("get_closed", "answer"),
    [
        ("{ask: 'ST? {relays}'}", "0,0,0"),
        ("{ask: 'OUT?', base: hex, as: mask}", "0xF0"),  # others may be closed: they are not the load's
        ("{ask: 'OUT?', as: mask, yes: 0, no: 1}", "14"),
        ("{ask: 'CL?', as: closed}", "(@9)"),
        ("{ask: 'S?', field: relay, separator: ' '}", "0 0 0 1"),
    ],
)
def test_off_is_confirmed_where_each_relay_that_was_asked_about_is_open(get_closed: str, answer: str) -> None:
    asked = of_all(get_closed).questions((1, 2, 3))
    assert all(question.form.all_mean_no(answer, question.switches) for question in asked)
    assert not any(question.closed(answer) for question in asked)


def test_of_inverted_bits_one_that_is_open_does_not_confirm_the_others() -> None:
    """Bits 1 to 3 with 0 for closed: of 0x08 only relay 3 is open."""
    asked = of_all("{ask: 'OUT?', base: hex, as: mask, yes: 0, no: 1}").questions((1, 2, 3))
    assert [question.form.all_mean_no("0x08", question.switches) for question in asked] == [False, False, True]
