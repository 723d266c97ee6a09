"""Relay banks that do not speak SCPI: text, letters, a mask."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.loads.bit_mask import BitMaskBox
from benchctl.simulator.instruments.loads.relay_letters import RelayLetterBox
from benchctl.simulator.instruments.loads.relay_text import RelayTextBoard
from benchctl.simulator.model.description import LoadDescription
from tests.simulator.benches import RESISTORS, describe
from tests.simulator.talk import Talk

# 4 ohm on relays 1 and 2, 2 ohm on 3 and 4.
RELAYS = LoadDescription("relay bank", tuple(replace(each, relay=each.relay - 100) for each in RESISTORS))


class Bank:
    def __init__(self, form: Callable[..., Any]) -> None:
        self._bench = PhysicalBench(describe(load=RELAYS))
        self.talk = Talk(Conversation(form(self._bench, lambda: 0.0, self._bench.description).device))

    @property
    def closed(self) -> set[int]:
        return self._bench.connections.closed_relays


def test_a_board_that_hears_text_switches_one_relay_a_message_and_says_nothing() -> None:
    bank = Bank(RelayTextBoard)
    bank.talk.tell("relay on 1", "relay on 3")
    assert bank.closed == {1, 3}
    bank.talk.tell("relay off 3", "relay off 2")
    assert bank.closed == {1}


@pytest.mark.parametrize("message", ["*IDN?", "relay on 9", "relay on 1,2", "RELAY ON 1", "relay read 1", "relay on"])
def test_what_such_a_board_does_not_know_it_ignores(message: str) -> None:
    bank = Bank(RelayTextBoard)
    bank.talk.tell(message)
    assert bank.closed == set()


def test_a_box_of_letters_answers_every_state() -> None:
    bank = Bank(RelayLetterBox)
    bank.talk.tell("CA", "CC")
    assert bank.closed == {1, 3}
    assert bank.talk.ask("S?") == "1 0 1 0 0 0 0 0"
    bank.talk.tell("OA")
    assert bank.talk.ask("S?") == "0 0 1 0 0 0 0 0"
    assert bank.talk.ask("CJ") == "?"


def test_a_mask_closes_the_relays_of_its_bits_and_opens_all_others() -> None:
    """Bits 2 and 3 are 4 + 8 = 0x0C."""
    bank = Bank(BitMaskBox)
    bank.talk.tell("DOUT 0x0c")
    assert bank.closed == {2, 3}
    assert bank.talk.ask("DOUT?") == "0x0C"
    bank.talk.tell("DOUT 2")
    assert bank.closed == {1}
    bank.talk.tell("DOUT 0")
    assert bank.talk.ask("DOUT?") == "0x00"
    assert bank.talk.ask("DOUT 0x100") == "ERR"
