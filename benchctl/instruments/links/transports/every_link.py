"""Which link goes to an address. Loads pyvisa, so it is imported only when a link is opened; see `opening.py`."""

from __future__ import annotations

from benchctl.address import AddressError, LanAddress, SocketAddress, parse_address
from benchctl.errors import NotConnected
from benchctl.instruments.links.link import Link
from benchctl.instruments.links.settings import USUAL, LinkSettings
from benchctl.instruments.links.transports.messages import HislipLink, MessageLink, Vxi11Link
from benchctl.instruments.links.transports.serial_port import SerialLink
from benchctl.instruments.links.transports.sockets import SocketLink


def open_link(address: str, settings: LinkSettings = USUAL) -> Link:
    """Open the link that a VISA address names.

    Raises:
        NotConnected: nothing is there, or the address is not valid.
    """
    try:
        parsed = parse_address(address)
    except AddressError as error:
        raise NotConnected(str(error), advice="Correct the address in the bench file.") from error
    match parsed:
        case SocketAddress(host=host, port=port):
            return SocketLink(parsed.text, host, port)
        case LanAddress(host=host, hislip_port=int() as port):
            return HislipLink(parsed.text, host, port)
        case LanAddress():
            return Vxi11Link(parsed.text)
        case _ if parsed.interface == "ASRL":
            return SerialLink(parsed.text, settings)
        case _:
            return MessageLink(parsed.text)
