"""Build the wheel, install it into a fresh environment, and use what ships from a folder that is not a checkout.

The environment gets the dependencies that the wheel names, at the versions of constraints.txt, and nothing else: an
import that only a developer's environment can satisfy fails here.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path
from tempfile import TemporaryDirectory

from tools.marked import ROOT

SHIPPED = ("quick_check", "burst_and_continuous", "workshop", "hx2150", "supply/scpi99", "oscilloscope/preamble_list")


def main() -> None:
    """Raise CalledProcessError at the first thing that fails."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        shutil.rmtree(ROOT / "build", ignore_errors=True)  # or modules that are gone by now get into the wheel
        _run(ROOT, sys.executable, "-m", "pip", "wheel", "-qq", "--no-deps", "--wheel-dir", name, ".")
        (wheel,) = folder.glob("*.whl")
        venv.create(folder / "env")
        programs = folder / "env" / ("Scripts" if sys.platform == "win32" else "bin")
        # By the pip of this environment; and most of what is installed is never imported, so nothing is compiled ahead.
        pip = (sys.executable, "-m", "pip", "--python", str(programs / "python"), "install", "-qq", "--no-compile")
        _run(folder, *pip, "--constraint", str(ROOT / "constraints.txt"), str(wheel))
        _run(folder, str(programs / "benchctl"), "check", *SHIPPED)
        bench = ("--bench", "workshop", "--amplifier", "hx2150")
        _run(folder, str(programs / "benchctl"), "run", "quick_check", *bench, "--dry-run", "--json")
        (run_folder,) = (folder / "runs").iterdir()
        _run(folder, str(programs / "benchctl"), "report", str(run_folder))
        shown = _run(folder, str(programs / "benchctl"), "safety")
        if not (ROOT / "SAFETY.md").read_text(encoding="utf-8").startswith(shown[:1000]):
            raise SystemExit("the wheel does not show the safety page of this checkout")


def _run(folder: Path, *command: str) -> str:
    # A path to a checkout would let the new environment find benchctl there, and install nothing. Bytecode is kept, or
    # each command compiles the program anew.
    unwanted = {"PYTHONPATH", "PYTHONDONTWRITEBYTECODE"}
    environment = {name: value for name, value in os.environ.items() if name not in unwanted}
    ended = subprocess.run(command, cwd=folder, env=environment, check=True, stdout=subprocess.PIPE, encoding="utf-8")
    return ended.stdout


if __name__ == "__main__":
    main()
