"""Who may use an instrument: the locks of HiSLIP (IVI-6.1 6.5 and table 22).

One client may hold the exclusive lock. Several may hold the shared one, which has a name that they agreed on; one of
these may take the exclusive lock on top, and keeps the others waiting until it gives it back.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Generic, TypeVar

Holder = TypeVar("Holder")


class LockAnswer(IntEnum):
    """The control code of AsyncLockResponse."""

    FAILURE = 0
    """Somebody else has it; waiting may help."""
    SUCCESS = 1
    """Granted; or the exclusive lock is given back."""
    SHARED_RELEASED = 2
    ERROR = 3
    """The holder has it already, or gives back what it has not."""


class LockTable(Generic[Holder]):
    """The locks of one instrument; `Holder` is whatever tells clients apart."""

    def __init__(self) -> None:
        self._exclusive: Holder | None = None
        self._shared: set[Holder] = set()
        self._name = b""

    def request(self, holder: Holder, name: bytes) -> LockAnswer:
        """Ask for the shared lock called `name`, or for the exclusive one with no name. Nothing waits here."""
        return self._request_shared(holder, name) if name else self._request_exclusive(holder)

    def release(self, holder: Holder) -> LockAnswer:
        """Give back the exclusive lock; without it, the shared one."""
        if self._exclusive == holder:
            self._exclusive = None
            return LockAnswer.SUCCESS
        if holder in self._shared:
            self._shared.remove(holder)
            return LockAnswer.SHARED_RELEASED
        return LockAnswer.ERROR

    def forget(self, holder: Holder) -> None:
        """The client is gone, and its locks with it."""
        while self.release(holder) is not LockAnswer.ERROR:
            pass

    def admits(self, holder: Holder) -> bool:
        """Whether this client's messages may reach the instrument."""
        if self._exclusive is not None:
            return self._exclusive == holder
        return not self._shared or holder in self._shared

    @property
    def is_exclusive(self) -> bool:
        """Whether somebody holds the exclusive lock."""
        return self._exclusive is not None

    @property
    def holders(self) -> int:
        """How many clients hold a lock; one that holds both counts once."""
        return len(self._shared | ({self._exclusive} if self._exclusive is not None else set()))

    def _request_exclusive(self, holder: Holder) -> LockAnswer:
        if self._exclusive == holder:
            return LockAnswer.ERROR
        if self._exclusive is not None or (self._shared and holder not in self._shared):
            return LockAnswer.FAILURE
        self._exclusive = holder
        return LockAnswer.SUCCESS

    def _request_shared(self, holder: Holder, name: bytes) -> LockAnswer:
        if holder in self._shared or self._exclusive == holder:
            return LockAnswer.ERROR
        if self._shared and self._name != name:
            return LockAnswer.FAILURE
        if not self._shared and self._exclusive is not None:
            return LockAnswer.FAILURE
        self._name = name
        self._shared.add(holder)
        return LockAnswer.SUCCESS
