"""Published examples of SCPI-99 syntax: short forms, paths, bits and suffixes."""

from __future__ import annotations

import pytest

from benchctl.scpi.device.device import Device, Identity
from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.device.status import Operation, Questionable, StandardEvent, StatusByte
from benchctl.scpi.mnemonics import short_of

# The rule of SCPI-99 volume 1, 6.2.1, applied by hand to words that the standard and its users spell in both forms.
WORDS = [
    "MEASure", "VOLTage", "CURRent", "FREQuency", "POWer", "DELay", "IMMediate", "ERRor", "RESistance", "LEVel",
    "ACQuire", "TEMPerature", "OUTPut", "SOURce", "COUNt", "EVENt", "CALibration", "WAVeform", "POINts", "RANGe",
    "AUTO", "NEXT", "TYPE",
]  # fmt: skip


def short_form(word: str) -> str:
    """Four letters, or three where the fourth would be a vowel; a word of four or fewer has no other form."""
    upper = word.upper()
    if len(upper) <= 4:
        return upper
    return upper[:3] if upper[3] in "AEIOU" else upper[:4]


@pytest.mark.parametrize("spelling", WORDS)
def test_the_rule_gives_the_short_form_that_is_in_use(spelling: str) -> None:
    assert short_form(spelling) == short_of(spelling)


class TestPaths:
    """Vectors of Atmelfan/scpi-rs, scpi/tests/csv/tree_traversal.csv: each node answers a number of its own."""

    @pytest.fixture
    def device(self) -> Device:
        tree = CommandTree()
        answers = {
            "TEST:VERSion": 10,
            "TEST:ERRor[:NEXT]": 13,
            "TEST:ERRor:COUNt": 12,
            "*COM": 100,
            "CONFigure": 1,
            "CONFigure[:SCALar]:VOLTage:AC": 2,
            "CONFigure[:SCALar]:VOLTage[:DC]": 3,
            "INITiate[:IMMediate][:ALL]": 0,
        }
        for pattern, answer in answers.items():
            tree.add(pattern, query=lambda _, answer=answer: answer)  # type: ignore[misc]
        return Device(Identity("Harbour", "HB-1"), tree)

    @pytest.mark.parametrize(
        ("message", "response"),
        [
            ("test:version?;err:next?;count?", "10;13;12"),
            ("test:version?;:test:err:next?;count?", "10;13;12"),
            ("test:version?;*com?;err:next?", "10;100;13"),
            ("test:version?;err?;version?", "10;13;10"),
            ("conf?", "1"),
            ("conf:scal:volt:dc?", "3"),
            ("conf:scal:volt:ac?", "2"),
            ("conf:scal:volt?", "3"),
            ("conf:volt?", "3"),
            ("initiate?", "0"),
            ("init:immediate?", "0"),
            ("init:imm:all?", "0"),
        ],
    )
    def test_a_header_is_read_along_its_path(self, device: Device, message: str, response: str) -> None:
        assert device.begin(message.encode()).response == response.encode() + b"\n"
        assert not device.errors


def test_the_bits_of_the_status_byte_stand_where_the_standards_put_them() -> None:
    """IEEE 488.2 11.2 and SCPI-99 20; values as in ieee488.h of j123b567/scpi-parser."""
    assert [bit.value for bit in StatusByte] == [0x04, 0x08, 0x10, 0x20, 0x40, 0x80]
    assert [bit.value for bit in StandardEvent] == [1 << n for n in range(8)]


def test_the_bits_of_the_groups_stand_where_the_standard_puts_them() -> None:
    """SCPI-99 20.1 and 20.3, from memory."""
    assert Operation.CALIBRATING == 1 << 0
    assert Operation.MEASURING == 1 << 4
    assert Operation.WAITING_FOR_TRIGGER == 1 << 5
    assert Questionable.VOLTAGE == 1 << 0
    assert Questionable.TEMPERATURE == 1 << 4
    assert Questionable.CALIBRATION == 1 << 8
