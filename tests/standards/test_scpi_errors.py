"""The error numbers and texts of SCPI-99 volume 2, 21.8.

Source: two independent public copies of the list, the repositories Atmelfan/scpi-rs
(scpi/src/error.rs at 4f0d591) and j123b567/scpi-parser (libscpi/inc/scpi/error.h at 8866159), which agree except
where a comment below says so. The classes' bits: the first of them, lines 995 to 1007, and ieee488.h of the second.
"""

from __future__ import annotations

import pytest

from benchctl.scpi.device.status import event_bit
from benchctl.scpi.errors import STANDARD_ERRORS

ANCHORS = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -110: "Command header error",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -131: "Invalid suffix",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -144: "Character data too long",
    -148: "Character data not allowed",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -161: "Invalid block data",
    -168: "Block data not allowed",
    -171: "Invalid expression",
    -178: "Expression data not allowed",
    -200: "Execution error",
    -211: "Trigger ignored",
    -213: "Init ignored",
    -221: "Settings conflict",
    -222: "Data out of range",
    -223: "Too much data",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -240: "Hardware error",
    -310: "System error",
    -330: "Self-test failed",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
    -500: "Power on",
    -600: "User request",
    -700: "Request control",
    -800: "Operation complete",
}


@pytest.mark.parametrize(("code", "text"), ANCHORS.items())
def test_a_number_has_its_standard_text(code: int, text: str) -> None:
    assert STANDARD_ERRORS[code] == text


def test_the_list_is_as_long_as_its_source() -> None:
    """122 entries with "No error"; -232 stands in one of the two sources only."""
    assert len(STANDARD_ERRORS) == 122


@pytest.mark.parametrize(
    ("code", "bit"),
    [(0, 0x00), (-100, 0x20), (-199, 0x20), (-222, 0x10), (-310, 0x08), (-350, 0x08), (217, 0x08), (-410, 0x04),
     (-500, 0x80), (-600, 0x40), (-700, 0x02), (-800, 0x01), (-900, 0x00)],
)  # fmt: skip
def test_the_class_of_an_error_has_its_bit_in_the_standard_event_register(code: int, bit: int) -> None:
    """SCPI-99 21.8 with IEEE 488.2 11.5.1."""
    assert event_bit(code) == bit
