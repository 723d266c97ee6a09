"""Clients of a HiSLIP port, without sockets: what each message of IVI-6.1 does in synchronized mode."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.scpi.conversation import Conversation
from benchctl.scpi.device import Device, Identity
from benchctl.scpi.headers import CommandTree
from benchctl.scpi.hislip import FIRST_MESSAGE_ID, ErrorCode, FatalErrorCode, FrameReader, Message, MessageType
from benchctl.scpi.hislip_endpoint import LONGEST_NAME, MOST_CLIENTS, HislipChannel, HislipEndpoint
from benchctl.scpi.hislip_locks import LockAnswer
from benchctl.scpi.hislip_session import LARGEST_PAYLOAD

if TYPE_CHECKING:
    from conftest import Bench

MAV, RQS = 0x10, 0x40
EXCLUSIVE = b""


@dataclass
class Clock:
    """Real time, as the test wants it."""

    now_s: float = 0.0

    def __call__(self) -> float:
        return self.now_s


@dataclass
class Client:
    """A client that counts its MessageIDs and says what it has read, as IVI-6.1 asks."""

    endpoint: HislipEndpoint
    name: bytes = b"hislip0"
    message_id: int = FIRST_MESSAGE_ID
    rmt: int = 0
    number: int = 0
    sync: HislipChannel = field(init=False)
    asyn: HislipChannel = field(init=False)

    def __post_init__(self) -> None:
        self.sync = self.endpoint.open()
        self.asyn = self.endpoint.open()
        self.tell(self.sync, Message(MessageType.INITIALIZE, 0, 0x01007878, self.name))
        (welcome,) = self.heard(self.sync)
        self.number = welcome.parameter & 0xFFFF
        self.tell(self.asyn, Message(MessageType.ASYNC_INITIALIZE, 0, self.number))
        self.heard(self.asyn)

    def tell(self, channel: HislipChannel, message: Message) -> None:
        channel.receive(message.encode())

    def heard(self, channel: HislipChannel) -> list[Message]:
        """What has arrived on a channel since."""
        reader = FrameReader(1 << 24)
        reader.feed(channel.collect())
        messages = []
        while (message := reader.next_message()) is not None:
            messages.append(message)
        assert len(reader) == 0
        return messages

    def write(self, program: bytes, kind: MessageType = MessageType.DATA_END) -> int:
        """Send a program message or a piece of one; the MessageID it had."""
        sent = self.message_id
        self.tell(self.sync, Message(kind, self.rmt, sent, program))
        self.rmt, self.message_id = 0, sent + 2
        return sent

    def read(self) -> bytes:
        """The response, of which every message must answer the last one sent."""
        messages = self.heard(self.sync)
        assert [message.kind for message in messages[:-1]] == [MessageType.DATA] * (len(messages) - 1)
        assert messages[-1].kind == MessageType.DATA_END
        assert {message.parameter for message in messages} == {self.message_id - 2}
        self.rmt = 1
        return b"".join(message.payload for message in messages)

    def ask(self, program: bytes) -> bytes:
        self.write(program)
        return self.read()

    def request(self, kind: MessageType, control: int = 0, parameter: int = 0, payload: bytes = b"") -> Message:
        """A transaction of the asynchronous channel."""
        self.tell(self.asyn, Message(kind, control, parameter, payload))
        (answer,) = self.heard(self.asyn)
        return answer

    def poll(self, message_id: int | None = None) -> int:
        """The status byte."""
        last = self.message_id - 2 if message_id is None else message_id
        answer = self.request(MessageType.ASYNC_STATUS_QUERY, self.rmt, last)
        self.rmt = 0
        assert answer.kind == MessageType.ASYNC_STATUS_RESPONSE
        return answer.control

    def lock(self, name: bytes = EXCLUSIVE, wait_ms: int = 0) -> int:
        answer = self.request(MessageType.ASYNC_LOCK, 1, wait_ms, name)
        assert answer.kind == MessageType.ASYNC_LOCK_RESPONSE
        return answer.control

    def unlock(self) -> int:
        return self.request(MessageType.ASYNC_LOCK, 0, self.message_id - 2).control


def endpoint_of(clock: Clock, *devices: Device) -> HislipEndpoint:
    """A port with these instruments: hislip0, hislip1, ..."""

    def converse(device: Device) -> Callable[[], Conversation]:
        return lambda: Conversation(device, interruptible=True)

    return HislipEndpoint({f"hislip{n}": converse(device) for n, device in enumerate(devices)}, clock)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def endpoint(bench: Bench, clock: Clock) -> HislipEndpoint:
    bench.device.status.take_event()  # power on
    return endpoint_of(clock, bench.device)


@pytest.fixture
def client(endpoint: HislipEndpoint) -> Client:
    return Client(endpoint)


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
        endpoint = endpoint_of(Clock(), bench.device, other.device)
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


def assert_fatal(channel: HislipChannel, code: FatalErrorCode) -> None:
    """The channel says why, in words as well, and ends."""
    reader = FrameReader(LONGEST_NAME)
    reader.feed(channel.collect())
    message = reader.next_message()
    assert message is not None
    assert (message.kind, message.control) == (MessageType.FATAL_ERROR, code)
    assert message.payload
    assert channel.is_over


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

    def test_trigger_does_what_trg_does(self, client: Client, bench: Bench) -> None:
        client.tell(client.sync, Message(MessageType.TRIGGER, 0, client.message_id))
        assert [name for name, _ in bench.calls] == ["trigger"]

    def test_trigger_within_a_message_is_not_allowed(self, client: Client, bench: Bench) -> None:
        """SCPI-99 21.8.9: -105."""
        client.write(b"VOLT ", MessageType.DATA)
        client.tell(client.sync, Message(MessageType.TRIGGER, 0, client.message_id))
        client.write(b"3")
        assert (bench.errors(), bench.calls, bench.voltage_v) == ([-105], [], 3.0)


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


def clear(client: Client) -> None:
    """A whole device clear."""
    assert client.request(MessageType.ASYNC_DEVICE_CLEAR).kind == MessageType.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE
    client.tell(client.sync, Message(MessageType.DEVICE_CLEAR_COMPLETE))
    assert client.heard(client.sync)[-1].kind == MessageType.DEVICE_CLEAR_ACKNOWLEDGE


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


class TestWrongMessages:
    """6.4: what is passed over with an Error, and what ends the client."""

    @pytest.mark.parametrize("control", range(7))
    def test_every_request_for_remote_or_local_is_met(self, client: Client, control: int) -> None:
        answer = client.request(MessageType.ASYNC_REMOTE_LOCAL_CONTROL, control)
        assert answer == Message(MessageType.ASYNC_REMOTE_LOCAL_RESPONSE)

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
            ("asyn", Message(MessageType.ASYNC_LOCK, 2), ErrorCode.UNRECOGNIZED_CONTROL_CODE),
            ("asyn", Message(MessageType.ASYNC_REMOTE_LOCAL_CONTROL, 7), ErrorCode.UNRECOGNIZED_CONTROL_CODE),
            ("asyn", Message(MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE, payload=b"1"), ErrorCode.UNIDENTIFIED),
            ("asyn", Message(MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE, payload=bytes(8)), ErrorCode.UNIDENTIFIED),
            ("asyn", Message(MessageType.ASYNC_LOCK, 1, 0, bytes(LONGEST_NAME + 1)), ErrorCode.MESSAGE_TOO_LARGE),
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

    def test_a_client_that_gives_up_is_let_go_without_a_word(self, client: Client) -> None:
        client.tell(client.asyn, Message(MessageType.FATAL_ERROR, 0, 0, b"bye"))
        assert client.heard(client.asyn) == []
        assert client.sync.is_over

    def test_nothing_is_taken_from_a_connection_that_is_over(self, client: Client, bench: Bench) -> None:
        client.sync.receive(b"??" + Message(MessageType.DATA_END, 0, 2, b"VOLT 5").encode())
        client.write(b"VOLT 6")
        assert bench.voltage_v == 0.0


def assert_error(messages: list[Message], code: ErrorCode) -> None:
    """One Error, with words."""
    (message,) = messages
    assert (message.kind, message.control) == (MessageType.ERROR, code)
    assert message.payload


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
    endpoint = endpoint_of(Clock(), Device(Identity("Harbour", "HB-1"), CommandTree()))
    wild = Client(endpoint)
    for first, second in zip(on_sync + [b""] * 8, on_asyn + [b""] * 8, strict=False):
        wild.sync.receive(first)
        wild.asyn.receive(second)
        wild.asyn.resume()
    wild.sync.close()
    assert Client(endpoint).ask(b"*OPC?") == b"1\n"
