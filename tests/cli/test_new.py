"""`new` writes a file of one's own that is in order as it is written, and never over one that is there."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchctl.cli.new import new
from benchctl.documents.amplifier import Amplifier
from benchctl.documents.bench import Bench
from benchctl.documents.reader import load_amplifier, load_bench, read_any
from benchctl.errors import DocumentError, UsageError
from benchctl.launch.run import Documents
from benchctl.runner.plan import expand
from benchctl.runner.preflight import preflight

KINDS = ("sequence", "amplifier", "bench", "driver")


def invoke(*arguments: str, answers: str = "\n" * 20) -> Result:
    return CliRunner().invoke(new, arguments, input=answers, standalone_mode=False)


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_written_for_the_defaults_passes_check(kind: str, tmp_path: Path) -> None:
    result = invoke(kind, str(tmp_path / "mine.yaml"))
    assert result.exception is None, result.output
    assert read_any(tmp_path / "mine.yaml")


@pytest.mark.parametrize("role", ["generator", "oscilloscope", "load", "supply", "thermometer"])
def test_a_driver_of_each_role_can_be_begun(role: str, tmp_path: Path) -> None:
    assert invoke("driver", str(tmp_path / "mine.yaml"), "--role", role).exception is None


def test_the_three_new_files_pass_preflight_together(tmp_path: Path) -> None:
    for kind in KINDS[:3]:
        invoke(kind, str(tmp_path / f"{kind}.yaml"))
    files = Documents(tmp_path / "sequence.yaml", tmp_path / "bench.yaml", tmp_path / "amplifier.yaml").load()
    assert preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True).hazards == ()


def test_answers_go_into_the_file(tmp_path: Path) -> None:
    path = tmp_path / "unit.yaml"
    options = ["--class", "D", "--channels", "Left, Right, Sub", "--rated", "4 ohm=75 W"]
    assert invoke("amplifier", str(path), *options, "--title", "Deck: 3, port side").exception is None
    amplifier: Amplifier = load_amplifier(path)
    assert amplifier.title == "Deck: 3, port side"
    assert amplifier.channels == ("Left", "Right", "Sub")
    assert [(line.load_ohm, line.power_w) for line in amplifier.rated] == [(4.0, 75.0)]


def test_a_bench_has_a_resistor_for_each_channel_and_load(tmp_path: Path) -> None:
    path = tmp_path / "bench.yaml"
    invoke("bench", str(path), "--channels", "A, B", "--loads", "8 ohm, 4 ohm, 2 ohm")
    bench: Bench = load_bench(path)
    assert bench.instruments.load is not None
    assert bench.instruments.load.kind == "relay bank"
    assert len(bench.instruments.load.resistors) == 6


def test_a_sequence_measures_what_was_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    invoke("sequence", str(path), "--measure", "continuous")
    files = Documents(path, "workshop", "hx2150").load()
    kinds = {planned.step.kind for planned in expand(files.sequence, files.amplifier, files.bench)}
    assert "measure_continuous" in kinds
    assert "measure_burst" not in kinds


def test_a_file_that_is_there_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text("precious")
    assert isinstance(invoke("sequence", str(path)).exception, UsageError)
    assert path.read_text() == "precious"


def test_an_answer_that_is_no_quantity_is_told_and_nothing_is_left_behind(tmp_path: Path) -> None:
    path = tmp_path / "unit.yaml"
    result = invoke("amplifier", str(path), "--fuse", "sixty")
    assert isinstance(result.exception, DocumentError)
    assert "sixty" in str(result.exception)
    assert not path.exists()
