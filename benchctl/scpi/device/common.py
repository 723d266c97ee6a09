"""The commands every instrument has: IEEE 488.2 chapter 10 and the required ones of SCPI-99 (volume 1, 4.1 and 4.2)."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from benchctl.scpi.device.answers import Answer, quoted
from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Numeric, NumericList
from benchctl.scpi.device.status import RegisterGroup
from benchctl.scpi.errors import ERROR_NUMBERS, ErrorEntry, ErrorQueue
from benchctl.scpi.number_list import NumberList

if TYPE_CHECKING:
    from benchctl.scpi.device.device import Device

SCPI_VERSION = "1999.0"  # SYSTem:VERSion?: year and revision of the standard (SCPI-99 volume 2, 21.21)


def add_common_commands(tree: CommandTree, device: Device) -> None:
    """Add all of them for `device`. They replace nothing, so an instrument must not define them itself."""
    _add_identification(tree, device)
    _add_status(tree, device)
    _add_synchronisation(tree, device)
    _add_memories(tree, device)
    _add_system(tree, device)
    _add_group(tree, "OPERation", device.status.operation)
    _add_group(tree, "QUEStionable", device.status.questionable)
    tree.add("STATus:PRESet", set=lambda _: _preset(device))


def _whole(maximum: int) -> Numeric:
    return Numeric("", 0, maximum, whole=True)


def _add_identification(tree: CommandTree, device: Device) -> None:
    # IEEE 488.2 10.14: the answer is arbitrary ASCII, so no query may follow it in the same message.
    tree.add("*IDN", query=lambda _: str(device.identity), is_indefinite=True)
    tree.add("*TST", query=lambda _: device.hooks.self_test())
    tree.add("*RST", set=lambda _: _reset(device))
    tree.add("SYSTem:VERSion", query=lambda _: SCPI_VERSION)


def _add_status(tree: CommandTree, device: Device) -> None:
    status = device.status
    tree.add("*CLS", set=lambda _: _clear(device))
    tree.add("*ESR", query=lambda _: status.take_event())
    tree.add("*STB", query=lambda _: device.status_byte())
    tree.add(
        "*ESE",
        set=_setter(status, "event_enable"),
        query=lambda _: status.event_enable,
        parameters=[_whole(255)],
    )
    tree.add(
        "*SRE",
        set=_setter(status, "service_enable"),
        query=lambda _: status.service_enable,
        parameters=[_whole(255)],
    )


def _add_synchronisation(tree: CommandTree, device: Device) -> None:
    tree.add("*OPC", set=lambda _: device.ask_completion())
    tree.add("*OPC", query=lambda _: 1, waits=True)
    tree.add("*WAI", set=lambda _: None, waits=True)


def _add_memories(tree: CommandTree, device: Device) -> None:
    save, recall, trigger = device.hooks.save, device.hooks.recall, device.hooks.trigger
    if save is not None and recall is not None:
        place = _whole(device.hooks.memories - 1)
        tree.add("*SAV", set=_with_value(save), parameters=[place])
        tree.add("*RCL", set=_with_value(recall), parameters=[place])
    if trigger is not None:
        tree.add("*TRG", set=_without_value(trigger))


def _add_system(tree: CommandTree, device: Device) -> None:
    errors = device.errors
    tree.add("SYSTem:ERRor[:NEXT]", query=lambda _: errors.pop().render())
    tree.add("SYSTem:ERRor:ALL", query=lambda _: _texts(errors.pop_all()))
    tree.add("SYSTem:ERRor:COUNt", query=lambda _: len(errors))
    tree.add("SYSTem:ERRor:CODE[:NEXT]", query=lambda _: errors.pop().code)
    tree.add("SYSTem:ERRor:CODE:ALL", query=lambda _: [entry.code for entry in errors.pop_all()])
    numbers = [NumericList(ERROR_NUMBERS)]
    tree.add("SYSTem:ERRor:ENABle[:LIST]", set=_setter(errors, "enabled"), query=lambda _: str(errors.enabled),
             parameters=numbers)  # fmt: skip
    tree.add("SYSTem:ERRor:ENABle:ADD", set=lambda call: _enable(errors, errors.enabled | call.values[0]),
             parameters=numbers)  # fmt: skip
    tree.add("SYSTem:ERRor:ENABle:DELete", set=lambda call: _enable(errors, errors.enabled - call.values[0]),
             parameters=numbers)  # fmt: skip


def _add_group(tree: CommandTree, name: str, group: RegisterGroup) -> None:
    tree.add(f"STATus:{name}[:EVENt]", query=lambda _: group.take_event())
    tree.add(f"STATus:{name}:CONDition", query=lambda _: group.condition)
    registers = {"ENABle": "enable", "PTRansition": "positive_transition", "NTRansition": "negative_transition"}
    for node, attribute in registers.items():
        tree.add(
            f"STATus:{name}:{node}",
            set=_setter(group, attribute),
            query=_getter(group, attribute),
            parameters=[_whole(0xFFFF)],
        )


def _setter(owner: object, attribute: str) -> Callable[[Call], None]:
    return lambda call: setattr(owner, attribute, call.values[0])


def _getter(owner: object, attribute: str) -> Callable[[Call], Answer]:
    def get(_: Call) -> Answer:
        value: int = getattr(owner, attribute)
        return value

    return get


def _with_value(action: Callable[[int], None]) -> Callable[[Call], None]:
    return lambda call: action(call.values[0])


def _without_value(action: Callable[[], None]) -> Callable[[Call], None]:
    return lambda _: action()


def _texts(entries: list[ErrorEntry]) -> str:
    return ",".join(f"{entry.code},{quoted(entry.text)}" for entry in entries)


def _enable(errors: ErrorQueue, numbers: NumberList) -> None:
    errors.enabled = numbers


def _clear(device: Device) -> None:
    """*CLS (IEEE 488.2 10.3): clears events, the error queue and a waiting *OPC; enables and conditions stay."""
    device.status.clear_events()
    device.errors.clear()
    device.forget_completion()


def _reset(device: Device) -> None:
    """*RST (IEEE 488.2 10.32): resets the instrument's settings; status, errors and enables stay."""
    device.forget_completion()
    device.hooks.reset()


def _preset(device: Device) -> None:
    device.status.operation.preset()
    device.status.questionable.preset()
    device.errors.preset()
