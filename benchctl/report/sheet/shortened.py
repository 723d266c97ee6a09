"""Texts of any length on one side of paper: what is cut off ends in an ellipsis, and the page of the run has it all."""

from __future__ import annotations

from collections.abc import Iterable

CUT = " …"


def cut(text: str, longest: int) -> str:
    """The text, or as many whole words of it as there is room for."""
    words = " ".join(text.split())
    if len(words) <= longest:
        return words
    kept = words[: longest - len(CUT)]
    return (kept.rpartition(" ")[0] or kept) + CUT


def listed_short(texts: Iterable[str], longest: int) -> str:
    """As many of the texts as there is room for, the first at least, with semicolons between them, and how many are
    left."""
    found = [cut(text, longest).rstrip(".") for text in texts]
    kept = found[:1]
    for text in found[1:]:
        if len("; ".join([*kept, text])) > longest:
            break
        kept.append(text)
    left = len(found) - len(kept)
    return "; ".join([*kept, *([f"and {left} more"] if left > 0 else [])])
