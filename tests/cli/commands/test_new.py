"""`new` writes your own file that is in order as it is written, and never over one that is there."""

from __future__ import annotations

import json
import os
import pty
import re
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator

from benchctl import library
from benchctl.cli.commands.new import new
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.reader import load_amplifier, load_bench, load_driver, read_any
from benchctl.documents.schema import KINDS, Kind
from benchctl.documents.starter import MEASUREMENTS
from benchctl.errors import DocumentError, UsageError
from benchctl.launch.run import Documents, run
from benchctl.launch.simulated.serving import served
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchmarks.nobody import Nobody
from tests.announcing import alone_on_the_air
from tests.cli.files import bench_on_free_ports

LOOPBACK = next(name for _, name in socket.if_nameindex() if name.startswith("lo"))


def invoke(*arguments: str, answers: str = "") -> Result:
    return CliRunner().invoke(new, arguments, input=answers, standalone_mode=False)


# `benchctl calibrate` writes calibration files, from what is measured.
BEGUN = [kind for kind in KINDS if kind != "calibration"]


def written(folder: Path, kind: str, *arguments: str) -> Path:
    """A new file for which nothing is asked."""
    path = folder / f"{kind}.yaml"
    result = invoke(kind, str(path), "--yes", *arguments)
    assert result.exception is None, result.output
    return path


@pytest.mark.parametrize("kind", BEGUN)
def test_enter_takes_what_is_offered_and_the_file_passes_check(kind: str, tmp_path: Path) -> None:
    result = invoke(kind, str(tmp_path / "mine.yaml"), answers="\n" * 20)
    assert result.exception is None, result.output
    assert read_any(tmp_path / "mine.yaml")
    assert (tmp_path / "mine.yaml").read_text() == written(tmp_path, kind).read_text()


# An answer to each question, other than the one that is offered.
ANSWERS: dict[str, dict[str, str]] = {
    "sequence": {"--title": "Deck: 3, port side", "--measure": "response, noise, damping, burst, continuous"},
    "amplifier": {
        "--title": "#17 & 'more'",
        "--class": "D",
        "--channels": "Left, Right, Sub",
        "--outputs": "floating",
        "--nominal": "13.8V",
        "--minimum": "9 V",
        "--maximum": "18 V",
        "--fuse": "30 A",
        "--minimum-load": "1 ohm",
        "--gain": "26 dB",
        "--idle-current": "800 mA",
        "--rated": "4 ohm=75 W",
    },
    "bench": {
        "--title": "Bench: 2",
        "--generator": "USB0::0x1234::0x5678::A1::INSTR",
        "--oscilloscope": "TCPIP::scope.local::inst0::INSTR",
        "--load": "ASRL/dev/ttyUSB0::INSTR",
        "--supply": "GPIB0::7::INSTR",
        "--thermometer": "TCPIP0::192.168.0.9::hislip0::INSTR",
        "--channels": "A",
        "--loads": "8 ohm, 4 ohm, 2 ohm",
    },
    "driver": {"--role": "thermometer"},
}
OPTIONS = [(kind, option) for kind, answers in ANSWERS.items() for option in answers]


@pytest.mark.parametrize(("kind", "option"), OPTIONS)
def test_every_answer_alone_makes_a_file_that_passes_check(kind: str, option: str, tmp_path: Path) -> None:
    offered = written(tmp_path, kind, "--no-schema").read_text()
    (tmp_path / f"{kind}.yaml").unlink()
    path = written(tmp_path, kind, "--no-schema", option, ANSWERS[kind][option])
    assert read_any(path)
    assert path.read_text() != offered


@pytest.mark.parametrize("kind", BEGUN)
def test_all_answers_together_make_one_too_and_none_is_left_out_here(kind: str, tmp_path: Path) -> None:
    asked = {param.opts[0] for param in new.commands[kind].params if getattr(param, "prompt", None)}  # type: ignore[attr-defined]
    assert asked == set(ANSWERS[kind])
    assert read_any(written(tmp_path, kind, *(word for pair in ANSWERS[kind].items() for word in pair)))


def test_the_three_new_files_run_dry_together_without_a_change(tmp_path: Path) -> None:
    """With all that can be measured, into one rated load."""
    paths = [
        written(tmp_path, "sequence", "--measure", ", ".join(MEASUREMENTS)),
        written(tmp_path, "bench"),
        written(tmp_path, "amplifier", "--rated", "4 ohm = 100 W"),
    ]
    documents = Documents(*paths)
    files = documents.load()
    assert preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True).hazards == ()
    outcome = run(documents, Nobody(), out=tmp_path, dry_run=True, unattended=True).outcome
    assert outcome.error is None
    assert outcome.unmeasured == ()
    named = {figure.name for figure in outcome.figures}
    assert named >= {"burst_power_clean", "continuous_power", "gain", "output_noise", "damping_factor"}


@pytest.mark.parametrize(
    ("plate", "wired"),
    [
        (
            {"--class": "D", "--outputs": "floating", "--channels": "Sub", "--minimum-load": "1 ohm", "--gain": "34 dB"}
            | {"--rated": "1 ohm = 300 W, 2 ohm=200 W", "--idle-current": "2 A", "--fuse": "60 A"},
            {"--channels": "Sub", "--loads": "1 ohm, 2 ohm"},
        ),
        (
            {"--class": "H", "--channels": "Left, Right, Centre", "--nominal": "13.2 V", "--rated": "8 ohm = 40 W"}
            | {"--minimum-load": "8 ohm", "--maximum": "15 V"},
            {"--channels": "Left, Right, Centre", "--loads": "8 ohm"},
        ),
    ],
)
def test_so_do_other_amplifiers_on_benches_that_are_wired_for_them(
    plate: dict[str, str], wired: dict[str, str], tmp_path: Path
) -> None:
    documents = Documents(
        written(tmp_path, "sequence", "--measure", "noise, response"),
        written(tmp_path, "bench", *(word for pair in wired.items() for word in pair)),
        written(tmp_path, "amplifier", *(word for pair in plate.items() for word in pair)),
    )
    outcome = run(documents, Nobody(), out=tmp_path, dry_run=True, unattended=True).outcome
    assert (outcome.error, outcome.unmeasured) == (None, ())
    channels = {figure.channel for figure in outcome.figures if figure.name == "gain"}
    assert channels == set(wired["--channels"].split(", "))


def test_a_new_sequence_measures_on_every_bench_that_ships(tmp_path: Path) -> None:
    path = written(tmp_path, "sequence", "--measure", ", ".join(MEASUREMENTS))
    for bench, amplifier in (("workshop", "kx240"), ("coach_bench", "cx4090"), ("heavy_bench", "lw1200")):
        files = Documents(path, bench, amplifier).load()
        assert preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True).hazards == ()


@pytest.mark.parametrize("role", ["generator", "oscilloscope", "load", "supply", "thermometer"])
def test_a_new_driver_serves_a_new_bench(role: str, tmp_path: Path) -> None:
    written(tmp_path, "driver", "--role", role)
    path = written(tmp_path, "bench")
    path.write_text(re.sub(rf"driver: {role}/\w+", "driver: ./driver.yaml", path.read_text()))
    assert "./driver.yaml" in path.read_text()
    assert load_bench(path)


def test_answers_go_into_the_file(tmp_path: Path) -> None:
    path = written(tmp_path, "amplifier", *(word for pair in ANSWERS["amplifier"].items() for word in pair))
    amplifier: Amplifier = load_amplifier(path)
    assert amplifier.title == "#17 & 'more'"
    assert amplifier.channels == ("Left", "Right", "Sub")
    assert [(line.load_ohm, line.power_w) for line in amplifier.rated] == [(4.0, 75.0)]
    assert amplifier.gain_ratio == pytest.approx(19.95, abs=0.01)  # 26 dB, by definition of the decibel


def test_a_bench_has_a_resistor_for_each_channel_and_load(tmp_path: Path) -> None:
    bench: Bench = load_bench(written(tmp_path, "bench", "--channels", "A, B", "--loads", "8 ohm, 4 ohm, 2 ohm"))
    assert bench.instruments.load is not None
    assert bench.instruments.load.kind == "relay bank"
    assert len(bench.instruments.load.resistors) == 6


def test_a_sequence_measures_what_was_asked_for(tmp_path: Path) -> None:
    files = Documents(written(tmp_path, "sequence", "--measure", "continuous"), "workshop", "hx2150").load()
    kinds = {planned.step.kind for planned in expand(files.sequence, files.amplifier, files.bench)}
    assert "measure_continuous" in kinds
    assert "measure_burst" not in kinds


def test_a_file_that_is_there_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text("precious")
    assert isinstance(invoke("sequence", str(path), "--yes").exception, UsageError)
    assert path.read_text() == "precious"


# -- what is asked -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "answers", "told"),
    [
        ("amplifier", ["", "XX", "AB"], "'XX' is not one of 'A', 'AB', 'B', 'D', 'G', 'H'"),
        ("amplifier", ["", "", "A;B", "A"], "'A;B' is not accepted; a name of letters and digits is wanted"),
        ("amplifier", ["", "", "", "", "14,4 V", "14.4 V"], "'14,4 V' has a decimal comma"),
        ("amplifier", ["", "", "", "", "-3 V", "3 V"], "'-3 V' is out of range; it must be more than 0 V"),
        ("sequence", ["", "burst, respons", "burst"], "unknown measurement 'respons'; did you mean 'response'?"),
        ("sequence", ["", ",", "burst"], "nothing is given; at least one is needed"),
        ("bench", ["", "192.168.0.7", "TCPIP::192.168.0.7::INSTR"], "is not a VISA address; write it like"),
    ],
)
def test_an_answer_that_will_not_do_is_told_at_once_and_asked_for_again(
    kind: str, answers: list[str], told: str, tmp_path: Path
) -> None:
    result = invoke(kind, str(tmp_path / "mine.yaml"), answers="\n".join(answers) + "\n" * 20)
    assert told in result.output
    assert result.output.count("Error:") == 1


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--fuse", "sixty", "'sixty' is not a number with a unit; write for example '90 A'"),
        ("--rated", "4 ohm 100 W", "'4 ohm 100 W' has no equals sign; write for example '4 ohm = 100 W'"),
        ("--rated", "4 ohm = 100 V", "'V' is not accepted here; give W"),
    ],
)
def test_an_option_that_will_not_do_is_refused_by_name(option: str, value: str, told: str, tmp_path: Path) -> None:
    refused = invoke("amplifier", str(tmp_path / "unit.yaml"), "--yes", option, value).exception
    assert told in refused.format_message()  # type: ignore[union-attr]
    assert option in refused.format_message()  # type: ignore[union-attr]
    assert list(tmp_path.iterdir()) == []


def test_answers_that_contradict_each_other_are_told_and_nothing_is_left_behind(tmp_path: Path) -> None:
    result = invoke("amplifier", str(tmp_path / "unit.yaml"), "--yes", "--minimum", "20 V")
    assert isinstance(result.exception, DocumentError)
    assert "the minimum supply voltage must not lie above the nominal one" in str(result.exception)
    assert list(tmp_path.iterdir()) == []


def test_where_nobody_can_answer_it_says_which_options_do(tmp_path: Path) -> None:
    refused = invoke("sequence", str(tmp_path / "mine.yaml"), answers="A title\n").exception
    assert "give --measure, or --yes to accept the defaults" in refused.format_message()  # type: ignore[union-attr]
    assert list(tmp_path.iterdir()) == []


def test_on_a_terminal_it_asks_for_all_that_no_option_says(tmp_path: Path) -> None:
    """A wrong answer is asked for again, and what is typed is echoed, as a terminal does."""
    questions, typed = asked_on_a_terminal(tmp_path, "amplifier", "--title", "Deck 3", answers=["XX", "D", *[""] * 10])
    assert questions.count("Class of the output stage (A, AB, B, D, G, H) [AB]: ") == 2
    assert "Title" not in questions
    assert "Rated power per channel by load [4 ohm = 100 W, 2 ohm = 160 W]: " in questions
    amplifier: Amplifier = load_amplifier(typed)
    assert (amplifier.title, amplifier.amplifier_class) == ("Deck 3", "D")


def asked_on_a_terminal(folder: Path, kind: str, *options: str, answers: list[str]) -> tuple[str, Path]:
    """All that a terminal showed, and the file. What is typed ahead waits in the terminal until it is asked for."""
    path = folder / "mine.yaml"
    program = "import sys; from benchctl.cli.main import main; main(sys.argv[1:])"
    terminal, side = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-c", program, "new", kind, str(path), *options], stdin=side, stdout=side, stderr=side
    ) as asking:
        os.close(side)
        os.write(terminal, "".join(f"{answer}\n" for answer in answers).encode())
        shown = b"".join(iter(lambda: _read(terminal), b""))
    os.close(terminal)
    assert asking.returncode == 0, shown
    return shown.decode().replace("\r\n", "\n"), path


def _read(terminal: int) -> bytes:
    try:
        return os.read(terminal, 4096)
    except OSError:  # how Linux says that the other side has gone
        return b""


# -- the schema beside it ------------------------------------------------------------------------------------------


class Plain(yaml.SafeLoader):
    """YAML as an editor takes it: a date is a string."""


Plain.yaml_implicit_resolvers = {
    first: [(tag, rule) for tag, rule in resolvers if tag != "tag:yaml.org,2002:timestamp"]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def as_an_editor_sees(path: Path, text: str) -> list[str]:
    """The faults of a text under the schema that its first line names, from where it stands."""
    named = re.fullmatch(r"# yaml-language-server: \$schema=(\S+)", text.splitlines()[0])
    assert named
    schema: Any = json.loads((path.parent / named[1]).read_text())
    return [error.message for error in Draft202012Validator(schema).iter_errors(yaml.load(text, Plain))]


@pytest.mark.parametrize("kind", BEGUN)
def test_an_editor_finds_the_schema_by_the_first_line_and_has_nothing_against_the_file(
    kind: Kind, tmp_path: Path
) -> None:
    path = written(tmp_path, kind)
    text = path.read_text()
    assert as_an_editor_sees(path, text) == []
    assert as_an_editor_sees(path, text + "colour: blue\n") != []


def test_without_a_schema_nothing_stands_beside_the_file(tmp_path: Path) -> None:
    path = written(tmp_path, "sequence", "--no-schema")
    assert path.read_text().startswith("benchctl: sequence 1\n")
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ('{"title": "benchctl sequence", "of": "an earlier version"}', None),
        ('{"title": "something else"}', '{"title": "something else"}'),
        ("no JSON at all", "no JSON at all"),
        ("[]", "[]"),
    ],
)
def test_a_schema_of_an_earlier_version_is_replaced_and_no_other_file(
    before: str, after: str | None, tmp_path: Path
) -> None:
    beside = tmp_path / "sequence.schema.json"
    beside.write_text(before)
    written(tmp_path, "sequence")
    assert beside.read_text() == after if after else json.loads(beside.read_text())["$defs"]


def test_a_driver_starts_from_the_shipped_one_that_is_named(tmp_path: Path) -> None:
    """Nothing is asked: its role is known."""
    result = invoke("driver", str(tmp_path / "mine.yaml"), "--like", "load/scpi99")
    assert result.exception is None, result.output
    mine, shipped = load_driver(tmp_path / "mine.yaml"), load_driver("load/scpi99")
    assert mine.commands == shipped.commands


@pytest.mark.parametrize("name", sorted(library.shipped("drivers")))
def test_each_shipped_driver_can_be_started_from(name: str, tmp_path: Path) -> None:
    written_from = invoke("driver", str(tmp_path / "mine.yaml"), "--like", name)
    assert written_from.exception is None, written_from.output


def test_a_driver_that_does_not_ship_is_no_start(tmp_path: Path) -> None:
    result = invoke("driver", str(tmp_path / "mine.yaml"), "--like", "load/lamp")
    assert "nothing of that name ships" in str(result.exception)
    assert not (tmp_path / "mine.yaml").exists()


def test_a_bench_file_starts_from_the_instruments_that_were_found(tmp_path: Path) -> None:
    served_file = bench_on_free_ports(tmp_path)
    with alone_on_the_air(), served(served_file, "hx2150", announce=True) as instruments:
        result = invoke("bench", str(tmp_path / "mine.yaml"), "--found", "--interface", LOOPBACK, "--yes")
    assert result.exception is None, result.output
    mine = load_bench(tmp_path / "mine.yaml")
    theirs = {role: each.address for role, each in instruments.items()}
    assert {role: entry.address for role, entry in mine.instruments.items()} == theirs
    assert mine.instruments.supply is not None
    assert mine.instruments.supply.driver == "supply/scpi99_watchdog", "of two that fit, the one that says most"
