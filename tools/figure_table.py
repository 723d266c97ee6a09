"""Write README's table of figures from what is said of each."""

from __future__ import annotations

from benchctl.documents.model.figures import FIGURES, FigureName
from tools.marked import ROOT, rewrite

PAGE = ROOT / "README.md"
PART = "table of figures"


def figure_table() -> str:
    """A row a figure: its name, its unit, and what it is."""
    rows = ["| figure | unit | is |", "| --- | --- | --- |"]
    rows += [_row(name, figure) for name, figure in FIGURES.items()]
    return "".join(f"{row}\n" for row in rows)


def _row(name: str, figure: FigureName) -> str:
    return f"| `{name}` | {figure.unit or '1'} | {figure.meaning} |"


if __name__ == "__main__":
    rewrite(PAGE, PART, figure_table())
