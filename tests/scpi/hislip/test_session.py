"""Clients of a HiSLIP port, without sockets: what each message of IVI-6.1 does in synchronized mode."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.scpi.device.device import Device, Identity
from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.hislip.endpoint import LONGEST_NAME, MOST_CLIENTS, HislipEndpoint
from benchctl.scpi.hislip.messages import FIRST_MESSAGE_ID, ErrorCode, FatalErrorCode, Message, MessageType
from benchctl.scpi.hislip.session import LARGEST_PAYLOAD
from tests.scpi.hislip_client import Client, assert_error, assert_fatal, endpoint_of

if TYPE_CHECKING:
    from conftest import Bench


class TestBeginning:
    """6.1 and 6.2: two connections become one client."""

    def test_both_channels_are_welcomed_in_synchronized_mode_of_version_1_0(self, endpoint: HislipEndpoint) -> None:
        sync, asyn = endpoint.open(), endpoint.open()
        sync.receive(Message(MessageType.INITIALIZE, 0, 0x02007878, b"hislip0").encode())
        _, kind, control, version, number, length = struct.unpack("!2sBBHHQ", sync.collect())
        assert (kind, control, version, length) == (MessageType.INITIALIZE_RESPONSE, 0, 0x0100, 0)
        asyn.receive(Message(MessageType.ASYNC_INITIALIZE, 0, number).encode())
        assert asyn.collect()[:4] == b"HS" + bytes([MessageType.ASYNC_INITIALIZE_RESPONSE, 0])

    @pytest.mark.parametrize("name", [b"hislip0", b"HiSLIP0", b""])
    def test_an_instrument_is_found_by_its_name_in_any_case_and_the_first_without(
        self, endpoint: HislipEndpoint, name: bytes
    ) -> None:
        assert Client(endpoint, name).ask(b"*OPC?") == b"1\n"

    def test_one_port_may_have_several_instruments(self, bench: Bench) -> None:
        other = type(bench)()
        endpoint = endpoint_of(bench.device, other.device)
        Client(endpoint, b"hislip1").write(b"VOLT 3")
        assert (bench.voltage_v, other.voltage_v) == (0.0, 3.0)

    @pytest.mark.parametrize(
        ("first", "code"),
        [
            (Message(MessageType.INITIALIZE, 0, 0x01007878, b"hislip7"), FatalErrorCode.INVALID_INITIALIZATION),
            (Message(MessageType.ASYNC_INITIALIZE, 0, 999), FatalErrorCode.INVALID_INITIALIZATION),
            (Message(MessageType.DATA_END, 0, FIRST_MESSAGE_ID, b"*IDN?"), FatalErrorCode.INVALID_INITIALIZATION),
        ],
    )
    def test_a_wrong_beginning_is_fatal(self, endpoint: HislipEndpoint, first: Message, code: FatalErrorCode) -> None:
        channel = endpoint.open()
        channel.receive(first.encode())
        assert_fatal(channel, code)

    def test_plain_scpi_on_a_hislip_port_is_fatal(self, endpoint: HislipEndpoint) -> None:
        channel = endpoint.open()
        channel.receive(b"*IDN?\n")
        assert_fatal(channel, FatalErrorCode.POORLY_FORMED_HEADER)

    def test_nothing_is_done_before_the_second_channel_is_there(self, endpoint: HislipEndpoint, bench: Bench) -> None:
        channel = endpoint.open()
        channel.receive(Message(MessageType.INITIALIZE, 0, 0x01007878, b"hislip0").encode())
        channel.collect()
        channel.receive(Message(MessageType.DATA_END, 0, FIRST_MESSAGE_ID, b"VOLT 5").encode())
        assert_fatal(channel, FatalErrorCode.CHANNELS_NOT_ESTABLISHED)
        assert bench.voltage_v == 0.0

    def test_a_client_has_one_second_channel(self, client: Client, endpoint: HislipEndpoint) -> None:
        channel = endpoint.open()
        channel.receive(Message(MessageType.ASYNC_INITIALIZE, 0, client.number).encode())
        assert_fatal(channel, FatalErrorCode.INVALID_INITIALIZATION)
        assert client.ask(b"*OPC?") == b"1\n"

    def test_a_second_initialize_ends_both_channels(self, client: Client) -> None:
        client.tell(client.sync, Message(MessageType.INITIALIZE, 0, 0x01007878, b"hislip0"))
        assert client.sync.is_over
        assert client.asyn.is_over

    def test_there_is_room_for_so_many_clients_and_no_more(self, endpoint: HislipEndpoint) -> None:
        clients = [Client(endpoint) for _ in range(MOST_CLIENTS)]
        channel = endpoint.open()
        channel.receive(Message(MessageType.INITIALIZE, 0, 0x01007878, b"hislip0").encode())
        assert_fatal(channel, FatalErrorCode.TOO_MANY_CLIENTS)
        clients[0].sync.close()
        assert Client(endpoint).ask(b"*OPC?") == b"1\n"


class TestMessages:
    """3.1: program messages and responses."""

    @pytest.mark.parametrize("program", [b"*IDN?", b"*IDN?\n", b"*IDN?\r\n"])
    def test_the_end_of_a_message_is_marked_by_the_link(self, client: Client, program: bytes) -> None:
        assert client.ask(program) == b"Harbour,HB-1,7,1.0\n"

    def test_a_message_may_come_in_pieces(self, client: Client) -> None:
        client.write(b"*ID", MessageType.DATA)
        assert client.heard(client.sync) == []
        assert client.ask(b"N?") == b"Harbour,HB-1,7,1.0\n"

    def test_one_byte_at_a_time_is_as_good(self, client: Client) -> None:
        for byte in Message(MessageType.DATA_END, 0, FIRST_MESSAGE_ID, b"*OPC?").encode():
            client.sync.receive(bytes([byte]))
        client.message_id += 2
        assert client.read() == b"1\n"

    def test_settings_are_shared_and_responses_are_not(self, endpoint: HislipEndpoint) -> None:
        one, other = Client(endpoint), Client(endpoint)
        one.write(b"VOLT 2")
        assert other.ask(b"VOLT?") == b"2.00000000E+00\n"
        assert one.heard(one.sync) == []

    def test_a_response_is_cut_to_what_the_client_takes(self, client: Client) -> None:
        client.request(MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE, payload=struct.pack("!Q", 256))
        client.write(b";".join([b"*ESE?"] * 200))
        messages = client.heard(client.sync)
        assert [len(message.payload) for message in messages] == [240, 160]
        assert b"".join(message.payload for message in messages) == b";".join([b"0"] * 200) + b"\n"

    def test_each_side_says_what_it_takes(self, client: Client) -> None:
        answer = client.request(MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE, payload=struct.pack("!Q", 4096))
        assert answer.kind == MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE
        assert struct.unpack("!Q", answer.payload) == (LARGEST_PAYLOAD + 16,)

    def test_the_longest_payload_is_taken(self, client: Client, bench: Bench) -> None:
        client.write(b"VOLT 4" + b" " * (LARGEST_PAYLOAD - 6))
        assert bench.voltage_v == 4.0

    def test_a_longer_payload_is_refused_and_the_next_message_runs(self, client: Client, bench: Bench) -> None:
        client.write(b"VOLT 4" + b" " * (LARGEST_PAYLOAD - 5))
        assert_error(client.heard(client.sync), ErrorCode.MESSAGE_TOO_LARGE)
        client.write(b"VOLT 5")
        assert bench.voltage_v == 5.0


class TestInterruption:
    """3.1.1: a client that does not wait for its response."""

    def test_going_on_without_reading_drops_the_response_and_leaves_an_error(
        self, client: Client, bench: Bench
    ) -> None:
        client.write(b"*IDN?")
        client.write(b"VOLT 2")
        assert (bench.errors(), bench.voltage_v) == ([-410], 2.0)

    def test_who_has_read_interrupts_nothing(self, client: Client, bench: Bench) -> None:
        for _ in range(3):
            client.ask(b"*IDN?")
        client.write(b"VOLT 1")
        client.write(b"VOLT 2")
        assert bench.errors() == []

    def test_a_message_in_pieces_after_a_response_interrupts_nothing(self, client: Client, bench: Bench) -> None:
        client.ask(b"*IDN?")
        client.write(b"VO", MessageType.DATA)
        client.write(b"LT 2")
        assert (bench.errors(), bench.voltage_v) == ([], 2.0)

    def test_input_that_waits_when_the_response_is_made_interrupts_it_and_both_channels_say_so(
        self, client: Client, bench: Bench
    ) -> None:
        client.write(b"INIT;*OPC?")
        interrupting = client.write(b"VOLT 2")
        bench.is_acquiring = False
        client.asyn.resume()
        assert client.heard(client.sync) == [Message(MessageType.INTERRUPTED, 0, interrupting)]
        assert client.heard(client.asyn) == [Message(MessageType.ASYNC_INTERRUPTED, 0, interrupting)]
        assert (bench.errors(), bench.voltage_v) == ([-410], 2.0)

    def test_a_response_that_takes_time_answers_its_own_message(self, client: Client, bench: Bench) -> None:
        client.write(b"INIT;*OPC?")
        assert client.asyn.is_waiting
        assert client.heard(client.sync) == []
        bench.is_acquiring = False
        client.asyn.resume()
        assert client.read() == b"1\n"
        assert not client.asyn.is_waiting


class TestWrongMessages:
    """6.4: what is passed over with an Error, and what ends the client."""

    @pytest.mark.parametrize(
        ("channel", "message", "code"),
        [
            ("sync", Message(99), ErrorCode.UNRECOGNIZED_TYPE),
            ("sync", Message(MessageType.ASYNC_STATUS_QUERY), ErrorCode.UNRECOGNIZED_TYPE),
            ("sync", Message(MessageType.INTERRUPTED), ErrorCode.UNRECOGNIZED_TYPE),
            ("sync", Message(200), ErrorCode.UNRECOGNIZED_VENDOR_MESSAGE),
            ("sync", Message(MessageType.DATA, 2), ErrorCode.UNRECOGNIZED_CONTROL_CODE),
            ("sync", Message(MessageType.DEVICE_CLEAR_COMPLETE), ErrorCode.UNIDENTIFIED),
            ("asyn", Message(MessageType.DATA_END), ErrorCode.UNRECOGNIZED_TYPE),
            ("asyn", Message(MessageType.ASYNC_STATUS_QUERY, 2), ErrorCode.UNRECOGNIZED_CONTROL_CODE),
            ("asyn", Message(MessageType.ASYNC_LOCK, 1), ErrorCode.UNRECOGNIZED_TYPE),
            ("asyn", Message(MessageType.ASYNC_REMOTE_LOCAL_CONTROL), ErrorCode.UNRECOGNIZED_TYPE),
            ("sync", Message(MessageType.TRIGGER), ErrorCode.UNRECOGNIZED_TYPE),
            ("asyn", Message(MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE, payload=b"1"), ErrorCode.UNIDENTIFIED),
            ("asyn", Message(MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE, payload=bytes(8)), ErrorCode.UNIDENTIFIED),
            (
                "asyn",
                Message(MessageType.ASYNC_STATUS_QUERY, 0, 0, bytes(LONGEST_NAME + 1)),
                ErrorCode.MESSAGE_TOO_LARGE,
            ),
        ],
    )
    def test_a_message_that_makes_no_sense_is_passed_over(
        self, client: Client, channel: str, message: Message, code: ErrorCode
    ) -> None:
        client.tell(getattr(client, channel), message)
        assert_error(client.heard(getattr(client, channel)), code)
        assert client.ask(b"*OPC?") == b"1\n"

    def test_an_error_from_the_client_is_no_reason_to_answer(self, client: Client) -> None:
        client.tell(client.sync, Message(MessageType.ERROR, 1, 0, b"what was that?"))
        assert client.heard(client.sync) == []

    @pytest.mark.parametrize("channel", ["sync", "asyn"])
    def test_a_header_that_is_none_ends_both_channels(self, client: Client, channel: str) -> None:
        getattr(client, channel).receive(b"HT" + bytes(14))
        assert_fatal(getattr(client, channel), FatalErrorCode.POORLY_FORMED_HEADER)
        assert client.sync.is_over
        assert client.asyn.is_over

    @pytest.mark.parametrize("which", ["sync", "asyn"])
    def test_a_client_that_closes_one_channel_is_gone_with_both(self, client: Client, which: str) -> None:
        getattr(client, which).close()
        assert client.sync.is_over
        assert client.asyn.is_over

    def test_a_client_that_gives_up_is_let_go_without_a_word(self, client: Client) -> None:
        client.tell(client.asyn, Message(MessageType.FATAL_ERROR, 0, 0, b"bye"))
        assert client.heard(client.asyn) == []
        assert client.sync.is_over

    def test_nothing_is_taken_from_a_connection_that_is_over(self, client: Client, bench: Bench) -> None:
        client.sync.receive(b"??" + Message(MessageType.DATA_END, 0, 2, b"VOLT 5").encode())
        client.write(b"VOLT 6")
        assert bench.voltage_v == 0.0


ANYTHING = st.lists(
    st.one_of(
        st.binary(max_size=40),
        st.builds(
            lambda *fields: Message(*fields).encode(),
            st.integers(0, 30),
            st.integers(0, 2),
            st.integers(0, 2**32 - 1),
            st.sampled_from([b"", b"*IDN?", b"*OPC?\n*ID", b"hislip0", bytes(8), b"\xff" * 8]),
        ),
    ),
    max_size=8,
)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(ANYTHING, ANYTHING)
def test_whatever_a_client_sends_others_are_served(on_sync: list[bytes], on_asyn: list[bytes]) -> None:
    """No bytes make the port fall over, and none of what they left behind outlives their client."""
    endpoint = endpoint_of(Device(Identity("Harbour", "HB-1"), CommandTree()))
    wild = Client(endpoint)
    for first, second in zip(on_sync + [b""] * 8, on_asyn + [b""] * 8, strict=False):
        wild.sync.receive(first)
        wild.asyn.receive(second)
        wild.asyn.resume()
    wild.sync.close()
    assert Client(endpoint).ask(b"*OPC?") == b"1\n"
