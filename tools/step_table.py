"""Write README's table of steps from the models of the steps."""

from __future__ import annotations

import inspect

from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.documents.sequence_file.steps import STEP_CLASSES
from tools.marked import ROOT, rewrite

PAGE = ROOT / "README.md"
PART = "table of steps"


def step_table() -> str:
    """A row a step: its kind, the first paragraph of what its class says, and its settings."""
    rows = ["| step | does | settings |", "| --- | --- | --- |", *map(_row, STEP_CLASSES)]
    return "".join(f"{row}\n" for row in rows)


def _row(step: type[StepBase]) -> str:
    kind = step.model_fields["kind"].default
    says = " ".join(inspect.cleandoc(step.__doc__ or "").split("\n\n")[0].split()).rstrip(".")
    settings = ", ".join(f"`{name}`" for name in _settings(step))
    return f"| `{kind}` | {says[:1].lower()}{says[1:]} | {settings} |"


def _settings(step: type[StepBase]) -> list[str]:
    """As a document writes them; what `require` is given are figures, whatever they are called."""
    written = (field.alias or name for name, field in step.model_fields.items())
    return [name for name in written if name not in {"kind", "criteria"}]


if __name__ == "__main__":
    rewrite(PAGE, PART, step_table())
