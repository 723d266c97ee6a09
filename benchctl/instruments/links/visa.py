"""pyvisa: the one place that opens its resources, and where its exceptions become InstrumentErrors."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from contextlib import contextmanager
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


@contextmanager
def translated(what: str) -> Iterator[None]:
    """The only place where exceptions of pyvisa and sockets become InstrumentErrors."""
    try:
        yield
    except LinkError:
        raise
    except pyvisa.errors.VisaIOError as error:
        if error.error_code == constants.StatusCode.error_timeout:
            raise NoAnswer(f"{what}: no answer in time") from error
        raise ConnectionLost(f"{what}: {error.description}") from error
    except (OSError, RuntimeError, TypeError, ValueError, NotImplementedError, pyvisa.errors.Error) as error:
        raise ConnectionLost(f"{what}: {error}") from error


def opened(address: str, failing: str) -> Any:
    """The resource at an address, by one attempt to connect."""
    try:
        return _resource_manager().open_resource(address, open_timeout=int(OPEN_TIMEOUT_S * 1000))
    except Exception as error:
        raise NotConnected(f"{failing} ({error})", advice=CHECK_LINK) from error
