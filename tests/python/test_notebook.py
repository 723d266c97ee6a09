"""The example notebook runs, in a kernel of its own, and comes to what it says."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import nbclient
import nbformat
import pytest

from tests.pages import ROOT

NOTEBOOK = ROOT / "docs" / "ferry_amplifier.ipynb"
# Nothing here takes a tenth of this; it only ends the wait for a broken kernel.
DEADLINE_S = 300
TRUE_GAIN_DB = 30.08  # 20 lg 31.9, of the simulated amplifier's file


@pytest.fixture(scope="module")
def notebook() -> Any:
    return nbformat.read(NOTEBOOK, as_version=4)


def test_the_notebook_is_kept_without_outputs(notebook: Any) -> None:
    """They would be of one day, and of somebody's folders."""
    nbformat.validate(notebook)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert all(cell.outputs == [] and cell.execution_count is None for cell in code)


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # of the kernel's own libraries
def test_the_notebook_makes_a_run_a_table_pictures_a_spectrum_and_a_session(notebook: Any, tmp_path: Path) -> None:
    nbclient.NotebookClient(notebook, timeout=DEADLINE_S, resources={"metadata": {"path": str(tmp_path)}}).execute()
    outputs = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    said = "".join(output.get("text", "") for output in outputs)
    data = [output.data for output in outputs if "data" in output]
    assert any("<Simulated. Quick check: HX 2150. Finished." in each.get("text/plain", "") for each in data)
    assert any("continuous_power" in each.get("text/html", "") for each in data)
    assert sum("image/png" in each for each in data) == 2
    assert "The loudest tone is at 1000 Hz." in said
    assert "Finished. Safe. SIMULATED." in said
    gains_db = [float(gain) for gain in re.findall(r"gain ([\d.]+) dB", said)]
    assert gains_db == pytest.approx([TRUE_GAIN_DB] * 3, abs=0.5)  # 3 % of an oscilloscope and 2 % of a generator
    assert len(list((tmp_path / "runs").iterdir())) == 2
