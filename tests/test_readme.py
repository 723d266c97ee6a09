"""What README shows is so: its commands run, its examples are read, its excerpts are what is printed."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

import pytest

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.amplifier_file.faults import AmplifierFaults
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.faults import BenchFault
from benchctl.documents.driver_file.driver import Driver
from benchctl.documents.model.model_base import Document, Source
from benchctl.documents.reader import read
from benchctl.documents.sequence_file.references import STAND_IN
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.documents.sequence_file.steps import KINDS
from tests.pages import PAGES, ROOT, blocks, blocks_in, digits_aside, links, section_of, text_of
from tools import column_table, figure_table, sequence_table
from tools.marked import part_of
from tools.picture import PICTURE, words_of
from tools.step_table import PART, step_table

README = "README.md"
RUN = [block for block in blocks(README, "console") if not block.reason]
DEMO = (
    "benchctl run sequences/burst_and_continuous.yaml --bench sim/workshop.yaml "
    "--amplifier sim/amplifiers/hx2150.yaml --dry-run"
)


@dataclass(frozen=True)
class Ran:
    exit_code: int
    out: str
    err: str


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Ran]:
    """Every command of README that is to be run, in its order, in a folder with the YAML of a checkout."""
    folder = tmp_path_factory.mktemp("checkout")
    for name in ("sequences", "sim", "drivers"):
        shutil.copytree(ROOT / name, folder / name)
    return {command: shell(command, folder) for block in RUN for command in block.commands}


def shell(command: str, folder: Path) -> Ran:
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    ended = subprocess.run(
        command,
        shell=True,
        cwd=folder,
        env={**os.environ, "PATH": path},
        capture_output=True,
        input="\n" * 100,  # Enter, wherever something is asked for
        text=True,
        timeout=100,
        check=False,
    )
    return Ran(ended.returncode, ended.stdout, ended.stderr)


@pytest.mark.parametrize("command", [command for block in RUN for command in block.commands])
def test_a_command_that_readme_shows_runs(ran: Mapping[str, Ran], command: str) -> None:
    """1 is a run that finished with a verdict that does not pass: a result."""
    ended = ran[command]
    assert ended.exit_code in ({0, 1} if command.startswith("benchctl run") else {0}), ended.err
    assert ended.err == ""


def test_a_block_that_is_not_run_says_why_on_every_page() -> None:
    assert [block.commands for block in blocks(README, "console") if len(block.reason) < 20] == [
        block.commands for block in RUN
    ]
    for page in PAGES[1:]:
        assert all(block.reason for block in blocks(page, "console")), page


def test_make_demo_ends_with_the_command_that_is_run_here() -> None:
    recipe = re.sub(r"\\\n\s*", "", text_of("Makefile"))
    assert DEMO in recipe
    assert DEMO in [command for block in RUN for command in block.commands]


def test_the_excerpt_of_the_demo_is_what_it_prints(ran: Mapping[str, Ran]) -> None:
    """Line by line and in order; figures may have moved a little."""
    (excerpt,) = (block.text for block in blocks(README, "text") if "step 1 of 13" in block.text)
    printed = iter(digits_aside(ran[DEMO].out).splitlines())
    for line in excerpt.splitlines():
        if line != "...":
            assert digits_aside(line) in printed, f"README shows {line!r}, which the demo does not print there"


def test_the_excerpt_of_preflight_is_what_it_prints(ran: Mapping[str, Ran]) -> None:
    """Line by line and in order; figures, and with them the gaps between columns, may have moved a little."""
    (excerpt,) = (block.text for block in blocks(README, "text") if "heatsink" in block.text.splitlines()[0])
    (command,) = (command for command in ran if command.startswith("benchctl preflight sequences/"))
    printed = iter(re.sub(" +", " ", digits_aside(ran[command].out)).splitlines())
    for line in excerpt.splitlines():
        if line != "...":
            shown = re.sub(" +", " ", digits_aside(line))
            assert shown in printed, f"README shows {line!r}, which preflight does not print there"


def test_the_picture_shows_the_tables_that_the_demo_prints(ran: Mapping[str, Ran]) -> None:
    svg = PICTURE.read_text(encoding="utf-8")
    assert PICTURE.stat().st_size < 200_000
    shown = {word.strip() for word in words_of(svg.replace("&#160;", " "))}
    rows = [line for line in ran[DEMO].out.splitlines() if "│" in line]
    cells = {re.sub(r"\d", "0", cell.strip()) for row in rows for cell in row.split("│")}
    assert {cell for cell in cells if not re.search(r"\d", cell)} <= shown | {""}, "draw it anew: make docs"


def test_the_picture_asks_no_other_server_for_anything() -> None:
    addresses = re.findall(r"(?:href|src|url)\W+(https?://[^\"')]+)", PICTURE.read_text(encoding="utf-8"))
    assert addresses == []


# -- documents -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("place", "kind"), list(enumerate((Sequence, Bench, Amplifier, Driver))))
def test_each_example_of_a_document_is_one(place: int, kind: type[Document]) -> None:
    text = blocks(README, "yaml")[place].text
    document = read(Source("README.md", ROOT / README, text), None)
    assert isinstance(document, kind)


def test_the_examples_go_together(tmp_path: Path) -> None:
    """Preflight would let them run."""
    for name, block in zip(("sequence", "bench", "unit"), blocks(README, "yaml"), strict=False):
        (tmp_path / f"{name}.yaml").write_text(block.text, encoding="utf-8")
    ended = shell("benchctl preflight sequence.yaml --bench bench.yaml --amplifier unit.yaml", tmp_path)
    assert ended.exit_code == 0, ended.err


def test_mistakes_are_told_as_readme_shows_them(tmp_path: Path) -> None:
    (excerpt,) = (block.text for block in blocks(README, "text") if block.text.startswith("mybench.yaml"))
    text = (ROOT / "sim" / "workshop.yaml").read_text(encoding="utf-8")
    wrong = text.replace("voltage: 20 V, current: 120 A", "voltage: 20, current: 120 A")
    (tmp_path / "mybench.yaml").write_text(wrong.replace("\nremote_turn_on:", "\nremote_turnon:"), encoding="utf-8")
    ended = shell("benchctl check mybench.yaml", tmp_path)
    assert ended.err.startswith(excerpt)


def test_the_faults_of_the_page_are_faults_and_do_what_it_says(tmp_path: Path) -> None:
    """One lost answer is asked for again; a heatsink that cannot be read stops the run, and the bench is safe."""
    section = section_of(README, "Faults on purpose")
    (faults,) = (block.text for block in blocks_in(section, "yaml"))
    bench, _, _ = (ROOT / "sim" / "workshop.yaml").read_text(encoding="utf-8").partition("simulation:")
    (tmp_path / "bench.yaml").write_text(bench + faults, encoding="utf-8")
    ended = shell("benchctl run quick_check --bench bench.yaml --amplifier hx2150 --dry-run", tmp_path)
    assert ended.exit_code == 4
    (journal,) = tmp_path.glob("runs/*/journal.jsonl")
    assert '"event":"asked again"' in journal.read_text(encoding="utf-8").replace(": ", ":")
    assert "heatsink" in ended.out + ended.err


def test_the_page_names_every_kind_of_fault() -> None:
    named = set(re.findall(r"`([a-z][a-z_ -]+)`", section_of(README, "Faults on purpose")))
    kinds = {
        kind for fault in get_args(get_args(BenchFault)[0]) for kind in get_args(fault.model_fields["kind"].annotation)
    }
    assert named >= (kinds - {"no answer", "sensor open"}) | set(AmplifierFaults.model_fields)


# -- a sequence of one's own ---------------------------------------------------------------------------------------

OWN = section_of(README, "Write your own sequence")


@pytest.mark.parametrize("place", range(1, len(blocks_in(OWN, "yaml"))))
def test_a_sequence_that_is_written_off_the_page_passes_check_and_runs(place: int, tmp_path: Path) -> None:
    """From nothing but the page's text: 0 or 1, a run that finished, and figures.

    The first of the page is what `benchctl new sequence` writes, and the page's own commands check and run that.
    """
    (tmp_path / "mine.yaml").write_text(blocks_in(OWN, "yaml")[place].text, encoding="utf-8")
    checked = shell("benchctl check mine.yaml", tmp_path)
    assert (checked.exit_code, checked.err) == (0, "")
    ended = shell("benchctl run mine.yaml --bench workshop --amplifier hx2150 --dry-run --out here", tmp_path)
    assert ended.exit_code in {0, 1}, ended.err
    (table,) = tmp_path.glob("here/*/figures.csv")
    assert len(table.read_text(encoding="utf-8").splitlines()) > 20


def test_the_commands_of_the_page_run_its_first_sequence_and_give_figures(ran: Mapping[str, Ran]) -> None:
    (ended,) = (ran[command] for command in ran if command.startswith("benchctl run mine.yaml"))
    assert ended.exit_code in {0, 1}, ended.err
    assert sum("│" in line for line in ended.out.splitlines()) > 20


def test_the_first_sequence_of_the_page_is_what_new_writes_and_the_schema_is_beside_it(tmp_path: Path) -> None:
    assert shell("benchctl new sequence mine.yaml", tmp_path).exit_code == 0
    assert blocks_in(OWN, "yaml")[0].text == (tmp_path / "mine.yaml").read_text(encoding="utf-8")
    kept = shell("benchctl schema sequence > by_hand.json", tmp_path)
    assert kept.exit_code == 0
    assert (tmp_path / "by_hand.json").read_bytes() == (tmp_path / "sequence.schema.json").read_bytes()


def test_the_page_names_all_that_a_sequence_may_take_from_the_amplifier_file() -> None:
    assert set(re.findall(r"`(amplifier\.[\w.]+)`", OWN)) == set(STAND_IN)


# -- tables --------------------------------------------------------------------------------------------------------


def table_rows(heading: str) -> list[list[str]]:
    section = section_of(README, heading)
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in section.splitlines() if "|" in line]


def test_the_table_of_steps_is_that_of_the_models() -> None:
    assert part_of(text_of(README), PART) == step_table(), "write it anew: make docs"


def test_the_table_of_sequences_is_that_of_their_files() -> None:
    assert part_of(text_of(README), sequence_table.PART) == sequence_table.sequence_table(), "write it anew: make docs"


def test_the_table_of_steps_has_every_step_and_no_other() -> None:
    listed = [name for row in table_rows("The steps") for name in re.findall(r"`(\w+)`", row[0])]
    assert sorted(listed) == sorted(KINDS)


def test_the_table_of_columns_is_what_is_said_of_each() -> None:
    assert part_of(text_of(README), column_table.PART) == column_table.column_table(), "write it anew: make docs"


def test_the_table_of_figures_is_what_is_said_of_each() -> None:
    assert part_of(text_of(README), figure_table.PART) == figure_table.figure_table(), "write it anew: make docs"


@pytest.mark.parametrize("page", PAGES)
def test_what_a_page_links_to_is_there(page: str) -> None:
    missing = [target for target in links(page) if not (ROOT / target.partition("#")[0]).exists()]
    assert missing == []


@pytest.mark.parametrize("page", PAGES)
def test_a_file_that_a_page_names_is_there(page: str) -> None:
    """Names in code, as far as they begin like a path of this repository."""
    top = "benchctl|docs|drivers|sequences|sim|tests|tools|runner|documents|instruments|guard|cli|simulator|launch"
    named = re.findall(rf"`((?:{top})/[\w/.]+\.(?:py|yaml|svg))`", text_of(page))
    assert [name for name in named if not (ROOT / name).exists() and not (ROOT / "benchctl" / name).exists()] == []
