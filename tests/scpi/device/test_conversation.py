"""Each client has its own input and output; all of them share one instrument."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from benchctl.scpi.device.conversation import Conversation

if TYPE_CHECKING:
    from conftest import Bench


class TestRawSocket:
    """A link on which every reply leaves as soon as it is made."""

    def test_several_messages_in_one_piece_are_answered_in_order(self, bench: Bench) -> None:
        link = Conversation(bench.device)
        link.receive(b"VOLT 1\nVOLT?\nVOLT 2\r\nVOLT?\n*OP")
        assert link.collect() == b"1.00000000E+00\n2.00000000E+00\n"
        link.receive(b"C?\n")
        assert link.collect() == b"1\n"

    def test_the_message_available_bit_does_not_depend_on_how_messages_were_cut(self, bench: Bench) -> None:
        link = Conversation(bench.device)
        link.receive(b"*CLS\n*OPC?\n*STB?\n")
        assert link.collect() == b"1\n0\n"

    def test_a_message_that_is_too_long_is_reported_and_the_next_one_runs(self, bench: Bench) -> None:
        link = Conversation(bench.device, input_bound=100)
        link.receive(b"VOLT " + b"1" * 200 + b"\n*OPC?\n")
        assert link.collect() == b"1\n"
        assert bench.errors() == [-363]

    def test_output_that_nobody_collects_stops_the_device_and_then_breaks_the_deadlock(self, bench: Bench) -> None:
        """IEEE 488.2 6.3.1.7: with both buffers full the response is given up, and -430 says so."""
        link = Conversation(bench.device, input_bound=50, output_bound=20)
        while not bench.device.errors:
            link.receive(b"*OPC?\n")
        assert bench.errors() == [-430]
        assert len(link.collect()) <= 20 + len(b"1\n")
        link.receive(b"*OPC?\n")
        assert link.collect().endswith(b"1\n")

    def test_messages_wait_while_the_output_is_full_and_run_once_it_is_collected(self, bench: Bench) -> None:
        link = Conversation(bench.device, output_bound=3)
        link.receive(b"*OPC?\n*OPC?\nVOLT 7\n")
        assert bench.voltage_v == 0.0
        assert link.collect() == b"1\n1\n"
        assert bench.voltage_v == 7.0

    def test_one_reply_of_any_length_fits(self, bench: Bench) -> None:
        link = Conversation(bench.device, output_bound=3)
        link.receive(b"*IDN?\n")
        assert link.collect() == b"Harbour,HB-1,7,1.0\n"


class TestSeveralClients:
    """Shared settings, status and errors; own buffers."""

    def test_settings_and_errors_are_shared_and_replies_are_not(self, bench: Bench) -> None:
        one, other = Conversation(bench.device), Conversation(bench.device)
        one.receive(b"VOLT 3\nFOO\nVOLT?\n")
        other.receive(b"VOLT?\nSYST:ERR?\n")
        assert other.collect() == b'3.00000000E+00\n-113,"Undefined header;FOO"\n'
        assert one.collect() == b"3.00000000E+00\n"

    def test_half_messages_do_not_mix(self, bench: Bench) -> None:
        one, other = Conversation(bench.device), Conversation(bench.device)
        one.receive(b"VOLT ")
        other.receive(b"VOLT 4\n")
        one.receive(b"5\n")
        assert bench.voltage_v == 5.0
        assert bench.errors() == []

    def test_a_client_that_waits_does_not_hold_up_the_others(self, bench: Bench) -> None:
        one, other = Conversation(bench.device), Conversation(bench.device)
        one.receive(b"INIT\n*OPC?\nVOLT 9\n")
        assert one.is_waiting
        assert one.collect() == b""
        other.receive(b"VOLT 2;VOLT?\n")
        assert other.collect() == b"2.00000000E+00\n"
        assert not one.resume()
        bench.is_acquiring = False
        assert one.resume()
        assert one.collect() == b"1\n"
        assert bench.voltage_v == 9.0

    def test_a_poll_sees_that_an_operation_has_ended(self, bench: Bench) -> None:
        """No message has to be sent for it."""
        link = Conversation(bench.device)
        link.receive(b"*CLS;*ESE 1;:INIT;*OPC\n")
        assert bench.device.status_byte(has_message=link.has_output) == 0
        bench.is_acquiring = False
        assert bench.device.status_byte(has_message=link.has_output) == 0x20

    def test_reset_by_another_client_frees_one_that_waits(self, bench: Bench) -> None:
        one, other = Conversation(bench.device), Conversation(bench.device)
        one.receive(b"INIT;*OPC?\n")
        other.receive(b"*RST\n")
        assert one.resume()
        assert one.collect() == b"1\n"

    def test_a_waiting_client_cannot_fill_the_memory(self, bench: Bench) -> None:
        link = Conversation(bench.device, input_bound=100)
        link.receive(b"INIT;*OPC?\n")
        while link.wants_input:
            link.receive(b"VOLT 1\n")
        link.receive(b"VOLT 2\n")
        assert bench.errors() == [-363]
        assert link.wants_input

    def test_the_tail_of_a_message_that_was_lost_is_not_taken_for_a_command(self, bench: Bench) -> None:
        link = Conversation(bench.device, input_bound=100)
        link.receive(b"INIT;*OPC?\n")
        link.receive(b"x" * 101)
        link.receive(b"VOLT 9\nVOLT 2\n")
        bench.is_acquiring = False
        link.resume()
        assert bench.voltage_v == 2.0
        assert bench.errors() == [-363]


class TestMessageExchange:
    """A link on which a reply waits for its client (IEEE 488.2 6.3.2)."""

    @pytest.fixture
    def link(self, bench: Bench) -> Conversation:
        return Conversation(bench.device, interruptible=True)

    def test_a_reply_waits_until_it_is_collected(self, bench: Bench, link: Conversation) -> None:
        link.receive(b"*OPC?", end=True)
        assert link.has_output
        assert link.collect() == b"1\n"
        assert bench.errors() == []

    def test_a_new_message_interrupts_a_reply_that_was_not_fetched(self, bench: Bench, link: Conversation) -> None:
        link.receive(b"*IDN?\n")
        link.receive(b"VOLT?\n")
        assert bench.errors() == [-410]
        assert link.collect() == b"0.00000000E+00\n"

    def test_a_second_message_in_the_same_piece_interrupts_too(self, bench: Bench, link: Conversation) -> None:
        link.receive(b"*IDN?\nVOLT?\n")
        assert link.collect() == b"0.00000000E+00\n"
        assert bench.errors() == [-410]

    def test_query_errors_set_their_bit(self, bench: Bench, link: Conversation) -> None:
        bench.ask("*ESR?")
        link.receive(b"*IDN?\nVOLT?\n")
        assert bench.ask("*ESR?") == "4"

    def test_the_message_available_bit_is_the_clients_own(self, bench: Bench, link: Conversation) -> None:
        other = Conversation(bench.device)
        link.receive(b"*CLS;*OPC?\n")
        assert bench.device.status_byte(has_message=link.has_output) == 0x10
        assert bench.device.status_byte(has_message=other.has_output) == 0
        link.collect()
        assert bench.device.status_byte(has_message=link.has_output) == 0


def test_device_clear_forgets_what_waits_and_keeps_the_settings(bench: Bench) -> None:
    """IEEE 488.2 5.8: buffers and a pending *OPC go; settings, errors and status stay."""
    link = Conversation(bench.device)
    link.receive(b"VOLT 3;FOO\n*IDN?\nINIT;*OPC?;:VOLT 9\nVOLT 8\nVOL")
    link.clear()
    bench.is_acquiring = False
    assert link.resume()
    assert link.collect() == b""
    link.receive(b"VOLT?\n")
    assert link.collect() == b"3.00000000E+00\n"
    assert bench.errors() == [-113]
