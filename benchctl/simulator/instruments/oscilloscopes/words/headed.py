"""Answers that begin with the header of their question, `CH1:SCA 1.0E0`, as long as the instrument is told so."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from benchctl.scpi.device.answers import Answer, encode_answer
from benchctl.scpi.device.headers import Call, CommandTree, QueryHandler
from benchctl.scpi.mnemonics import short_of

_OPTIONAL = re.compile(r"\[[^\]]*\]")
_SUFFIX = re.compile(r"<[^>]*>")


class Headed(CommandTree):
    """Adds commands to a tree so that each answer has its header before it while `is_on` says so.

    A header is written in its short form.
    """

    def __init__(self, tree: CommandTree, is_on: Callable[[], bool]) -> None:
        super().__init__()
        self._tree = tree
        self._is_on = is_on

    def add(self, pattern: str, *, query: QueryHandler | None = None, **others: Any) -> None:
        """As in any tree."""
        self._tree.add(pattern, query=query and self._with_header(pattern, query), **others)

    def _with_header(self, pattern: str, query: QueryHandler) -> QueryHandler:
        words = _SUFFIX.sub("<>", _OPTIONAL.sub("", pattern)).split(":")

        def answer(call: Call) -> Answer:
            found = query(call)
            if not self._is_on():
                return found
            return f"{header(words, call.suffixes)} {encode_answer(found).decode('latin-1')}"

        return answer


def header(words: Sequence[str], suffixes: Sequence[int]) -> str:
    """The header of a question, such as CH1:SCA of `CH<>:SCAle`."""
    numbers = iter(suffixes)
    return ":".join(
        short_of(word.removesuffix("<>")) + (str(next(numbers)) if word.endswith("<>") else "") for word in words
    )
