"""The status registers of IEEE 488.2 (chapter 11) and SCPI-99 (volume 1, chapter 9; volume 2, chapter 20)."""

from __future__ import annotations

from enum import IntEnum

_FIFTEEN_BITS = 0x7FFF  # bit 15 is always 0, so that a register fits a signed integer (SCPI-99 20)
_CLASSES = {1: 0x20, 2: 0x10, 3: 0x08, 4: 0x04, 5: 0x80, 6: 0x40, 7: 0x02, 8: 0x01}


class StandardEvent(IntEnum):
    """Bits of the standard event status register (IEEE 488.2 11.5.1)."""

    OPERATION_COMPLETE = 0x01
    REQUEST_CONTROL = 0x02
    QUERY_ERROR = 0x04
    DEVICE_ERROR = 0x08
    EXECUTION_ERROR = 0x10
    COMMAND_ERROR = 0x20
    USER_REQUEST = 0x40
    POWER_ON = 0x80


class StatusByte(IntEnum):
    """Bits of the status byte (IEEE 488.2 11.2, SCPI-99 20)."""

    ERROR_QUEUE = 0x04
    QUESTIONABLE = 0x08
    MESSAGE_AVAILABLE = 0x10
    EVENT_SUMMARY = 0x20
    MASTER_SUMMARY = 0x40
    OPERATION = 0x80


class Operation(IntEnum):
    """Bits of the OPERation group (SCPI-99 20.1)."""

    CALIBRATING = 0x01
    SETTLING = 0x02
    RANGING = 0x04
    SWEEPING = 0x08
    MEASURING = 0x10
    WAITING_FOR_TRIGGER = 0x20
    WAITING_FOR_ARM = 0x40
    CORRECTING = 0x80


class Questionable(IntEnum):
    """Bits of the QUEStionable group (SCPI-99 20.3)."""

    VOLTAGE = 0x01
    CURRENT = 0x02
    TIME = 0x04
    POWER = 0x08
    TEMPERATURE = 0x10
    FREQUENCY = 0x20
    PHASE = 0x40
    MODULATION = 0x80
    CALIBRATION = 0x100


def event_bit(code: int) -> int:
    """The standard event bit that an error of this number sets (SCPI-99 21.8; IEEE 488.2 11.5.1)."""
    if code >= 0:
        return StandardEvent.DEVICE_ERROR if code else 0
    return _CLASSES.get(-code // 100, 0)


class RegisterGroup:
    """Condition, transition filters, event and enable of one SCPI group."""

    def __init__(self) -> None:
        self._condition = 0
        self.event = 0
        self.preset()

    def preset(self) -> None:
        """What STATus:PRESet does: nothing enabled, every rise of a condition is an event."""
        self._enable = 0
        self._rise = _FIFTEEN_BITS
        self._fall = 0

    @property
    def condition(self) -> int:
        """The present conditions; setting them latches events through the transition filters."""
        return self._condition

    @condition.setter
    def condition(self, bits: int) -> None:
        bits &= _FIFTEEN_BITS
        self.event |= (bits & ~self._condition & self._rise) | (self._condition & ~bits & self._fall)
        self._condition = bits

    def mark(self, bit: int, present: bool) -> None:
        """Set or clear one condition."""
        self.condition = self._condition | bit if present else self._condition & ~bit

    @property
    def enable(self) -> int:
        """Which events show in the status byte."""
        return self._enable

    @enable.setter
    def enable(self, bits: int) -> None:
        self._enable = bits & _FIFTEEN_BITS

    @property
    def positive_transition(self) -> int:
        """Which conditions make an event when they come."""
        return self._rise

    @positive_transition.setter
    def positive_transition(self, bits: int) -> None:
        self._rise = bits & _FIFTEEN_BITS

    @property
    def negative_transition(self) -> int:
        """Which conditions make an event when they go."""
        return self._fall

    @negative_transition.setter
    def negative_transition(self, bits: int) -> None:
        self._fall = bits & _FIFTEEN_BITS

    def take_event(self) -> int:
        """Read the events, which clears them."""
        event, self.event = self.event, 0
        return event

    @property
    def summary(self) -> bool:
        """Whether an enabled event is set."""
        return bool(self.event & self._enable)


class Status:
    """All status registers of one instrument."""

    def __init__(self) -> None:
        self.operation = RegisterGroup()
        self.questionable = RegisterGroup()
        self.event = int(StandardEvent.POWER_ON)
        self.event_enable = 0
        self._service_enable = 0

    @property
    def service_enable(self) -> int:
        """Which bits of the status byte ask for service; bit 6 cannot (IEEE 488.2 11.3.2)."""
        return self._service_enable

    @service_enable.setter
    def service_enable(self, bits: int) -> None:
        self._service_enable = bits & 0xFF & ~StatusByte.MASTER_SUMMARY

    def take_event(self) -> int:
        """Read the standard events, which clears them."""
        event, self.event = self.event, 0
        return event

    def power_on(self) -> None:
        """As after power on: nothing enabled, and one event, power on (IEEE 488.2 11.5.1)."""
        self.clear_events()
        self.operation.preset()
        self.questionable.preset()
        self.event_enable = self._service_enable = 0
        self.event = int(StandardEvent.POWER_ON)

    def clear_events(self) -> None:
        """What *CLS does to registers: clears events; conditions and enables stay (IEEE 488.2 10.3)."""
        self.event = self.operation.event = self.questionable.event = 0

    def byte(self, *, has_errors: bool, has_message: bool) -> int:
        """The status byte, with the master summary in bit 6."""
        bits = 0
        bits |= StatusByte.ERROR_QUEUE if has_errors else 0
        bits |= StatusByte.QUESTIONABLE if self.questionable.summary else 0
        bits |= StatusByte.MESSAGE_AVAILABLE if has_message else 0
        bits |= StatusByte.EVENT_SUMMARY if self.event & self.event_enable else 0
        bits |= StatusByte.OPERATION if self.operation.summary else 0
        bits |= StatusByte.MASTER_SUMMARY if bits & self._service_enable else 0
        return int(bits)
