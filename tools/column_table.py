"""Write README's table of the columns of figures.csv from what is said of each."""

from __future__ import annotations

from benchctl.archive.tables.figures_csv import TABLE
from tools.marked import ROOT, rewrite

PAGE = ROOT / "README.md"
PART = "table of columns"


def column_table() -> str:
    """A row a column: its name, and what stands in it."""
    rows = ["| column of figures.csv | holds |", "| --- | --- |"]
    rows += [f"| `{name}` | {column.meaning} |" for name, column in TABLE.items()]
    return "".join(f"{row}\n" for row in rows)


if __name__ == "__main__":
    rewrite(PAGE, PART, column_table())
