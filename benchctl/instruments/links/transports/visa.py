"""pyvisa: the one place that opens its resources, and where its exceptions become InstrumentErrors."""

from __future__ import annotations

import functools
from types import TracebackType
from typing import Any

import pyvisa
from pyvisa import constants

from benchctl.errors import ConnectionLost, LinkError, NoAnswer, NotConnected

# A running instrument accepts a link within milliseconds, even across a slow network. Nothing interrupts this wait.
OPEN_TIMEOUT_S = 2.0
CHECK_LINK = "Check that it is switched on, its cable, and the address in the bench file."


@functools.cache
def _resource_manager() -> Any:
    # One per process: pyvisa hands out the same object each time, and closing it kills every session.
    return pyvisa.ResourceManager("@py")


class translated:  # noqa: N801 - is written like the context managers of contextlib, and a third of their cost
    """While the block lasts, exceptions of pyvisa and sockets become InstrumentErrors; this happens nowhere else."""

    def __init__(self, what: str) -> None:
        self._what = what

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        if kind is None or isinstance(error, LinkError):
            return
        if isinstance(error, pyvisa.errors.VisaIOError):
            if error.error_code == constants.StatusCode.error_timeout:
                raise NoAnswer(f"{self._what}: no answer in time") from error
            raise ConnectionLost(f"{self._what}: {error.description}") from error
        if isinstance(error, _UNTRANSLATED):
            raise ConnectionLost(f"{self._what}: {error}") from error


_UNTRANSLATED = (OSError, RuntimeError, TypeError, ValueError, NotImplementedError, pyvisa.errors.Error)


def opened(address: str, failing: str) -> Any:
    """The resource at an address, by one attempt to connect."""
    try:
        return _resource_manager().open_resource(address, open_timeout=int(OPEN_TIMEOUT_S * 1000))
    except Exception as error:
        raise NotConnected(f"{failing} ({error})", advice=CHECK_LINK) from error
