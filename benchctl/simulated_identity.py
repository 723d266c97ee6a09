"""How a simulated instrument says in its answer to *IDN? that it is simulated."""

from __future__ import annotations

# The first of the four fields of *IDN?, the maker (IEEE 488.2, 10.14.3). No real instrument answers this name.
SIMULATED_MAKER = "benchctl"


def is_simulated(identity: str) -> bool:
    """Whether an answer to *IDN? holds the simulated maker's name, even if a proxy has added text around it."""
    return SIMULATED_MAKER in identity.casefold()
