"""A search asks each place once, whatever the ways it was found, and disturbs nobody."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from benchctl.errors import PreflightRefused
from benchctl.instruments.discovery.asking import Answered, ask
from benchctl.instruments.discovery.mdns import LXI, RAW, Service
from benchctl.instruments.discovery.search import NOT_ASKED, Place, ask_all, places, search
from benchctl.instruments.discovery.visa_list import visa_list
from tests.instruments.scripted import IDENTITY, Conversation, ScriptedPeer
from tests.ports import free_port

SUPPLY = Service("Supply", RAW, "192.0.2.7", 5025, {"Manufacturer": "Deck", "Model": "PS2"})


def no_answer(conversation: Conversation, text: str) -> None:
    """Says nothing to anything but what every scripted peer answers."""


def test_one_place_found_in_two_ways_is_one_place() -> None:
    found = places([SUPPLY], ["USB0::0x1234::0x5678::9::INSTR"], ["tcpip0::192.0.2.7::5025::socket"])
    assert found == [
        Place("TCPIP::192.0.2.7::5025::SOCKET", ("announced", "given"), "Deck, PS2"),
        Place("USB0::0x1234::0x5678::9::INSTR", ("listed",)),
    ]


def test_a_serial_port_is_asked_only_where_its_address_was_given() -> None:
    listed, given = places([], ["ASRL/dev/ttyUSB0::INSTR", "ASRL/dev/ttyUSB1::INSTR"], ["ASRL/dev/ttyUSB1::INSTR"])
    assert (listed.asked, given.asked) == (False, True)
    asked: list[str] = []

    def asker(address: str) -> Answered:
        asked.append(address)
        return Answered("Deck,Relays,1,1", reached=True)

    first, second = ask_all([listed, given], asker=asker)
    assert (first.note, second.answered.identity, asked) == (NOT_ASKED, "Deck,Relays,1,1", [given.address])


def test_an_instrument_that_a_run_works_with_is_not_asked() -> None:
    @contextmanager
    def in_use(address: str) -> Iterator[None]:
        raise PreflightRefused([f"{address} is in use"])
        yield

    with ScriptedPeer(no_answer) as peer:
        (found,) = search([peer.address], looks_around=False, admit=in_use).found
    assert found.note == f"{peer.address} is in use"
    assert peer.connections == 0


def test_only_the_identity_is_asked_for_and_the_link_is_given_back() -> None:
    with ScriptedPeer(no_answer, clients=1) as peer:
        found = [search([peer.address], looks_around=False).found[0] for _ in range(2)]
    assert [each.answered.identity for each in found] == [IDENTITY] * 2
    assert peer.heard == ["*IDN?"] * 2


def test_a_short_identity_is_shown_as_it_is() -> None:
    class Short(ScriptedPeer):
        def _hear(self, conversation: Conversation, text: str) -> None:
            conversation.reply(b"PS-2\r\n")

    with Short(no_answer) as peer:
        assert ask(peer.address).identity == "PS-2"


def test_silence_is_told_from_nobody_there() -> None:
    class Silent(ScriptedPeer):
        def _hear(self, conversation: Conversation, text: str) -> None: ...

    with Silent(no_answer) as peer:
        assert ask(peer.address, answer_s=0.1) == Answered(None, reached=True)
    gone = ask(f"TCPIP::127.0.0.1::{free_port()}::SOCKET")
    assert not gone.reached
    assert "nothing answers on 127.0.0.1" in gone.problem


def test_a_page_without_a_way_to_send_messages_is_told() -> None:
    from benchctl.instruments.discovery.search import _without_address

    page = Service("Deck scope", LXI, "192.0.2.8", 80)
    assert _without_address([SUPPLY, Service("Supply", LXI, "192.0.2.7", 80)]) == []
    assert "TCPIP::192.0.2.8::5025::SOCKET" in _without_address([page])[0]


def test_a_kind_of_link_that_hangs_or_fails_costs_only_itself() -> None:
    import threading

    def fails() -> list[str]:
        raise OSError("no backend")

    never = threading.Event()
    listed = visa_list(
        0.05, {"USB": lambda: ["USB0::1::2::3::INSTR"], "GPIB": fails, "serial": lambda: [str(never.wait())]}
    )
    never.set()
    assert listed.addresses == ("USB0::1::2::3::INSTR",)
    assert listed.notes == ("GPIB: cannot be looked for (no backend)", "serial: not finished after 0.05 s")
