"""benchctl budget: what a figure's uncertainty is made of."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.cli.conftest import Command, RunFolderOf
from tests.cli.files import TONE


@pytest.fixture
def folder(run_folder_of: RunFolderOf) -> Path:
    return run_folder_of(TONE)


NAMES = ("idle_current", "dc_offset", "continuous_power", "output_rms", "efficiency", "supply_voltage")


def test_the_parts_add_up_to_the_uncertainty_of_the_figure(benchctl: Command, folder: Path) -> None:
    for name in NAMES:
        budgets = benchctl("budget", folder, name, "--json").data
        assert budgets, name
        for budget in budgets:
            u = math.hypot(*(part["standard_uncertainty"] for part in budget["contributions"]))
            assert budget["coverage_factor"] * u == pytest.approx(budget["expanded_uncertainty"], rel=1e-6), name


def test_the_largest_part_comes_first_with_its_share(benchctl: Command, folder: Path) -> None:
    """Half a percent of the oscilloscope's reading, and of the probe's ratio, each count twice in a power."""
    lines = benchctl("budget", folder, "continuous_power", "--channel", "A").out.splitlines()
    assert lines[0].startswith("continuous_power A: ")
    assert "4 ohm, 1 kHz" in lines[1]
    shares = [float(line.rsplit(maxsplit=1)[1].rstrip("%")) for line in lines[2:-1]]
    assert shares == sorted(shares, reverse=True)
    assert any("output A: scale of the probe" in line for line in lines[2:4])
    assert "U = " in lines[-1]
    assert lines[-1].endswith("(limits of error dominate)")


def test_a_figure_that_the_run_has_not_is_told_with_those_that_it_has(benchctl: Command, folder: Path) -> None:
    ended = benchctl("budget", folder, "loudness")
    assert ended.exit_code == 2
    assert "no such figure 'loudness'; it has" in ended.err
    assert "continuous_power" in ended.err


def test_a_folder_without_its_captures_says_why_there_is_no_budget(benchctl: Command, folder: Path) -> None:
    for capture in (folder / "captures").glob("*.npz"):
        capture.unlink()
    assert "no budget: it cannot be computed" in benchctl("budget", folder, "continuous_power").out
