"""What a run has set on an instrument and seen confirmed, so that a change by somebody else is noticed.

The roles keep it: each way to set something ends with what was confirmed. The guard has it looked at again, one setting
at a time, for as long as the run lasts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Setting:
    """Something that was set.

    Attributes:
        what: it has, such as "the voltage of 'main'".
        was: what was done to it, such as "was set to 14.4 V".
        look: asks the instrument; how it is, such as "reads back as 12 V", or nothing where it is as it was set.
    """

    what: str
    was: str
    look: Callable[[], str]


class Settings:
    """What is confirmed of one instrument. Any thread may read it; whoever changes it keeps the session to itself."""

    def __init__(self) -> None:
        self._kept: Mapping[str, Setting] = {}

    def keep(self, setting: Setting) -> None:
        """It is confirmed from now on."""
        self._kept = {**self._kept, setting.what: setting}

    def forget(self, *names: str) -> None:
        """Nothing is known of these any more."""
        if not self._kept.keys().isdisjoint(names):
            self._kept = {what: setting for what, setting in self._kept.items() if what not in names}

    def names(self) -> tuple[str, ...]:
        """What is confirmed."""
        return tuple(self._kept)

    def get(self, what: str) -> Setting | None:
        """The setting, if it is confirmed."""
        return self._kept.get(what)
