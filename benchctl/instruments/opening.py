"""How a session gets its link. pyvisa takes half a second to load, so it is loaded only when a link is opened."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchctl.instruments.link import Link


def open_link(address: str) -> Link:
    """Open the link that a VISA address names, as `link.open_link` does."""
    from benchctl.instruments.link import open_link  # noqa: PLC0415 - see above

    return open_link(address)
