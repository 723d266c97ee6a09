"""Write README's table of the sequences that ship, from the sequences themselves."""

from __future__ import annotations

from benchctl import library
from benchctl.documents.reader import load_sequence
from benchctl.documents.sequence_file.sequence import Sequence
from tools.marked import ROOT, rewrite

PAGE = ROOT / "README.md"
PART = "table of sequences"


def sequence_table() -> str:
    """A row a sequence: its name, its purpose, and the parameters that `--set` changes."""
    rows = ["| sequence | finds out | parameters |", "| --- | --- | --- |"]
    rows += [_row(name, load_sequence(name)) for name in library.shipped("sequences")]
    return "".join(f"{row}\n" for row in rows)


def _row(name: str, sequence: Sequence) -> str:
    parameters = ", ".join(f"`{parameter}`" for parameter in sequence.parameters)
    return f"| `{name}` | {' '.join(sequence.purpose.split())} | {parameters} |"


if __name__ == "__main__":
    rewrite(PAGE, PART, sequence_table())
