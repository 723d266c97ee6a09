"""Has somebody else changed a setting? The guard reads the run's settings back, one at a time.

A lock keeps other runs away, but not another program, another computer or a hand at the front panel.
"""

from __future__ import annotations

from benchctl.instruments.bench import Bench

# The workshop's bench has 14 settings, each of which is looked at every 11 s; a link takes one question at a time.
READ_BACK_PERIOD_S = 0.75


class ReadBack:
    """Reads one setting back at each call, the one that has waited longest. This also keeps links alive."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._queue: list[tuple[str, str]] = []  # role and setting

    def __call__(self) -> tuple[()]:
        """Read the next setting back.

        Raises:
            SettingChanged: it is not as the run has set it.
            InstrumentError: the instrument does not answer.
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
