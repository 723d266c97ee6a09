"""Who may ask the live page for something.

A page elsewhere, open in the same browser, can send requests to this computer. It must neither see the run nor stop it:
the address holds a token that nobody can guess, the request must be meant for this server by its IP address (a name
could be made to point here), and it must come from the live page itself.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field

LOOPBACK = "127.0.0.1"
TOKEN_HEADER = "X-Benchctl-Token"
_TOKEN_BYTES = 16


def _new_token() -> str:
    return secrets.token_urlsafe(_TOKEN_BYTES)


@dataclass(frozen=True)
class Refusal:
    """Why a request is not answered."""

    status: int
    reason: str


@dataclass(frozen=True)
class Admission:
    """Decides on requests to one server.

    Attributes:
        address: where it listens.
        port: its port.
    """

    address: str
    port: int
    token: str = field(default_factory=_new_token)

    @property
    def url(self) -> str:
        """The address of the page for a browser on this computer, or on another one if the server listens there."""
        host = f"[{self.address}]" if ":" in self.address else self.address
        return f"http://{host}:{self.port}/{self.token}/"

    def refusal(self, path: str, headers: Mapping[str, str]) -> Refusal | None:
        """Why a request is refused, if it is."""
        if not self._is_ours(headers.get("Host", "")):
            return Refusal(421, "This server answers only at the address that benchctl has printed.")
        site = headers.get("Sec-Fetch-Site", "none")
        origin = headers.get("Origin", f"http://{headers.get('Host')}")
        if site not in {"same-origin", "none"} or origin != f"http://{headers.get('Host')}":
            return Refusal(403, "Another page asked for this. Type the address, or paste it into a new window.")
        if not _is_same(path.lstrip("/").partition("/")[0], self.token):
            return Refusal(404, "There is nothing at this address. benchctl has printed the whole address.")
        return None

    def may_stop(self, headers: Mapping[str, str]) -> bool:
        """Whether a request to stop comes from the live page: a page elsewhere cannot set this header."""
        return _is_same(headers.get(TOKEN_HEADER, ""), self.token)

    def _is_ours(self, host: str) -> bool:
        """Whether the request names this server as it should be named."""
        name, _, port = host.rpartition(":")
        if port != str(self.port):
            return False
        if name in {self.address, f"[{self.address}]"} or (self.address == LOOPBACK and name == "localhost"):
            return True
        return is_every(self.address) and _is_ip_address(name.strip("[]"))


def _is_same(given: str, wanted: str) -> bool:
    """In a time that tells nothing."""
    return hmac.compare_digest(given.encode(), wanted.encode())


def is_every(address: str) -> bool:
    """Whether it stands for every address of this computer."""
    return _is_ip_address(address) and ipaddress.ip_address(address).is_unspecified


def _is_ip_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def is_loopback(address: str) -> bool:
    """Whether only this computer can reach it."""
    return address == "localhost" or (_is_ip_address(address) and ipaddress.ip_address(address).is_loopback)
