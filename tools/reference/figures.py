"""The reference of figures and of the table figures.csv that holds them."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.archive.reanalysis.table import ADDED
from benchctl.archive.tables.figures_csv import TABLE
from benchctl.documents.model.figures import FIGURES
from benchctl.documents.sequence_file.steps import STEP_CLASSES
from tools.reference.markdown import WRITTEN, code, table
from tools.reference.steps import figures_of, kind_of

_ABOUT = """\
# Figures

{written}Every figure that a run may give, with the steps that give it. What a figure's uncertainty means stands in
[how it measures](../measuring.md). A ratio has the unit 1, so that 0.01 is 1 %.

"""
_COLUMNS = """\
## The columns of figures.csv

A row for each figure, in the order in which they were measured. The conditions of each figure stand in its row, so the
tables of several runs can be put together, for example by `pandas.concat`. A cell is empty where nothing is known or
nothing applies, and in the columns that an older version did not write.

"""


_REANALYSIS = """\

## The columns of a reanalysis

[`benchctl reanalyse`](../reanalyse.md) writes the columns of figures.csv as figures come out today, and behind them:

"""


def page() -> str:
    """The page of figures."""
    figures = ((code(name), figure.unit or "1", figure.meaning, _steps(name)) for name, figure in FIGURES.items())
    columns = ((code(name), column.meaning) for name, column in TABLE.items())
    parts = (
        _ABOUT.format(written=WRITTEN),
        table(("figure", "unit", "is", "given by"), figures),
        _COLUMNS,
        table(("column", "holds"), columns),
        _REANALYSIS,
        table(("column", "holds"), ((code(name), meaning) for name, meaning in ADDED.items())),
    )
    return "".join(parts).rstrip() + "\n"


def _steps(figure: str) -> str:
    return ", ".join(f"[{kind}](steps.md#{kind})" for kind in givers(figure))


def givers(figure: str) -> Iterator[str]:
    """The steps that give a figure."""
    for step in STEP_CLASSES:
        if figure in (*figures_of(step), *step.AT_TIMES):
            yield kind_of(step)
