"""Every simulated instrument keeps all rules of IEEE 488.2 and SCPI-99 that apply to every instrument.

The suite sends each of them some hundreds of garbled messages. BENCHCTL_MUTATIONS=100000 runs the campaign.
"""

from __future__ import annotations

import os
import random
from contextlib import closing

import pytest

from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.model.description import LoadDescription
from benchctl.simulator.network.ports import HislipPlace
from tests.scpi.conformance import RULES, Rule, breaches, find_breach
from tests.simulator.benches import describe
from tests.simulator.links import HislipLink, RawLink
from tests.simulator.talk import Room, Talk

ROLES = ("generator", "oscilloscope", "load", "supply", "thermometer")
ELECTRONIC = LoadDescription("electronic", channels=("A",))


@pytest.fixture(scope="module")
def room() -> Room:
    """One bench for all rules."""
    return Room()


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.clause}: {rule.promise}".replace(" ", "-"))
def test_every_instrument_keeps(room: Room, rule: Rule) -> None:
    assert {role: find_breach(rule, getattr(room, role)) for role in ROLES} == dict.fromkeys(ROLES, "")


@pytest.mark.parametrize("role", ROLES)
def test_every_rule_is_kept_over_a_raw_socket(role: str) -> None:
    """The whole table against a running server, in the order of the table."""
    with SimulatedBench(describe(), lambda: 0.0) as bench, closing(RawLink(bench.start()[role])) as link:
        assert list(breaches(link)) == []


@pytest.mark.parametrize("role", ROLES)
def test_every_rule_is_kept_over_hislip(role: str) -> None:
    """This link marks the ends of messages itself, and drops an answer that the client does not wait for."""
    with SimulatedBench(describe(), lambda: 0.0) as bench:
        bench.start(hislip={role: HislipPlace()})
        with closing(HislipLink(bench.hislip_places[role])) as link:
            assert list(breaches(link)) == []


def test_the_electronic_load_keeps_them_as_well() -> None:
    assert list(breaches(Room(describe(load=ELECTRONIC)).load)) == []


MESSAGES = """*IDN? *RST SYST:ERR? VOLT_1 VOLT?_MAX OUTP_ON INST:NSEL_2 MEAS:VOLT? ROUT:CLOS_(@101,102) ROUT:OPEN:ALL
SING STOP WAV:DATA? CURV? WAV:PRE? CHAN1:SCAL_1E-3 TRIG:FORC MEAS:TEMP?_(@101:103) LIST:VOLT_1,2 LIST:DWEL_.1,.2 INIT
ABOR VOLT:MODE_LIST #15abc "a;b" FREQ_1KHZ *WAI *OPC? ACQ:STATE_RUN TIM:POS_-1 DAT:WID_2 CURR:PROT_1E400 ::: @ \x00\xff
*SAV_1 *RCL_1 *RCL_2 *TRG TRIG TRIG:SOUR_BUS SYST:ERR:ENAB_(-113:1)
"""
WORDS = MESSAGES.split()
MUTATIONS = int(os.environ.get("BENCHCTL_MUTATIONS", "500"))


@pytest.mark.parametrize("role", ROLES)
def test_no_message_however_mangled_makes_an_instrument_fall_over(role: str) -> None:
    """Random and mutated messages, seeded; the instrument still answers *IDN? afterwards."""
    room = Room()
    chance = random.Random(role)
    conversation = Conversation(room.bench.instruments[role].device)
    for _ in range(MUTATIONS):
        message = bytearray(
            chance.choice([";", "\n", " ", ":"]).join(chance.choices(WORDS, k=3)).replace("_", " ").encode("latin-1")
        )
        for _ in range(chance.randrange(3)):
            message[chance.randrange(len(message))] = chance.randrange(256)
        conversation.receive(bytes(message) + b"\n")
        room.wait(chance.choice([0.0, 0.001, 0.5]))
        conversation.resume()
        conversation.collect()
        if conversation.is_waiting:
            conversation.clear()
    assert Talk(Conversation(room.bench.instruments[role].device)).ask("*IDN?").startswith("benchctl,")
