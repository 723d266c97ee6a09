"""Which of the instruments that answer can take which role of a bench."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.documents.driver_file.load import ElectronicLoadDriver
from benchctl.documents.reader import load_driver
from benchctl.launch.instruments import find


@dataclass(frozen=True)
class FoundRole:
    """An instrument, and the shipped driver file that fits it best."""

    address: str
    identity: str
    driver: str


def found_roles(interfaces: Sequence[str] | None = None) -> dict[str, FoundRole]:
    """The first instrument that was found for each role, by the driver files that fit.

    An electronic load is left out: its entry in a bench file is different from that of a bank of resistors.
    """
    roles: dict[str, FoundRole] = {}
    for found in find((), looks_around=True, interfaces=interfaces).found:
        for name in found.drivers:
            driver = load_driver(name)
            if not isinstance(driver, ElectronicLoadDriver):
                place = FoundRole(found.place.address, found.answered.identity or "", name)
                roles.setdefault(driver.role, place)
                break
    return roles
