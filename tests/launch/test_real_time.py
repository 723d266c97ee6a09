"""The same run in real time and dry: figures that agree within their uncertainty. It takes half a minute, once."""

from __future__ import annotations

import csv
import json
import math
import os
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.cli.files import bench_on_free_ports
from tests.faults.forking import begin

# Against a hung run only; the sequence itself lasts less than 30 s.
PATIENCE_S = 110
Rows = Mapping[tuple[str, ...], dict[str, str]]


def benchctl(*arguments: str | Path, folder: Path) -> subprocess.Popen[str]:
    return begin([*map(str, arguments)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=folder)


def run(bench_file: Path, folder: Path, *options: str) -> Any:
    """The outcome of quick_check as JSON."""
    process = benchctl(
        "run", "quick_check", "-b", bench_file, "-a", "hx2150", "--out", folder, "--json", *options, folder=folder
    )
    out, err = process.communicate(timeout=PATIENCE_S)
    assert out, err
    return json.loads(out)


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, Any]]:
    """The same sequence on the same bench file: in real time against a served bench, and dry."""
    folder = tmp_path_factory.mktemp("runs")
    bench_file = bench_on_free_ports(folder)
    served = benchctl("simulate", bench_file, "--amplifier", "hx2150", "--json", folder=folder)
    try:
        assert served.stdout is not None
        json.loads(served.stdout.readline())
        yield run(bench_file, folder, "--record"), run(bench_file, folder, "--dry-run")
    finally:
        served.kill()
        served.communicate()


def figures(outcome: Any) -> Rows:
    """The figures by what they are of."""
    keys = ("step", "load_ohm", "frequency_hz", "burst_cycles", "channel", "figure")
    with open(os.path.join(outcome["folder"], "figures.csv"), encoding="utf-8", newline="") as file:
        return {tuple(row[key] for key in keys): row for row in csv.DictReader(file)}


def test_the_run_in_real_time_ends_as_its_dry_run_does(outcomes: tuple[Any, Any]) -> None:
    real, dry = outcomes
    assert (real["exit_code"], real["error"]) == (0, None)
    assert real["verdicts"] == dry["verdicts"]
    assert all(part["confirmed"] for part in real["safe_state"])


def test_it_gives_the_same_figures_as_its_dry_run_within_their_uncertainty(outcomes: tuple[Any, Any]) -> None:
    """Both see the same bench with the same errors, so they differ by noise, settling and warmth alone."""
    real, dry = map(figures, outcomes)
    assert real.keys() == dry.keys()
    off = {key: (real[key]["value"], dry[key]["value"]) for key in real if not agree(real[key], dry[key])}
    assert off == {}


def agree(one: Mapping[str, str], other: Mapping[str, str]) -> bool:
    """Whether two figures lie within their combined expanded uncertainty; a bound says no more than its side."""
    if one["bound"] or other["bound"]:
        return one["bound"] == other["bound"]
    expanded = math.hypot(float(one["expanded_uncertainty"]), float(other["expanded_uncertainty"]))
    return abs(float(one["value"]) - float(other["value"])) <= expanded


def test_its_figures_can_be_computed_again(outcomes: tuple[Any, Any]) -> None:
    real, _ = outcomes
    process = benchctl("verify", real["folder"], "--json", folder=Path(real["folder"]))
    out, err = process.communicate(timeout=PATIENCE_S)
    assert out, err
    assert json.loads(out)["agrees"] is True


def test_it_is_told_as_simulated_though_it_was_run_as_on_a_real_bench(outcomes: tuple[Any, Any]) -> None:
    """In what the run says, in its journal, in its table and on its page."""
    real, _ = outcomes
    folder = Path(real["folder"])
    began = json.loads((folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()[0])
    roles = ["generator", "oscilloscope", "load", "supply", "thermometer"]
    assert (real["simulated"], real["simulated_instruments"]) == (True, roles)
    assert (began["dry_run"], began["simulated"]) == (False, roles)
    assert {row["simulated"] for row in figures(real).values()} == {"true"}
    assert "Simulated figures are not measurements." in (folder / "report.html").read_text(encoding="utf-8")


def test_recorded_in_real_time_and_replayed_in_virtual_time_it_gives_the_same_figures(
    outcomes: tuple[Any, Any], tmp_path: Path
) -> None:
    """Run and guard interleave otherwise in the two times; the answers are told apart by question and by who asked."""
    real, _ = outcomes
    process = benchctl("replay", real["folder"], "--out", tmp_path, "--json", folder=tmp_path)
    out, err = process.communicate(timeout=PATIENCE_S)
    assert out, err
    replayed = json.loads(out)
    assert (replayed["exit_code"], replayed["error"], replayed["replayed"]) == (0, None, True)
    found, again = figures(real), figures(replayed)
    assert found.keys() == again.keys()
    assert len(found) > 30
    # A mean over a second of readings holds as many of them as a busy computer has time for, so it may move a little.
    assert [what for what in found if not agree(found[what], again[what])] == []
    from_records = [what for what in found if what[-1].startswith(("burst_", "continuous_"))]
    assert len(from_records) > 10
    assert {what: again[what]["value"] for what in from_records} == {
        what: found[what]["value"] for what in from_records
    }
