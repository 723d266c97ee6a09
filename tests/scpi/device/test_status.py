"""Registers latch, enable and summarise as IEEE 488.2 chapter 11 and SCPI-99 chapter 20 say."""

from __future__ import annotations

import pytest

from benchctl.scpi.device.status import Operation, RegisterGroup, Status, StatusByte


def test_a_condition_that_comes_makes_an_event_that_stays() -> None:
    group = RegisterGroup()
    group.mark(Operation.MEASURING, True)
    group.mark(Operation.MEASURING, False)
    assert group.condition == 0
    assert group.take_event() == Operation.MEASURING
    assert group.take_event() == 0, "reading clears"


def test_a_condition_that_stays_makes_no_second_event() -> None:
    group = RegisterGroup()
    group.mark(Operation.SETTLING, True)
    group.take_event()
    group.mark(Operation.SETTLING, True)
    assert group.event == 0


def test_the_filters_choose_between_coming_and_going() -> None:
    group = RegisterGroup()
    group.positive_transition, group.negative_transition = 0, Operation.SWEEPING
    group.mark(Operation.SWEEPING, True)
    assert group.event == 0
    group.mark(Operation.SWEEPING, False)
    assert group.event == Operation.SWEEPING


def test_only_enabled_events_show_in_the_summary() -> None:
    group = RegisterGroup()
    group.condition = 0b11
    assert not group.summary
    group.enable = 0b10
    assert group.summary


def test_bit_15_is_always_0() -> None:
    """SCPI-99 20: so that a register fits a signed 16-bit integer."""
    group = RegisterGroup()
    group.condition = group.enable = group.positive_transition = group.negative_transition = 0xFFFF
    registers = (group.condition, group.enable, group.positive_transition, group.negative_transition, group.event)
    assert registers == (0x7FFF,) * 5


def test_preset_keeps_conditions_and_events() -> None:
    group = RegisterGroup()
    group.condition, group.enable = 5, 5
    group.preset()
    assert (group.condition, group.event, group.enable) == (5, 5, 0)


@pytest.mark.parametrize("bit", [StatusByte.ERROR_QUEUE, StatusByte.MESSAGE_AVAILABLE])
def test_each_bit_of_the_status_byte_asks_for_service_only_where_enabled(bit: int) -> None:
    status = Status()
    parts = {"has_errors": bit == StatusByte.ERROR_QUEUE, "has_message": bit == StatusByte.MESSAGE_AVAILABLE}
    assert status.byte(**parts) == bit
    status.service_enable = bit
    assert status.byte(**parts) == bit | StatusByte.MASTER_SUMMARY


def test_groups_show_in_bits_3_and_7_and_events_in_bit_5() -> None:
    status = Status()
    status.event, status.event_enable = 0x10, 0x10
    for group in (status.operation, status.questionable):
        group.enable = group.condition = 1
    assert status.byte(has_errors=False, has_message=False) == 0x80 | 0x20 | 0x08


def test_nothing_asks_for_service_at_first() -> None:
    status = Status()
    assert (status.event_enable, status.service_enable) == (0, 0)
    assert status.byte(has_errors=True, has_message=True) & StatusByte.MASTER_SUMMARY == 0


def test_a_device_says_that_it_was_switched_on() -> None:
    """IEEE 488.2 11.5.1.1.2: bit 7 of the standard event register."""
    assert Status().take_event() == 0x80
