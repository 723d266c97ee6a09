"""A search asks each place once, whatever the ways it was found, and disturbs nobody."""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchctl import library
from benchctl.documents.driver_file.common import Match
from benchctl.documents.reader import load_bench
from benchctl.errors import PreflightRefused
from benchctl.instruments.discovery.asking import Answered, ask
from benchctl.instruments.discovery.matching import fitting, questions, shipped_matches
from benchctl.instruments.discovery.mdns import LXI, RAW, Service
from benchctl.instruments.discovery.search import NOT_ASKED, Place, ask_all, places, search
from benchctl.instruments.discovery.visa_list import visa_list
from benchctl.launch.simulated.serving import served
from benchmarks.exercise.benches import bench_for
from tests.cli.files import bench_on_free_ports, written
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


def test_only_questions_are_sent_and_the_link_is_given_back() -> None:
    with ScriptedPeer(no_answer, clients=1) as peer:
        found = [search([peer.address], looks_around=False).found[0] for _ in range(2)]
    assert [each.answered.identity for each in found] == [IDENTITY] * 2
    assert peer.heard[0] == "*IDN?"
    assert len(peer.heard) > 2 * len(questions(shipped_matches()))
    assert [message for message in peer.heard if "?" not in message] == []


def test_an_instrument_that_waits_for_a_carriage_return_is_found_and_told_so() -> None:
    class Returns(ScriptedPeer):
        """Takes a message at its carriage return, and ends its answers so."""

        def _talk(self, connection: socket.socket) -> None:
            with connection:
                heard = b""
                while data := connection.recv(100):
                    heard += data
                    if b"\r" in heard:
                        connection.sendall(b"PS-2,old\r")
                        heard = b""

    with Returns(no_answer) as peer:
        answered = ask(peer.address, answer_s=0.2)
    assert (answered.identity, answered.ends) == ("PS-2,old", "ends: CR")


def test_a_driver_file_fits_where_all_its_answers_and_one_of_its_identities_do() -> None:
    matches = {
        "plain": Match(answers={"INST:NSEL?": "*"}),
        "more": Match(answers={"INST:NSEL?": "*", "WDOG?": "0"}),
        "other": Match(answers={"WDOG?": "1"}),
        "named": Match(identity=("*,PS 2,*",)),
        "strange": Match(identity=("*,PS 3,*",)),
    }
    assert questions(matches) == ("INST:NSEL?", "WDOG?")
    found = fitting(matches, "Deck,ps 2,1,1", {"INST:NSEL?": "1", "WDOG?": "0"})
    assert found == ("more", "plain", "named"), "what asks for most comes first"
    assert fitting(matches, "Deck,PS 2x,1,1", {}) == ()


def test_over_a_link_of_messages_an_unknown_question_costs_only_its_own_answer(tmp_path: Path) -> None:
    """Each answer belongs to its question, although one was not answered before it."""
    workshop = library.find("benches", "workshop").read_text(encoding="utf-8")
    address = f"TCPIP::127.0.0.1::hislip0,{free_port()}::INSTR"
    for port in range(15021, 15026):
        place = address if port == 15024 else f"TCPIP::127.0.0.1::{free_port()}::SOCKET"
        workshop = workshop.replace(f"TCPIP::127.0.0.1::{port}::SOCKET", place)
    with served(written(tmp_path / "bench.yaml", workshop), "hx2150"):
        answered = ask(address, ("INST:NSEL?", "DECK:LAMP?", "OUTP:PROT:WDOG?"))
    assert (answered.identity or "").startswith("benchctl,Dc supply,")
    assert answered.answers == {"INST:NSEL?": "1", "OUTP:PROT:WDOG?": "0"}


# An instrument with two outputs stands on another bench.
RECOGNISED = [name for name in shipped_matches() if name != "generator/scpi99_outputs"]


@pytest.mark.parametrize("name", RECOGNISED)
def test_an_instrument_is_fitted_by_the_driver_file_of_its_form(name: str, tmp_path: Path) -> None:
    text = bench_for(name)
    for port in sorted(set(re.findall(r"127\.0\.0\.1::(\d+)", text))):
        text = text.replace(f"::{port}::", f"::{free_port()}::")
    file = written(tmp_path / "bench.yaml", text)
    with served(file, "hx2150") as instruments:
        (found,) = search([instruments[name.partition("/")[0]].address], looks_around=False).found
    assert name in found.drivers, found.answered.answers


def test_an_instrument_that_answers_everything_with_one_text_fits_nothing() -> None:
    """Some answer `ERR` to whatever they do not know."""

    def error(conversation: Conversation, text: str) -> None:
        conversation.reply(b"ERR\r\n")

    with ScriptedPeer(error) as peer:
        (found,) = search([peer.address], looks_around=False).found
    assert (found.answered.identity, found.answered.answers, found.drivers) == (IDENTITY, {}, ())


def test_each_simulated_instrument_of_the_workshop_is_fitted_by_its_own_driver(tmp_path: Path) -> None:
    file = bench_on_free_ports(tmp_path)
    with served(file, "hx2150") as instruments:
        found = search([each.address for each in instruments.values()], looks_around=False).found
        with socket.create_connection(instruments["supply"].socket) as link:
            link.sendall(b"SYST:ERR?\n")
            assert link.recv(100).startswith(b"0,"), "the errors of unknown questions are taken out again"
    fitting_it = {each.place.address: each.drivers for each in found}
    for role, entry in load_bench(file).instruments.items():
        assert entry.driver in fitting_it[entry.address], role


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
