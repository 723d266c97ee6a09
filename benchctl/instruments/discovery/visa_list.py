"""What pyvisa-py lists: USB, GPIB, serial ports, and VXI-11 instruments that answer a broadcast.

Each kind of link is looked at by itself and in bounded time, so that a library that is missing, or a driver that hangs,
costs only its own kind. pyvisa-py's search for HiSLIP is not used: it gives every instrument the usual port, whatever
port was announced.
"""

from __future__ import annotations

import threading
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

LIST_S = 6.0
"""USB asks each device for its serial number; a stubborn one takes a second (common practice)."""

_Lister = Callable[[], Sequence[str]]


@dataclass(frozen=True)
class Listed:
    """What was listed, and in words what could not be looked for."""

    addresses: tuple[str, ...]
    notes: tuple[str, ...]


def visa_list(within_s: float = LIST_S, listers: Mapping[str, _Lister] | None = None) -> Listed:
    """The addresses that pyvisa-py finds. No message is sent to an instrument.

    Args:
        within_s: how long each kind of link may take; they are looked at side by side.
        listers: each kind of link -> what lists it; without, those of pyvisa-py.
    """
    found, notes = (dict(listers), []) if listers is not None else _listers()
    looks = [_Look(kind, lister) for kind, lister in found.items()]
    for look in looks:
        look.join(within_s)
    addresses = sorted({address for look in looks for address in look.addresses})
    return Listed(tuple(addresses), (*notes, *(note for look in looks for note in look.notes(within_s))))


class _Look(threading.Thread):
    """Looks at one kind of link. A thread that hangs is left behind; it does not keep the program alive."""

    def __init__(self, kind: str, lister: _Lister) -> None:
        super().__init__(name=f"listing {kind}", daemon=True)
        self._kind = kind
        self._lister = lister
        self._failure = ""
        self.addresses: tuple[str, ...] = ()
        self.start()

    def run(self) -> None:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # what it cannot search for it tells as a warning
                self.addresses = tuple(self._lister())
        except Exception as error:  # noqa: BLE001 - any library may be behind it, and it is told below
            self._failure = str(error) or type(error).__name__

    def notes(self, within_s: float) -> Iterator[str]:
        if self.is_alive():
            yield f"{self._kind}: not finished after {within_s:g} s"
        elif self._failure:
            yield f"{self._kind}: cannot be looked for ({self._failure})"


def _listers() -> tuple[dict[str, _Lister], list[str]]:
    """What pyvisa-py can look for, and in words what it lacks."""
    from pyvisa.constants import InterfaceType  # noqa: PLC0415 - half a second, and only this needs it
    from pyvisa_py.sessions import Session  # noqa: PLC0415
    from pyvisa_py.tcpip import TCPIPInstrVxi11  # noqa: PLC0415

    kinds = {
        InterfaceType.usb: ("USB", "usb"),
        InterfaceType.asrl: ("serial", "serial"),
        InterfaceType.gpib: ("GPIB", "gpib"),
    }
    listers: dict[str, _Lister] = {"VXI-11": TCPIPInstrVxi11.list_resources}
    for (interface, kind), session in Session.iter_valid_session_classes():
        if interface in kinds and kind == "INSTR":
            listers[kinds[interface][0]] = session.list_resources
    lacking = {interface for (interface, kind), _ in Session.iter_session_classes_issues() if kind == "INSTR"}
    notes = [
        f"{name}: not looked for; it needs a package more: pip install 'benchctl[{extra}]'"
        for interface, (name, extra) in kinds.items()
        if interface in lacking
    ]
    return listers, notes
