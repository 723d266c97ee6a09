"""The second channel of a HiSLIP client, without sockets: polls, requests for service, device clear, locks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from benchctl.scpi.hislip import FIRST_MESSAGE_ID, Message, MessageType
from benchctl.scpi.hislip_endpoint import HislipEndpoint
from benchctl.scpi.hislip_locks import LockAnswer
from tests.scpi.hislip_client import Client, Clock, clear

if TYPE_CHECKING:
    from conftest import Bench

MAV, RQS = 0x10, 0x40


class TestStatus:
    """6.13 and 6.14: polls and requests for service."""

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

    def test_a_request_for_service_comes_once_by_itself_and_is_taken_by_the_poll(self, client: Client) -> None:
        """IEEE 488.2 11.2.2.1: reading the byte in a poll clears the request, not its cause."""
        client.write(b"*ESE 32;*SRE 32")
        client.write(b"*XYZ")
        (request,) = client.heard(client.asyn)
        assert (request.kind, request.control) == (MessageType.ASYNC_SERVICE_REQUEST, 0x64)
        client.write(b"*XYZ")
        assert client.heard(client.asyn) == []
        assert [client.poll(), client.poll()] == [0x64, 0x24]

    def test_a_new_cause_makes_a_new_request(self, client: Client) -> None:
        client.write(b"*ESE 32;*SRE 32")
        for _ in range(2):
            client.write(b"*XYZ")
            assert [each.kind for each in client.heard(client.asyn)] == [MessageType.ASYNC_SERVICE_REQUEST]
            assert client.poll() & RQS
            assert client.ask(b"*ESR?") == b"32\n"

    def test_every_client_is_asked_for_service(self, endpoint: HislipEndpoint) -> None:
        one, other = Client(endpoint), Client(endpoint)
        one.write(b"*ESE 32;*SRE 32")
        one.write(b"*XYZ")
        assert [each.kind for each in other.heard(other.asyn)] == [MessageType.ASYNC_SERVICE_REQUEST]


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
        client.tell(client.sync, Message(MessageType.TRIGGER, 0, client.message_id))
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

    def test_a_client_that_is_locked_out_can_clear_its_own_link(self, endpoint: HislipEndpoint, bench: Bench) -> None:
        holder, other = Client(endpoint), Client(endpoint)
        holder.lock()
        other.write(b"VOLT 9")
        clear(other)
        holder.unlock()
        assert bench.voltage_v == 0.0


class TestLocks:
    """6.5 and 6.6."""

    def test_messages_of_others_wait_until_the_lock_is_given_back(self, endpoint: HislipEndpoint, bench: Bench) -> None:
        holder, other = Client(endpoint), Client(endpoint)
        assert holder.lock() == LockAnswer.SUCCESS
        other.write(b"VOLT 9;VOLT?")
        holder.write(b"VOLT 1")
        assert bench.voltage_v == 1.0
        assert holder.unlock() == LockAnswer.SUCCESS
        assert other.read() == b"9.00000000E+00\n"

    def test_holders_of_the_shared_lock_work_side_by_side(self, endpoint: HislipEndpoint) -> None:
        one, other, stranger = Client(endpoint), Client(endpoint), Client(endpoint)
        assert [each.lock(b"bench 2") for each in (one, other)] == [LockAnswer.SUCCESS] * 2
        stranger.write(b"*OPC?")
        assert [one.ask(b"*OPC?"), other.ask(b"*OPC?")] == [b"1\n", b"1\n"]
        assert stranger.heard(stranger.sync) == []

    def test_a_request_that_cannot_wait_fails_at_once(self, endpoint: HislipEndpoint) -> None:
        holder, other = Client(endpoint), Client(endpoint)
        holder.lock()
        assert other.lock() == LockAnswer.FAILURE

    def test_a_request_that_waits_is_granted_when_the_holder_gives_back(self, endpoint: HislipEndpoint) -> None:
        holder, other = Client(endpoint), Client(endpoint)
        holder.lock()
        other.tell(other.asyn, Message(MessageType.ASYNC_LOCK, 1, 1000))
        assert other.heard(other.asyn) == []
        holder.unlock()
        assert other.heard(other.asyn) == [Message(MessageType.ASYNC_LOCK_RESPONSE, LockAnswer.SUCCESS)]

    def test_a_request_that_waits_fails_when_its_time_is_over(self, endpoint: HislipEndpoint, clock: Clock) -> None:
        holder, other = Client(endpoint), Client(endpoint)
        holder.lock()
        other.tell(other.asyn, Message(MessageType.ASYNC_LOCK, 1, 1000))
        clock.now_s = 0.999
        other.asyn.resume()
        assert other.heard(other.asyn) == []
        clock.now_s = 1.0
        other.asyn.resume()
        assert other.heard(other.asyn) == [Message(MessageType.ASYNC_LOCK_RESPONSE, LockAnswer.FAILURE)]

    @pytest.mark.parametrize("which", ["sync", "asyn"])
    def test_a_client_that_is_gone_leaves_no_lock_and_no_channel(self, endpoint: HislipEndpoint, which: str) -> None:
        holder, other = Client(endpoint), Client(endpoint)
        holder.lock()
        other.write(b"*OPC?")
        getattr(holder, which).close()
        assert other.read() == b"1\n"
        assert holder.sync.is_over
        assert holder.asyn.is_over

    def test_anybody_may_ask_how_things_stand(self, endpoint: HislipEndpoint) -> None:
        one, other = Client(endpoint), Client(endpoint)
        answers = [other.request(MessageType.ASYNC_LOCK_INFO)]
        one.lock(b"bench 2")
        one.lock()
        answers.append(other.request(MessageType.ASYNC_LOCK_INFO))
        assert [(each.control, each.parameter) for each in answers] == [(0, 0), (1, 1)]

    def test_a_held_back_client_can_still_be_polled_for_status(self, endpoint: HislipEndpoint) -> None:
        holder, other = Client(endpoint), Client(endpoint)
        holder.lock()
        assert other.poll() == 0

    def test_a_second_request_while_one_waits_is_an_error(self, endpoint: HislipEndpoint) -> None:
        holder, other = Client(endpoint), Client(endpoint)
        holder.lock()
        other.tell(other.asyn, Message(MessageType.ASYNC_LOCK, 1, 1000))
        assert other.lock() == LockAnswer.ERROR
