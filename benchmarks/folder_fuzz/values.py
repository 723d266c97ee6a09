"""Wrong values in place of right ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from random import Random
from typing import Any

ODD: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1, 2**40, 10**30, 10**400),
    *(1e300, -1e300, 1e-300, 0.5, float("nan"), float("inf")),
    *("", " ", "x", "\0", "captures/\0.npz", "../x", "/etc/passwd", "é" * 300, "\ud800", "\x1b[2J", "1e999"),
    *([], {}, [[]], {"": None}, [None], ["x"] * 50),
)


def put_odd_value(thing: Any, random: Random) -> str:
    """Put an odd value somewhere into a JSON object, or remove a field; returns where."""
    place = ""
    while True:
        key = _any_key(thing, random)
        place += f".{key}"
        if _has_parts(thing[key]) and random.random() < 0.7:
            thing = thing[key]
            continue
        if isinstance(thing, dict) and random.random() < 0.2:
            del thing[key]
            return f"{place} taken out"
        thing[key] = _other(thing[key], random)
        return f"{place} made {str(thing[key])[:20]!r}"


def _has_parts(value: Any) -> bool:
    return isinstance(value, (dict, list)) and len(value) > 0


def _any_key(thing: Mapping[str, Any] | Sequence[Any], random: Random) -> Any:
    return random.choice(list(thing)) if isinstance(thing, Mapping) else random.randrange(len(thing))


def _other(value: Any, random: Random) -> Any:
    """A similar value, as a typing mistake would give, or an odd one."""
    if random.random() < 0.4:
        match value:
            case bool():
                return not value
            case int() | float():
                return value * random.choice([2, 10, -1, 0.5, 1.001, 1000])
            case str():
                return value + "0"
    return random.choice(ODD)
