"""What a run has set and confirmed on an instrument, so that a change by somebody else is noticed.

The roles keep it: each setting is stored once it is confirmed. The guard checks the settings again, one at a time, for
as long as the run lasts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Setting:
    """Something that was set.

    Attributes:
        what: the name of the setting, such as "the voltage of 'main'".
        was: what was done to it, such as "was set to 14.4 V".
        look: asks the instrument; returns how it is, such as "reads back as 12 V", or '' if it is as it was set.
    """

    what: str
    was: str
    look: Callable[[], str]


class Settings:
    """The confirmed settings of one instrument. Any thread may read them; a thread that changes them holds the
    session."""

    def __init__(self) -> None:
        self._kept: Mapping[str, Setting] = {}

    def keep(self, setting: Setting) -> None:
        """Store a setting as confirmed."""
        self._kept = {**self._kept, setting.what: setting}

    def forget(self, *names: str) -> None:
        """Forget these settings."""
        if not self._kept.keys().isdisjoint(names):
            self._kept = {what: setting for what, setting in self._kept.items() if what not in names}

    def names(self) -> tuple[str, ...]:
        """The names of the confirmed settings."""
        return tuple(self._kept)

    def get(self, what: str) -> Setting | None:
        """The setting, if it is confirmed."""
        return self._kept.get(what)
