"""Where things are: the YAML and the page that ship, in a checkout and in an installed package, and the folder of
runs."""

from __future__ import annotations

import difflib
import os
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Literal

from benchctl.errors import UsageError, quote

Shelf = Literal["drivers", "sequences", "benches", "amplifiers"]

# Shelf -> package, folder in it, whether its sub-folders belong to it, and the folder's name as users see it.
_SHELVES: dict[Shelf, tuple[str, str, bool, str]] = {
    "drivers": ("benchctl.drivers", "", True, "drivers"),
    "sequences": ("benchctl.sequences", "", True, "sequences"),
    "benches": ("benchctl.sim", "", False, "sim"),
    "amplifiers": ("benchctl.sim", "amplifiers", True, "sim/amplifiers"),
}


# Names the folder of runs.
RUNS_VARIABLE = "BENCHCTL_RUNS"


def runs_root() -> Path:
    """The folder in which runs are looked for and made, unless another one is named."""
    return Path(os.environ.get(RUNS_VARIABLE) or "runs")


@cache
def shipped(shelf: Shelf) -> dict[str, Path]:
    """Everything on a shelf, name -> file: `supply/scpi99`, `quick_check`, `workshop`, `hx2150`."""
    package, folder, deep, _ = _SHELVES[shelf]
    root = Path(str(files(package))) / folder
    found = root.rglob("*.yaml") if deep else root.glob("*.yaml")
    return {path.relative_to(root).with_suffix("").as_posix(): path for path in sorted(found)}


def safety_page() -> Path:
    """The file of the safety page. It lies beside the folders of YAML, in a checkout and in an installed package."""
    return Path(str(files("benchctl.sim"))).parent / "SAFETY.md"


def nearest(shelf: Shelf, name: str) -> list[str]:
    """Up to three shipped names that are most similar to `name`."""
    return difflib.get_close_matches(name[:200], list(shipped(shelf)), n=3, cutoff=0.5)


def find(shelf: Shelf, reference: str, near: Path | None = None) -> Path:
    """The file that `reference` means.

    A file that exists, seen from `near` (a folder; else the current one), comes first; then a shipped name, with or
    without its `.yaml` and the folder it ships in: `quick_check`, `sequences/quick_check.yaml`.

    Raises:
        UsageError: there is no such file and no shipped file of that name; it offers the nearest names.
    """
    path = Path(reference) if near is None else near / reference
    for candidate_path in (path, path.with_name(f"{path.name}.yaml")) if path.name else ():
        if _is_file(candidate_path):
            return candidate_path
    name = reference.replace("\\", "/").removeprefix("./").removesuffix(".yaml").removesuffix(".yml")
    ours = shipped(shelf)
    for candidate in (name, name.removeprefix(_SHELVES[shelf][3] + "/")):
        if candidate in ours:
            return ours[candidate]
    raise UsageError(_not_found(shelf, reference, name))


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name too long for the file system, or with a null byte
        return False


def _not_found(shelf: Shelf, reference: str, name: str) -> str:
    near = nearest(shelf, name) or sorted(shipped(shelf))
    ours = ", ".join(near)
    return f"there is no file {quote(reference)}, and nothing of that name ships; among the {shelf} there are {ours}"
