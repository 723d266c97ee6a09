"""Names of files and folders of the site: safe on every disk and in every address, and told apart from each other."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Hashable, Mapping
from hashlib import sha256
from typing import TypeVar

_LONGEST = 40  # the name of a unit and that of a run still fit in the 260 characters of a Windows path
_DIGITS = 8  # of a hash

_K = TypeVar("_K", bound=Hashable)


def safe_name(text: str) -> str:
    """`text` in the letters a to z, digits and hyphens; where that loses letters or digits, a hash of it is added.

    It never begins with a dot, never leads to another folder, and is never one of the names that Windows keeps for
    itself, because each use of it has a second part or a hash.
    """
    bare = "".join(part for part in unicodedata.normalize("NFKD", text) if not unicodedata.combining(part)).lower()
    plain = re.sub(r"[^a-z0-9]+", "-", bare).strip("-")
    is_whole = len(plain) <= _LONGEST and not any(c.isalnum() and not c.isascii() for c in bare)
    return plain if plain and is_whole else "-".join(filter(None, [plain[:_LONGEST].strip("-"), _hash(text)]))


def distinct(names: Mapping[_K, tuple[str, str]]) -> dict[_K, str]:
    """Key -> its name in the site, from the name that it would have, and what tells it from all others.

    Where several would have one name, each of them gets a hash as well, so that a link to one never leads to another.
    """
    taken = Counter(name for name, _ in names.values())
    found = {key: name if taken[name] == 1 else f"{name}-{_hash(whole)}" for key, (name, whole) in names.items()}
    if len(set(found.values())) == len(found):
        return found
    # One of them is spelled like the hashed name of another.
    return {key: f"{name}-{_hash(whole, digits=32)}" for key, (name, whole) in names.items()}


def unit_name(amplifier: str, serial: str) -> str:
    """The name of a unit's folder, before it is told apart."""
    return f"{safe_name(amplifier)}-{safe_name(serial) if serial else 'no-serial'}"


def _hash(text: str, digits: int = _DIGITS) -> str:
    return sha256(text.encode("utf-8", errors="surrogatepass")).hexdigest()[:digits]
