"""The table of rules holds for our device, and a device that breaks a rule is found out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from benchctl.scpi.device.conversation import Conversation
from tests.scpi.conformance import RULES, Rule, breaches, find_breach

if TYPE_CHECKING:
    from conftest import Bench


class Wire:
    """A link to a device as over a raw socket; `spoil` changes what comes back."""

    def __init__(self, bench: Bench) -> None:
        self._conversation = Conversation(bench.device)
        self.spoilt: dict[str, str] = {}

    def tell(self, message: str) -> None:
        self._conversation.receive(message.encode("latin-1") + b"\n")

    def ask(self, message: str) -> str:
        self.tell(message)
        response = self._conversation.collect().decode("latin-1").removesuffix("\n")
        return self.spoilt.get(message, response)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.clause}: {rule.promise}".replace(" ", "-"))
def test_the_device_keeps(bench: Bench, rule: Rule) -> None:
    assert find_breach(rule, Wire(bench)) == ""


def test_the_rules_hold_one_after_the_other_on_one_device(bench: Bench) -> None:
    assert list(breaches(Wire(bench))) == []


def test_a_device_that_breaks_a_rule_is_found_out(bench: Bench) -> None:
    wire = Wire(bench)
    wire.spoilt["*TST?"] = "1"
    ((rule, breach),) = breaches(wire)
    assert rule.clause == "488.2 10.38"
    assert breach == "'*TST?' got '1', not '0'"


def test_every_mandatory_command_stands_in_the_table() -> None:
    """IEEE 488.2 via SCPI-99 volume 1, 4.1.1 (thirteen headers), and SCPI-99 4.2.1 (eleven)."""
    text = " ".join(step.message for rule in RULES for step in rule.steps)
    for header in ("*CLS", "*ESE ", "*ESE?", "*ESR?", "*IDN?", "*OPC", "*OPC?", "*RST", "*SRE ", "*SRE?", "*STB?",
                   "*TST?", "*WAI", "SYST:ERR?", "SYST:VERS?", "STAT:PRES", "STAT:OPER?", "STAT:OPER:ENAB ",
                   "STAT:QUES?", "STAT:QUES:ENAB "):  # fmt: skip
        assert header in text
