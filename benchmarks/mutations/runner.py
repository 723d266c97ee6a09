"""Runs tests of a copy of the checkout, and checks that they make progress."""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

_LOOK_S = 0.05


class Runner:
    """A process that has loaded the program of this folder, and runs its tests; see `warm.py`."""

    def __init__(self, folder: Path) -> None:
        self._said = folder / "said.txt"
        # No more bytecode files: two versions of a module within a second would be taken for one.
        environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
        command = [sys.executable, "-m", "benchmarks.mutations.warm"]
        self._process = subprocess.Popen(
            command, cwd=folder, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0
        )

    def run(self, module: str, tests: Sequence[str], patience_s: float) -> tuple[int | None, float]:
        """Run these tests of a module, which may be changed.

        Returns:
            pytest's exit code, None if there was no output for longer than `patience_s`; and the longest time without
            output.
        """
        assert self._process.stdin is not None
        self._said.write_bytes(b"")
        job = {"module": module, "tests": tests, "said": str(self._said)}
        self._process.stdin.write(json.dumps(job).encode("utf-8") + b"\n")
        pid = self._number()
        has_ended, pause_s = self._listen(patience_s)
        with suppress(ProcessLookupError):  # what the tests have started ends too
            os.killpg(pid, signal.SIGKILL)
        code = self._number()
        return (code if has_ended else None), pause_s

    def said(self) -> str:
        """What pytest printed last."""
        return self._said.read_text(encoding="utf-8")

    def close(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.communicate()

    def _listen(self, patience_s: float) -> tuple[bool, float]:
        """Whether the tests ended, and the longest time without output."""
        assert self._process.stdout is not None
        heard, since_s, longest_s = 0, time.monotonic(), 0.0
        while not select.select([self._process.stdout], [], [], _LOOK_S)[0]:
            now_s = time.monotonic()
            longest_s = max(longest_s, now_s - since_s)
            if heard != (heard := self._said.stat().st_size):
                since_s = now_s
            elif now_s - since_s > patience_s:
                return False, longest_s
        return True, longest_s

    def _number(self) -> int:
        assert self._process.stdout is not None
        line = b""
        while not line.endswith(b"\n"):
            piece = self._process.stdout.read(1)
            if not piece:
                raise RuntimeError("the process that runs the tests has ended")
            line += piece
        return int(line)
