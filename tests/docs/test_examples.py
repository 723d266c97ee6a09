"""Each YAML of the pages is read by the program as it stands, and does what the page says of it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest
import yaml

from benchctl import library
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.amplifier_file.faults import AmplifierFaults
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.faults import BenchFault
from benchctl.documents.calibration_file.calibration import Calibration
from benchctl.documents.driver_file.driver import Driver
from benchctl.documents.model.model_base import Document, Source
from benchctl.documents.reader import read
from benchctl.documents.sequence_file.references import STAND_IN
from benchctl.documents.sequence_file.sequence import Sequence
from tests.docs.reading import give
from tests.pages import GUIDES, ROOT, Block, blocks, text_of

KINDS = {"sequence": Sequence, "bench": Bench, "amplifier": Amplifier, "driver": Driver, "calibration": Calibration}
# What a part of a file is put into, unless it names a shipped file itself.
WHOLE = {"bench": "sim/workshop.yaml", "amplifier": "sim/amplifiers/hx2150.yaml"}
EXAMPLES = [(page, place) for page in GUIDES for place in range(len(blocks(page, "yaml")))]


def whole(block: Block) -> str:
    """A part of a file within a shipped file of its kind; anything else as it stands."""
    parts = block.told("part of")
    if not parts:
        return block.text
    (kind,) = parts
    shipped = yaml.load((ROOT / WHOLE.get(kind, kind)).read_text(encoding="utf-8"), yaml.BaseLoader)
    part = yaml.load(block.text, yaml.BaseLoader)
    if "instruments" in part:  # one more among those that the file has
        part["instruments"] = shipped["instruments"] | part["instruments"]
    return yaml.safe_dump(shipped | part, sort_keys=False)


def example(page: str, place: int) -> str:
    return whole(blocks(page, "yaml")[place])


@pytest.mark.parametrize(("page", "place"), EXAMPLES)
def test_an_example_is_read(page: str, place: int) -> None:
    text = example(page, place)
    document = read(Source(page, ROOT / page, text), None)
    (kind,) = re.findall(r"^benchctl: (\w+) 1$", text, re.MULTILINE)
    assert isinstance(document, KINDS[kind])


def test_the_pages_have_an_example_of_each_kind() -> None:
    texts = [example(page, place) for page, place in EXAMPLES]
    assert {kind for kind in KINDS for text in texts if f"benchctl: {kind} 1" in text} == set(KINDS)
    assert issubclass(Sequence, Document)


@pytest.fixture
def written(tmp_path: Path) -> Path:
    """The bench, amplifier and first sequence of the pages, as files."""
    bench, _, amplifier = (block.text for block in blocks("docs/own-bench.md", "yaml") if not block.told("part of"))
    first, *_ = blocks("docs/sequences.md", "yaml")
    for name, text in (("bench", bench), ("unit", amplifier), ("sequence", first.text)):
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    return tmp_path


def test_the_examples_go_together(written: Path) -> None:
    """Preflight would let them run."""
    ended = give("benchctl preflight sequence.yaml --bench bench.yaml --amplifier unit.yaml", written)
    assert ended.exit_code == 0, ended.err


def test_the_sequence_that_makes_use_of_all_runs_and_gives_figures(tmp_path: Path) -> None:
    *_, last = blocks("docs/sequences.md", "yaml")
    (tmp_path / "mine.yaml").write_text(last.text, encoding="utf-8")
    ended = give("benchctl run mine.yaml --bench workshop --amplifier hx2150 --dry-run --out here", tmp_path)
    assert ended.exit_code in {0, 1}, ended.err
    (table,) = tmp_path.glob("here/*/figures.csv")
    assert len(table.read_text(encoding="utf-8").splitlines()) > 20


def test_the_faults_of_the_page_are_faults_and_do_what_it_says(tmp_path: Path) -> None:
    """One lost answer is asked for again; a heatsink that cannot be read stops the run, and the bench is safe."""
    (tmp_path / "bench.yaml").write_text(example("docs/faults.md", 0), encoding="utf-8")
    ended = give("benchctl run quick_check --bench bench.yaml --amplifier hx2150 --dry-run", tmp_path)
    assert ended.exit_code == 4
    (journal,) = tmp_path.glob("runs/*/journal.jsonl")
    assert '"event":"asked again"' in journal.read_text(encoding="utf-8").replace(": ", ":")
    assert "heatsink" in ended.out + ended.err


def test_the_page_of_faults_names_every_kind_of_fault() -> None:
    named = set(re.findall(r"`([a-z][a-z_ -]+)`", text_of("docs/faults.md")))
    kinds = {
        kind for fault in get_args(get_args(BenchFault)[0]) for kind in get_args(fault.model_fields["kind"].annotation)
    }
    assert named >= (kinds - {"no answer", "sensor open"}) | set(AmplifierFaults.model_fields) - {"aged_reservoir"}


def test_the_page_of_sequences_names_all_that_may_be_taken_from_the_amplifier_file() -> None:
    rows = re.findall(r"^\| `(amplifier\.[\w.]+)` \| ..", text_of("docs/sequences.md"), re.MULTILINE)
    assert set(rows) == set(STAND_IN)


def test_the_reference_of_driver_files_names_those_that_ship() -> None:
    rows = re.findall(r"^\| `([a-z]+/[a-z0-9_]+)` \| ..", text_of("docs/reference/driver-file.md"), re.MULTILINE)
    assert rows == list(library.shipped("drivers"))


def test_the_translator_of_the_page_of_drivers_keeps_to_the_contract() -> None:
    """The class and the check that the page shows, run as they stand there."""
    shown, check = (block.text for block in blocks("docs/drivers.md", "python"))
    exec(compile(shown + check, "docs/drivers.md", "exec"), {})
