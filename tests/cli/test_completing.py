"""The Tab key: each shell asks in its own protocol, and is answered at once from the index as it is."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import click
import pytest

from benchctl.archive.collection.indexed.index import collection_of
from benchctl.cli.main import cli
from benchctl.library import shipped
from benchmarks.collection import workshop
from tests.shared_runs import SharedRuns

HEAVY = ("numpy", "pandas", "pydantic", "pyvisa", "matplotlib", "rich", "yaml", "jinja2")
# Asks as bash does for each command line, and says at the end which heavy packages were loaded for all of them.
ASKING = f"""
import contextlib, io, json, os, sys
from click.shell_completion import shell_complete
from benchctl.cli.main import COMPLETE_VARIABLE, cli
told = []
for words in json.loads(sys.argv[1]):
    os.environ["COMP_WORDS"], os.environ["COMP_CWORD"] = " ".join(["benchctl", *words]), str(len(words))
    with contextlib.redirect_stdout(io.TextIOWrapper(io.BytesIO())) as out:
        assert shell_complete(cli, {{}}, "benchctl", COMPLETE_VARIABLE, "bash_complete") == 0
    out.flush()
    lines = out.buffer.getvalue().decode().split()
    told.append([line.partition(",")[2] for line in lines if not line.startswith("dir,")])
print(json.dumps([told, [name for name in {HEAVY!r} if name in sys.modules]]))
"""


@pytest.fixture(scope="module")
def place(shared_runs: SharedRuns, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with runs that were listed, and with documents of one's own."""
    folder = tmp_path_factory.mktemp("place")
    pattern = workshop.pattern_of(shared_runs.of("quick_check", "hx2150").folder)
    list(workshop.fill(folder / "runs", [pattern], 3))
    collection_of(folder / "runs")
    for name, kind in {"mine": "sequence", "my_bench": "bench", "my_amplifier": "amplifier"}.items():
        (folder / f"{name}.yaml").write_text(f"# mine\nbenchctl: {kind} 1\ntitle: mine\n", encoding="utf-8")
    return folder


def run(place: Path, arguments: Sequence[str], **variables: str) -> str:
    """What Python prints, without any complaint."""
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=place,
        env={**os.environ, **variables},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def completed(place: Path, *lines: Sequence[str], **variables: str) -> tuple[list[list[str]], list[str]]:
    """What the last word of each line may become, and what heavy packages were loaded."""
    told, heavy = json.loads(run(place, ["-c", ASKING, json.dumps(lines)], **variables))
    return told, heavy


def test_commands_documents_runs_and_figures_are_completed_without_anything_heavy(place: Path) -> None:
    names = sorted((path.name for path in (place / "runs").iterdir()), reverse=True)
    serials = sorted(found.serial for found in collection_of(place / "runs").runs)
    with_folder = ("report", "verify", "resume", "note", "budget", "replay", "export")
    expected: Mapping[tuple[str, ...], list[str]] = {
        ("rep",): ["replay", "report"],
        ("run", "quick"): ["quick_check"],
        ("run", "m"): [*(name for name in shipped("sequences") if name.startswith("m")), "mine.yaml"],
        ("safe", "--bench", "my"): ["my_bench.yaml"],
        ("simulate", "worksh"): ["workshop"],
        ("run", "quick_check", "--amplifier", "my"): ["my_amplifier.yaml"],
        ("preflight", "quick_check", "--amplifier", "hx"): ["hx2150", "hx2150_bridged"],
        **{(command, "la"): ["latest"] for command in with_folder},
        ("verify", "HX"): serials,
        ("report", names[0], "2023"): names,
        ("budget", "latest", "continuous_p"): ["continuous_power"],
        ("find", "continuous_p"): ["continuous_power"],
        ("find", "continuous_power", "a"): ["at", "above"],
        ("list", "--serial", "HX"): serials,
    }
    told, heavy = completed(place, *expected)
    assert dict(zip(expected, told, strict=True)) == expected
    assert heavy == []


def test_no_command_waits_for_what_reaches_instruments_computes_with_tables_or_draws(place: Path) -> None:
    """Whatever options are asked for. Pydantic, which some have in their options, takes a tenth of a second."""
    told, heavy = completed(place, *([name, "--"] for name in cli.list_commands(click.Context(cli))))
    assert all("--help" in options for options in told)
    assert {"pandas", "pyvisa", "matplotlib"}.isdisjoint(heavy)


def test_without_an_index_names_come_from_the_folder_itself(place: Path, tmp_path: Path) -> None:
    shutil.copytree(place / "runs", tmp_path / "other")
    told, _ = completed(place, ["verify", "2023"], ["verify", "HX"], BENCHCTL_RUNS=str(tmp_path / "other"))
    assert told == [sorted(path.name for path in (place / "runs").iterdir()), []]


@pytest.mark.parametrize(
    ("shell", "begun", "expected"),
    [
        ("bash", "2", ["plain,latest"]),
        ("zsh", "2", ["plain", "latest", "the newest run"]),
        ("fish", "la", ["plain", "latest", "the newest run"]),
        ("powershell", "2", ["latest"]),
    ],
)
def test_each_shell_is_given_its_script_and_answered_in_its_protocol(
    place: Path, tmp_path: Path, shell: str, begun: str, expected: list[str]
) -> None:
    """As the command itself answers, whichever of these shells are installed here."""
    command = ["-m", "benchctl"]
    asked = {"_BENCHCTL_COMPLETE": f"{shell}_complete", "COMP_WORDS": "benchctl verify la", "COMP_CWORD": begun}
    told = run(place, command, **asked)
    assert all(word in told for word in expected)
    script = tmp_path / "script"
    script.write_text(run(place, command, _BENCHCTL_COMPLETE=f"{shell}_source"), encoding="utf-8")
    assert f"{shell}_complete" in script.read_text("utf-8")
    if shutil.which(shell):  # a shell that is there takes the script without complaint
        read = subprocess.run([shell, str(script)], capture_output=True, text=True, check=False)
        assert (read.returncode, read.stderr) == (0, "")


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not installed here")
def test_bash_itself_completes_a_word(place: Path, tmp_path: Path) -> None:
    """With the script that it is given; outside a prompt it only says of folders that it completes nothing."""
    (tmp_path / "script").write_text(run(place, ["-m", "benchctl"], _BENCHCTL_COMPLETE="bash_source"), encoding="utf-8")
    asking = (
        f"source '{tmp_path}/script'; COMP_WORDS=(benchctl verify la); COMP_CWORD=2; "
        f"_benchctl_completion '{Path(sys.executable).parent}/benchctl' 2>/dev/null; echo \"${{COMPREPLY[@]}}\""
    )
    done = subprocess.run(["bash", "-c", asking], cwd=place, capture_output=True, text=True, check=True)
    assert done.stdout == "latest\n"
