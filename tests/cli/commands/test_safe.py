"""benchctl safe: the safe state now; an instrument that is gone does not keep the others from it."""

from __future__ import annotations

import re
from pathlib import Path

from benchctl.launch.simulated.serving import served
from tests.cli.conftest import Command
from tests.cli.files import bench_on_free_ports, written
from tests.ports import free_port

CONFIRMED = """\
generator: output off: confirmed
supply: output 'remote' off: confirmed
supply: output 'main' off: confirmed
load: disconnected: confirmed
"""


def test_every_instrument_confirms_in_the_order_of_the_safe_state(benchctl: Command, tmp_path: Path) -> None:
    file = bench_on_free_ports(tmp_path)
    with served(file, "hx2150"):
        ended = benchctl("safe", "--bench", file)
    assert (ended.exit_code, ended.out, ended.err) == (0, CONFIRMED, "")


def test_a_calibration_file_that_is_missing_does_not_keep_the_bench_from_being_safe(
    benchctl: Command, tmp_path: Path
) -> None:
    file = bench_on_free_ports(tmp_path)
    text = file.read_text(encoding="utf-8")
    with served(file, "hx2150"):
        file.write_text(text.replace("\ninstruments:", "\ncalibration: lost.yaml\ninstruments:", 1), encoding="utf-8")
        ended = benchctl("safe", "--bench", file)
    assert (ended.exit_code, ended.out, ended.err) == (0, CONFIRMED, "")


def test_an_instrument_that_is_gone_is_named_and_the_others_are_safe(benchctl: Command, tmp_path: Path) -> None:
    file = bench_on_free_ports(tmp_path)
    text = file.read_text(encoding="utf-8")
    generator = re.search(r"::(\d+)::", text)
    assert generator
    moved = written(tmp_path / "moved.yaml", text, (generator.group(), f"::{free_port()}::"))
    with served(file, "hx2150"):
        ended = benchctl("safe", "--bench", moved)
    assert ended.exit_code == 5
    assert ended.out == CONFIRMED.replace("generator: output off: confirmed\n", "")
    assert "generator: output off: NOT CONFIRMED (" in ended.err
    assert ended.err.endswith("NOT SAFE: switch off by hand what is not confirmed above.\n")


def test_json_holds_each_instruments_own_word(benchctl: Command, tmp_path: Path) -> None:
    ended = benchctl("safe", "--bench", bench_on_free_ports(tmp_path), "--json")
    assert ended.exit_code == 5
    assert [part["confirmed"] for part in ended.data] == [False] * 4
    assert all("nothing answers" in part["detail"] for part in ended.data)
