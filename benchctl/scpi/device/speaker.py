"""What a conversation needs of an instrument, be it one that speaks SCPI (`Device`) or one with words of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from benchctl.scpi.device.device import Identity


class Reply(Protocol):
    """One message on its way through an instrument."""

    @property
    def is_finished(self) -> bool:
        """Whether the message is done, so that the response is whole."""

    @property
    def response(self) -> bytes | None:
        """The response with its end; None if there is none."""

    def resume(self) -> bool:
        """Go on until the end or until something has to be waited for; True when the message is done."""


class Speaker(Protocol):
    """The instrument's side of its links. Several clients share one, each through its own `Conversation`."""

    identity: Identity

    def begin(self, message: bytes) -> Reply:
        """Run one message, without its end, as far as it goes without waiting."""

    def restart(self) -> None:
        """What it does when its power is lost and comes back."""

    def report(self, code: int, info: str = "") -> None:
        """Note an error of the link; an instrument without an error queue forgets it."""

    def forget_completion(self) -> None:
        """Drop what waits for the end of an operation, as device clear does."""

    def status_byte(self, *, has_message: bool | None = None) -> int:
        """The status byte, as a serial poll reads it."""
