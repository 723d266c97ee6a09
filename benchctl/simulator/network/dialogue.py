"""What the server needs of the other end of a connection: bytes in, bytes out."""

from __future__ import annotations

from typing import Protocol

from benchctl.scpi.device.conversation import Conversation


class Converse(Protocol):
    """Makes a client's conversation with the instrument in a role; a disturbed one where the bench has faults."""

    def __call__(self, role: str, *, interruptible: bool = False) -> Conversation: ...


class Dialogue(Protocol):
    """The other end of a connection, as the server needs it: bytes in, bytes out.

    Attributes:
        is_over: to be closed once everything is sent.
    """

    is_over: bool

    @property
    def is_waiting(self) -> bool:
        """Whether something waits for time to pass: call `resume` now and then."""

    @property
    def wants_input(self) -> bool:
        """False while no more should be read from the link."""

    def receive(self, data: bytes) -> None:
        """Take bytes from the client."""

    def resume(self) -> object:
        """Go on with what waited, if it may."""

    def collect(self) -> bytes:
        """Everything there is to send; raises ConnectionError where the link breaks."""

    def close(self) -> None:
        """The link is gone."""
