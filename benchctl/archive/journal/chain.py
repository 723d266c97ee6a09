"""Lines that carry the hash of the line before, and their own: a changed, missing, added or moved line shows.

Each line is a JSON object that ends in two fields. `before` is the hash of the line before, empty in the first line;
`hash` is the line's own: the first 16 hexadecimal digits of the SHA-256 of its bytes up to the comma before `hash`.

This shows mistakes and careless edits. It does not protect against somebody who writes the whole file again with new
hashes.

Only the standard library: the guardian writes such lines too.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from hashlib import sha256

_DIGITS = 16
_SEAL = re.compile(rb', "before": "([0-9a-f]*)"(?=, "hash": "([0-9a-f]{%d})"\}\Z)' % _DIGITS)

# Lines are long, and their seal is short: it is looked for at their end.
_LONGEST_SEAL = 200

FIELDS = ("before", "hash")


def sealed(body: bytes, before: str) -> tuple[bytes, str]:
    """A line for the JSON object `body`, without its line end, and the line's hash.

    Args:
        body: one object with at least one field, and none named as in `FIELDS`.
        before: the hash of the line before; '' where there is none.
    """
    content = body[:-1] + b', "before": "%s"' % before.encode("ascii")
    own = _hash(content)
    return content + b', "hash": "%s"}' % own.encode("ascii"), own


@dataclass
class Chain:
    """Checks the lines of a file in order, from the first.

    `last` is the hash of the last line checked. `unchained` counts the lines before the first one with a hash: an
    earlier version wrote them. The first hash covers all of them.
    """

    last: str = ""
    unchained: int = 0
    has_begun: bool = False

    def follow(self, line: bytes) -> str:
        """Check the next line, with or without its line end; returns what is wrong with it, or ''."""
        line = line.strip()
        seal = _SEAL.search(line, max(0, len(line) - _LONGEST_SEAL))
        if seal is None:
            return self._without_hash(line)
        expected, self.last, self.has_begun = self.last, seal[2].decode("ascii"), True
        if _hash(line[: seal.end()]) != self.last:
            return "this line was changed after it was written"
        if seal[1].decode("ascii") != expected:
            return "the line before this one is not the one that was written there: it was changed, taken out or moved"
        return ""

    def _without_hash(self, line: bytes) -> str:
        self.last = _hash(self.last.encode("ascii") + line)
        if self.has_begun:
            return "this line has no hash, as every line before it has: it was added, or changed after it was written"
        self.unchained += 1
        return ""


def last_hash(content: bytes) -> str:
    """The `before` of the next line of a file with this content. A line that was cut off does not count."""
    links = Chain()
    for line in content.splitlines():
        if is_whole(line):
            links.follow(line)
    return links.last


def is_whole(line: bytes) -> bool:
    """Whether it is a complete JSON object."""
    try:
        return isinstance(json.loads(line), dict)
    except (ValueError, RecursionError):
        return False


def _hash(content: bytes) -> str:
    return sha256(content).hexdigest()[:_DIGITS]
