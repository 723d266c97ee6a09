"""What `import benchctl` offers, by name and signature: whoever changes it must mean to."""

from __future__ import annotations

import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import benchctl

SURFACE = Path(__file__).with_name("surface.txt")


def surface() -> str:
    return "\n".join(line for name in benchctl.__all__ if name != "errors" for line in lines_of(name)) + "\n"


def lines_of(name: str) -> list[str]:
    """A function with its signature; a class with what is public in it."""
    offered = getattr(benchctl, name)
    if inspect.isfunction(offered):
        return [f"{name}{inspect.signature(offered)}"]
    own = [(each, member) for each, member in vars(offered).items() if not each.startswith("_")]
    fields = list(inspect.get_annotations(offered).items()) if hasattr(offered, "__dataclass_fields__") else []
    members = [f"{name}.{field}: {kind}" for field, kind in fields]
    return [name, *members, *sorted(f"{name}.{each}{_told(member)}" for each, member in own)]


def _told(member: object) -> str:
    if inspect.isfunction(member):
        return str(inspect.signature(member))
    getter = getattr(member, "fget", None) or getattr(member, "func", None)
    return f": {inspect.signature(getter).return_annotation}" if getter else ""


def test_the_public_names_and_their_signatures_are_those_of_surface_txt() -> None:
    """After a change that is meant: write what this shows into surface.txt, docs/python.md and the changelog."""
    assert surface() == SURFACE.read_text(encoding="utf-8")


def test_every_public_name_and_member_is_described() -> None:
    for name in benchctl.__all__:
        offered = getattr(benchctl, name)
        assert inspect.getdoc(offered), name
        for each, member in vars(offered).items():
            if not each.startswith("_") and (inspect.isfunction(member) or isinstance(member, property)):
                assert inspect.getdoc(member), f"{name}.{each}"


def test_what_is_not_offered_is_an_error_that_names_it() -> None:
    with pytest.raises(AttributeError, match="'benchctl' has no attribute 'open_door'"):
        benchctl.open_door  # type: ignore[attr-defined]  # noqa: B018


def test_an_import_loads_no_heavy_library() -> None:
    look = (
        "import sys, benchctl; dir(benchctl);"
        "print(*({'numpy', 'pandas', 'pyvisa', 'pydantic', 'matplotlib'} & sys.modules.keys()))"
    )
    loaded = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    assert loaded.stdout.strip() == ""
