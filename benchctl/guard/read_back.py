"""Has somebody else changed a setting? The guard reads back what the run has set, one setting at a time.

A lock keeps other runs away, but no other program, no other computer and no hand at a panel.
"""

from __future__ import annotations

from benchctl.instruments.bench import Bench

# The workshop's bench has 14 settings, each of which is looked at every 11 s; a link takes one question at a time.
READ_BACK_PERIOD_S = 0.75


class ReadBack:
    """Looks at one setting each time it is called, at that which has waited longest; and keeps links awake."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._queue: list[tuple[str, str]] = []  # role and setting

    def __call__(self) -> tuple[()]:
        """Look at the next one.

        Raises:
            SettingChanged: it is not as the run has set it.
            InstrumentError: the instrument does not tell.
        """
        known = [(name, what) for name, role in self._bench.roles.items() for what in role.settings.names()]
        waiting = [each for each in self._queue if each in known]
        self._queue = waiting + [each for each in known if each not in waiting]
        if self._queue:
            name, what = self._queue.pop(0)  # which waits behind all others at the next call
            self._bench.roles[name].read_back(what)
        for role in self._bench.roles.values():
            role.session.keep_awake()
        return ()
