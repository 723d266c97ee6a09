"""Words with a short and a long form (SCPI-99 volume 1, 6.2.1) and numeric suffixes (6.2.5)."""

from __future__ import annotations

import re
from functools import lru_cache

_SPELLING = re.compile(r"[A-Z][A-Z0-9_]*[a-z]*[0-9]*")
_WORD = re.compile(r"(.*?[^0-9])([0-9]*)", re.DOTALL)


def check_spelling(spelling: str) -> None:
    """Refuse a spelling that does not mark its short form in capitals, such as `VOLTage` or `CHANnel1`.

    Raises:
        ValueError: anything else.
    """
    if _SPELLING.fullmatch(spelling) is None:
        raise ValueError(f"'{spelling}' does not mark its short form in capitals, as 'VOLTage' does")


def short_of(spelling: str) -> str:
    """The marked short form of a spelling: `VOLT` of `VOLTage`, `CHAN1` of `CHANnel1`."""
    check_spelling(spelling)
    return "".join(c for c in spelling if not c.islower())


def forms_of(spelling: str) -> frozenset[str]:
    """Both legal forms of a spelling in upper case; nothing between the two is legal (SCPI-99 6.2.1)."""
    return frozenset((short_of(spelling), spelling.upper()))


@lru_cache(maxsize=1024)  # more words than the largest command tree has in both forms
def split_suffix(word: str) -> tuple[str, int | None]:
    """Split a word of a header from its numeric suffix: `OUTP2` gives `OUTP` and 2."""
    found = _WORD.fullmatch(word)
    if found is None:
        return word, None
    return found.group(1), int(found.group(2)) if found.group(2) else None
