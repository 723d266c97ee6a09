"""Draw docs/demo.svg: what a terminal shows at the end of `make demo`."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from rich.console import Console

from benchctl.cli.shown.closing_line import last_lines
from benchctl.cli.shown.tables import closing_tables
from benchctl.cli.shown.views import PlainView
from benchctl.launch.run import Documents, run
from tools.marked import ROOT

PICTURE = ROOT / "docs" / "demo.svg"
DOCUMENTS = Documents("burst_and_continuous", "workshop", "hx2150")
WIDTH = 120
# The folder's name holds the day on which the picture is drawn, which would make every drawing another one.
FOLDER = Path("runs/20261124-221003-burst-and-continuous-power-at-1-khz-hx-2150")
FONTS = "ui-monospace, Menlo, Consolas, DejaVu Sans Mono, monospace"


def picture() -> str:
    """The closing tables of a dry run and its last line, as SVG; the same each time."""
    quiet = PlainView(Console(quiet=True))
    with TemporaryDirectory() as folder:
        result = run(DOCUMENTS, quiet, out=Path(folder), dry_run=True)
    shown = Console(record=True, file=io.StringIO(), width=WIDTH, force_terminal=True, color_system="truecolor")
    shown.print(closing_tables(quiet.run.recorder.measured, quiet.run.files.amplifier))
    shown.print(last_lines(replace(result, folder=FOLDER)))
    return _self_contained(shown.export_svg(title="make demo", unique_id="demo"))


def _self_contained(svg: str) -> str:
    """A page must show without asking another server for a font."""
    without_fonts = re.sub(r"@font-face \{.*?\}\s*", "", svg, flags=re.DOTALL)
    return without_fonts.replace("Fira Code, monospace", FONTS)


def words_of(svg: str) -> list[str]:
    """The pieces of a picture's text, each digit as 0: what stays the same when a figure moves a little."""
    return [re.sub(r"\d", "0", piece) for piece in re.findall(r"<text[^>]*>([^<]*)</text>", svg)]


if __name__ == "__main__":
    PICTURE.write_text(picture(), encoding="utf-8")
