"""Starts a guardian's process, under a name of its own.

If something hangs, people type `pkill python` or `pkill -9 -f benchctl`. That must not end the guardians together with
the run, so a guardian has nothing by which a process is commonly found:

- the command line (`pkill -f`) contains neither word, wherever the program is installed. It begins with a name that is
  not a path, and what is to be run is in the environment, which such commands do not read;
- the process name (`pkill`, `killall`) is a file of Linux's that the process writes as its first act. Until then it is
  the interpreter's, and nothing depends on a guardian that is not ready;
- process group and session are its own, so that a terminal that closes, or Ctrl-C in it, does not reach it.

An interpreter normally finds its libraries by the path with which it was called. This one is called without a path, so
the paths of the run's own interpreter are given in the environment too.

On macOS and Windows a process cannot change its name. There it keeps the interpreter's, and a command that ends every
Python by name ends the guardian too.
"""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import benchctl
from benchctl.errors import GuardianLost

# As it is listed by `ps` and `pgrep`; Linux takes 15 characters.
NAME = "guardian"
_PROGRAM = "from benchctl.guard.guardian.process import main; raise SystemExit(main())"
# -P: a file of the user's with the name of a module must not be imported instead. -S: all paths are given.
_ARGUMENTS = (NAME, "-S", "-P", "-c", "import os; exec(os.environ['GUARDIAN'])")


def start_process(terminal: int | None = None) -> subprocess.Popen[bytes]:
    """A guardian's process, with pipes for its input and output.

    Args:
        terminal: where it writes its messages; None: the run's own.

    Raises:
        GuardianLost: it cannot be started.
    """
    windows_flags = 0
    if sys.platform == "win32":
        windows_flags = subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW
    try:
        return subprocess.Popen(
            _ARGUMENTS,
            executable=sys.executable,
            env={**os.environ, **_environment()},
            bufsize=0,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=terminal,
            start_new_session=True,  # means nothing to Windows, which has flags for it
            creationflags=windows_flags,
        )
    except OSError as error:
        raise GuardianLost(f"the guardian cannot be started: {error}") from error


def take_name() -> None:
    """Take the guardian's process name, where the system allows that."""
    if sys.platform == "linux":
        with suppress(OSError):
            Path("/proc/self/comm").write_text(NAME, encoding="ascii")


def _environment() -> dict[str, str]:
    own = str(Path(benchctl.__file__).resolve().parent.parent)
    paths = [path for path in sys.path if path]  # '' is wherever the user happens to be
    return {
        "GUARDIAN": _PROGRAM,
        "PYTHONHOME": os.pathsep.join((sys.base_prefix, sys.base_exec_prefix)),
        "PYTHONPATH": os.pathsep.join(paths if own in paths else [*paths, own]),
    }
