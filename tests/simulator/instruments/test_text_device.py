"""An instrument with words of its own: exact text in, text out, nothing compound, no error queue."""

from __future__ import annotations

import pytest

from benchctl.scpi.device.conversation import Conversation
from benchctl.scpi.device.device import Identity
from benchctl.simulator.instruments.text_device import Answer, Refused, TextDevice, TextWords


class Dimmer:
    """Invented for these tests: `L1:40` sets a lamp, `L1?` asks for it, `S?` answers one raw byte."""

    def __init__(self, refusal: str | None = None) -> None:
        self.percent = 0
        words = TextWords()
        words.add(r"L1:(\d+)", self._set)
        words.add(r"L1\?", lambda: f"{self.percent}%")
        words.add(r"S\?", lambda: bytes([0x80 | self.percent]))
        self.device = TextDevice(
            Identity("workshop", "Dimmer"), words, reset=lambda: self._set("0") and None, refusal=refusal
        )
        self.link = Conversation(self.device)

    def _set(self, percent: str) -> Answer:
        if int(percent) > 100:
            raise Refused(percent)
        self.percent = int(percent)
        return None

    def say(self, message: bytes) -> bytes:
        self.link.receive(message + b"\n")
        return self.link.collect()


def test_a_word_sets_and_a_word_asks() -> None:
    dimmer = Dimmer()
    assert dimmer.say(b"L1:40") == b""
    assert dimmer.say(b"L1?") == b"40%\n"


def test_a_byte_that_is_no_text_can_be_an_answer() -> None:
    dimmer = Dimmer()
    dimmer.say(b"L1:5")
    assert dimmer.say(b"S?") == b"\x85\n"


@pytest.mark.parametrize("message", [b"l1?", b"L1:40;L1?", b"L1? ", b"*IDN?", b"L1:101", b"\xff"])
@pytest.mark.parametrize(("refusal", "answer"), [(None, b""), ("WHAT?", b"WHAT?\n")])
def test_anything_else_changes_nothing_and_is_ignored_or_answered_with_the_one_text(
    message: bytes, refusal: str | None, answer: bytes
) -> None:
    dimmer = Dimmer(refusal)
    dimmer.say(b"L1:40")
    assert dimmer.say(message) == answer
    assert dimmer.say(b"") == b""
    assert dimmer.say(b"L1?") == b"40%\n"


def test_a_loss_of_power_resets_it() -> None:
    dimmer = Dimmer()
    dimmer.say(b"L1:40")
    dimmer.device.restart()
    assert dimmer.say(b"L1?") == b"0%\n"
