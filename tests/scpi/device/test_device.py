"""A device answers each message once, keeps going after errors, and never raises whatever bytes come."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.scpi.device.device import Device, Hooks, Identity
from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.device.parameters import Numeric
from benchctl.scpi.errors import ScpiError

if TYPE_CHECKING:
    from conftest import Bench


class TestResponses:
    """One response message for one program message (IEEE 488.2 chapter 8)."""

    def test_answers_are_joined_and_ended(self, bench: Bench) -> None:
        assert bench.device.begin(b"INST:NSEL 2;:VOLT 1.5;:INST:NSEL?;:VOLT?").response == b"2;1.50000000E+00\n"

    def test_a_message_that_asks_nothing_has_none(self, bench: Bench) -> None:
        for message in (b"", b"\n", b"  \r\n", b"VOLT 1", b"FOO?", b"VOLT?x"):
            assert bench.device.begin(message).response is None

    def test_values_are_written_by_their_type(self, bench: Bench) -> None:
        """bool as 0 or 1, int in NR1, float in NR3, bytes as a block, a sequence with commas; nan and inf as 7.2.1."""
        assert bench.ask("OUTP2?") == "1"
        assert bench.ask("INST:NSEL?") == "1"
        assert bench.ask("TRAC:DATA?") == "#13a\nb"[:3] + "a\nb"
        assert bench.ask("FETC?") == "1.50000000E+00,9.91E37,9.9E37,3"
        assert bench.ask("ROUT:CLOS? (@101:103)") == "1,1,1"

    def test_a_block_may_go_without_a_newline_behind_it(self) -> None:
        """Instruments differ; a client must cope with both."""
        for newline, response in ((True, b"#12ab\n"), (False, b"#12ab")):
            tree = CommandTree()
            tree.add("CURVe", query=lambda _: b"ab")
            device = Device(Identity("Harbour", "HB-2"), tree, newline_after_block=newline)
            assert device.begin(b"CURV?\n").response == response
            assert device.begin(b"CURV?;*OPC?\n").response == b"#12ab;1\n"

    def test_a_message_sent_again_is_run_again(self, bench: Bench) -> None:
        """What is kept of a message is how it reads, never what it did."""
        for _ in range(3):
            bench.tell("VOLT MAX")
            assert bench.voltage_v == 20.0
            bench.tell("VOLT 1")
            bench.ceiling_v = 20.0
        bench.tell("VOLT 99")
        bench.tell("VOLT 99")
        assert bench.errors() == [-222, -222]


class TestErrors:
    """A command error ends its message; an execution error ends its unit."""

    @pytest.mark.parametrize(
        ("message", "code"),
        [("ABCDEFGHIJKL", -113), ("ABCDEFGHIJKLM", -112), ("*IDN:X?", -110), ("SYST::ERR?", -110), ("1VOLT", -110),
         ("VOLT5.0", -111), ("VOLT ?", -102), ("\xe9", -101), ("VOLT 1;", -102), (":*IDN?", -110)],
    )  # fmt: skip
    def test_a_wrong_header_has_its_own_error(self, bench: Bench, message: str, code: int) -> None:
        bench.tell(message)
        assert bench.errors() == [code]

    def test_white_space_may_stand_around_semicolons(self, bench: Bench) -> None:
        assert bench.ask(" *OPC? ; *OPC?\t;\t*OPC? ") == "1;1;1"

    def test_a_value_that_can_never_be_right_is_an_execution_error(self, bench: Bench) -> None:
        assert bench.ask("FUNC FOO;*OPC?") == "1"
        assert bench.errors() == [-224]

    def test_what_stands_before_a_command_error_is_done_and_answered(self, bench: Bench) -> None:
        assert bench.ask("VOLT 5;VOLT?;FOO 1;:VOLT 6") == "5.00000000E+00"
        assert bench.voltage_v == 5.0
        assert bench.errors() == [-113]

    def test_an_execution_error_leaves_the_rest_of_the_message(self, bench: Bench) -> None:
        assert bench.ask("VOLT 99;VOLT?") == "0.00000000E+00"
        assert bench.errors() == [-222]

    def test_a_handler_may_refuse(self, bench: Bench) -> None:
        def refuse(_: object) -> int:
            raise ScpiError(-221, "relay is live")

        tree = CommandTree()
        tree.add("RELay", query=refuse)
        device = Device(Identity("Harbour", "HB-2"), tree)
        assert device.begin(b"REL?;*OPC?").response == b"1\n"
        assert device.errors.pop().text == "Settings conflict;relay is live"
        assert device.status.event & 0x10

    def test_a_query_behind_an_indefinite_response_is_refused(self, bench: Bench) -> None:
        """IEEE 488.2 6.5.7.5."""
        assert bench.ask("*IDN?;VOLT?") == "Harbour,HB-1,7,1.0"
        assert bench.errors() == [-440]
        assert bench.ask("VOLT?;*IDN?") == "0.00000000E+00;Harbour,HB-1,7,1.0"
        assert bench.errors() == []

    def test_the_queue_overflows_as_it_should(self, bench: Bench) -> None:
        for _ in range(50):
            bench.tell("FOO")
        assert bench.errors() == [-113] * 4 + [-350]


class TestOverlappedOperations:
    """*OPC, *OPC? and *WAI follow the operation that the instrument says is pending (IEEE 488.2 12.5)."""

    def test_opc_sets_its_bit_only_when_the_operation_has_ended(self, bench: Bench) -> None:
        bench.ask("*ESR?")
        bench.tell("INIT;*OPC")
        assert bench.ask("*ESR?") == "0"
        bench.is_acquiring = False
        assert bench.ask("*ESR?") == "1"
        assert bench.ask("*ESR?") == "0", "once for each *OPC"

    def test_an_operation_that_ends_within_a_message_shows_in_it(self, bench: Bench) -> None:
        bench.ask("*ESR?")
        assert bench.ask("INIT;*OPC;*ESR?;*RST;*OPC;*ESR?") == "0;1"

    def test_opc_query_holds_its_message_back_until_the_operation_has_ended(self, bench: Bench) -> None:
        held = bench.device.begin(b"VOLT 3;VOLT?;:INIT;*OPC?;:VOLT 4;VOLT?\n")
        assert not held.is_finished
        assert not held.resume(), "asking again does not hurry it"
        assert bench.voltage_v == 3.0
        bench.is_acquiring = False
        assert held.resume()
        assert held.response == b"3.00000000E+00;1;4.00000000E+00\n"

    def test_wai_holds_back_what_follows_it(self, bench: Bench) -> None:
        held = bench.device.begin(b"INIT;*WAI;:VOLT 4")
        assert bench.voltage_v == 0.0
        bench.is_acquiring = False
        held.resume()
        assert bench.voltage_v == 4.0
        assert held.response is None

    def test_commands_that_do_not_wait_run_meanwhile(self, bench: Bench) -> None:
        bench.tell("INIT")
        assert bench.ask("VOLT 2;VOLT?") == "2.00000000E+00"

    @pytest.mark.parametrize("command", ["*CLS", "*RST"])
    def test_clear_and_reset_give_up_a_waiting_opc(self, bench: Bench, command: str) -> None:
        """IEEE 488.2 10.18: both bring the device to the operation complete idle state."""
        bench.tell("INIT;*OPC")
        bench.tell(command)
        bench.is_acquiring = False
        assert int(bench.ask("*ESR?")) & 1 == 0


class TestCommonCommands:
    """What the table of rules cannot know of an instrument."""

    def test_reset_calls_the_instrument(self, bench: Bench) -> None:
        bench.tell("VOLT 5;*RST")
        assert bench.voltage_v == 0.0

    def test_save_and_recall_name_a_memory(self, bench: Bench) -> None:
        bench.tell("VOLT 5;*SAV 3;:VOLT 6;*RCL 3")
        assert bench.voltage_v == 5.0
        bench.tell("*SAV 10")
        assert bench.errors() == [-222]

    def test_an_instrument_without_memories_or_trigger_has_no_such_commands(self) -> None:
        device = Device(Identity("Harbour", "HB-2"), CommandTree())
        for message in (b"*SAV 1", b"*RCL 1", b"*TRG"):
            device.begin(message)
            assert device.errors.pop().code == -113

    def test_saving_without_recalling_is_no_use_and_not_offered(self) -> None:
        device = Device(Identity("Harbour", "HB-2"), CommandTree(), Hooks(save=lambda _: None))
        device.begin(b"*SAV 1")
        assert device.errors.pop().code == -113

    def test_trigger_calls_the_instrument(self, bench: Bench) -> None:
        bench.tell("*TRG")
        assert bench.calls[-1][0] == "trigger"

    def test_a_failed_self_test_says_so(self) -> None:
        device = Device(Identity("Harbour", "HB-2"), CommandTree(), Hooks(self_test=lambda: 4))
        assert device.begin(b"*TST?").response == b"4\n"

    def test_the_instrument_catches_up_before_each_message(self) -> None:
        ticks: list[int] = []
        device = Device(Identity("Harbour", "HB-2"), CommandTree(), Hooks(refresh=lambda: ticks.append(1)))
        device.begin(b"*OPC?")
        device.begin(b"*OPC?")
        assert len(ticks) == 2

    def test_conditions_of_the_instrument_reach_the_status_byte(self, bench: Bench) -> None:
        bench.tell("STAT:QUES:ENAB 1;*SRE 8")
        bench.device.status.questionable.mark(1, True)
        assert bench.ask("*STB?") == "72"
        assert bench.ask("STAT:QUES:COND?;EVEN?") == "1;1"
        assert bench.ask("*STB?") == "0"

    @pytest.mark.parametrize("field", ["", "a,b", "a;b", "a\nb", "\xe9"])
    def test_an_identity_cannot_break_its_own_response(self, field: str) -> None:
        with pytest.raises(ValueError, match="IDN"):
            Identity(field, "HB-2")


@settings(derandomize=True, max_examples=500, deadline=None)
@given(st.binary(max_size=80))
def test_no_bytes_raise(message: bytes) -> None:
    """A device with errors waiting still answers."""
    tree = CommandTree()
    tree.add("VOLTage", set=lambda _: None, query=lambda _: 1.0, parameters=[Numeric("V", 0, 20)])
    device = Device(Identity("Harbour", "HB-2"), tree)
    device.begin(message)
    assert device.begin(b"*OPC?").response == b"1\n"


LONG_MESSAGES = {
    "nodes": b"A:" * 100_000,
    "units": b"*OPC;" * 50_000,
    "digits": b"VOLT " + b"9" * 1_000_000,
    "foreign bytes": b"\xff" * 100_000,
    "parameters": b"VOLT " + b"1," * 100_000,
    "quotes": b'DISP:TEXT "' + b'""' * 100_000,
}


@pytest.mark.parametrize("message", LONG_MESSAGES.values(), ids=LONG_MESSAGES.keys())
def test_no_length_raises(bench: Bench, message: bytes) -> None:
    bench.device.begin(message)
    assert bench.ask("*OPC?") == "1"
