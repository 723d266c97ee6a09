"""Which program works: two workers give the same bytes only where they run the same one."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path

import benchctl

_ROOT = Path(benchctl.__file__).parent


@cache
def hash_of_code(*folders: str) -> str:
    """The SHA-256 of all Python files in these folders of the package, by their names; of all of it where none is
    named."""
    digest = sha256()
    roots = [_ROOT / folder for folder in folders] or [_ROOT]
    for path in sorted(path for root in roots for path in root.rglob("*.py")):
        content = path.read_bytes()
        digest.update(f"{path.relative_to(_ROOT).as_posix()} {len(content)}\n".encode())
        digest.update(content)
    return digest.hexdigest()


@cache
def program() -> dict[str, str]:
    """What must be the same wherever a part of one work is done."""
    return {
        "benchctl": version("benchctl"),
        "its code": hash_of_code()[:12],
        "python": ".".join(platform.python_version_tuple()[:2]),
        "numpy": version("numpy"),
    }


def hashes_of(files: Sequence[Path]) -> list[str]:
    """The SHA-256 of each file; '' of one that is not there or cannot be read."""
    return [_hash_of(file) for file in files]


def _hash_of(file: Path) -> str:
    try:
        return sha256(file.read_bytes()).hexdigest()
    except OSError:
        return ""
