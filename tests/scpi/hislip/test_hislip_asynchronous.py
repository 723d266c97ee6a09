"""The second channel of a HiSLIP client, without sockets: polls and device clear."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchctl.scpi.hislip.messages import FIRST_MESSAGE_ID, Message, MessageType
from tests.scpi.hislip_client import Client, clear

if TYPE_CHECKING:
    from conftest import Bench

MAV = 0x10


class TestStatus:
    """6.14: polls."""

    def test_a_poll_gives_the_status_byte(self, client: Client) -> None:
        client.write(b"*XYZ")
        assert client.poll() == 0x04

    def test_before_any_message_a_poll_works_as_well(self, client: Client) -> None:
        assert client.poll((FIRST_MESSAGE_ID - 2) & 0xFFFFFFFF) == 0

    def test_a_response_is_available_until_the_client_says_it_read_it(self, client: Client) -> None:
        client.write(b"*IDN?")
        assert [client.poll() & MAV, client.poll() & MAV] == [MAV, MAV]
        client.read()
        assert [client.poll() & MAV, client.poll() & MAV] == [0, 0]

    def test_a_poll_takes_the_word_that_the_response_was_read(self, client: Client, bench: Bench) -> None:
        client.ask(b"*IDN?")
        client.poll()
        client.write(b"VOLT 1")
        assert bench.errors() == []

    def test_nothing_is_available_to_who_has_sent_more_than_has_arrived(self, client: Client) -> None:
        client.write(b"*IDN?")
        assert client.poll(client.message_id + 2) & MAV == 0

    def test_a_client_that_names_its_next_message_is_understood(self, client: Client) -> None:
        """As pyvisa-py 0.8 does."""
        client.write(b"*IDN?")
        assert client.poll(client.message_id) & MAV

    def test_a_poll_gives_the_master_summary_as_the_question_does(self, client: Client) -> None:
        """IEEE 488.2 11.2.2: bit 6 where an enabled bit is set. Nothing is sent to the client unasked."""
        client.write(b"*ESE 32;*SRE 32")
        client.write(b"*XYZ")
        assert client.heard(client.asyn) == []
        assert client.poll() == 0x64
        assert client.ask(b"*STB?") == b"100\n"


class TestDeviceClear:
    """6.12."""

    def test_a_clear_ends_what_waits_and_the_link_works_again(self, client: Client, bench: Bench) -> None:
        client.write(b"VOLT 3;INIT;*OPC?")
        clear(client)
        assert not client.asyn.is_waiting
        client.message_id, client.rmt = FIRST_MESSAGE_ID, 0
        assert client.ask(b"VOLT?") == b"3.00000000E+00\n"
        assert bench.errors() == []

    def test_what_comes_before_the_clear_is_complete_is_passed_over(self, client: Client, bench: Bench) -> None:
        client.request(MessageType.ASYNC_DEVICE_CLEAR)
        client.write(b"VOLT 3")
        client.tell(client.sync, Message(MessageType.DEVICE_CLEAR_COMPLETE))
        assert (bench.voltage_v, bench.calls) == (0.0, [])

    def test_half_a_message_is_forgotten(self, client: Client, bench: Bench) -> None:
        client.write(b"VOLT 3;VO", MessageType.DATA)
        clear(client)
        client.write(b"LT 4")
        assert bench.voltage_v == 0.0

    def test_an_unread_response_interrupts_nothing_after_a_clear(self, client: Client, bench: Bench) -> None:
        client.write(b"*IDN?")
        clear(client)
        client.write(b"VOLT 1")
        assert bench.errors() == []

    def test_overlap_mode_is_never_granted(self, client: Client) -> None:
        assert client.request(MessageType.ASYNC_DEVICE_CLEAR).control == 0
        client.tell(client.sync, Message(MessageType.DEVICE_CLEAR_COMPLETE, 1))
        assert client.heard(client.sync) == [Message(MessageType.DEVICE_CLEAR_ACKNOWLEDGE, 0)]
