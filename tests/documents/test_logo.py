"""A bench file's logo is looked at when the file is read, except by who only switches off."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from benchctl.documents.logo import logo_of
from benchctl.documents.reader import load_bench, load_kept_bench
from benchctl.errors import DocumentError
from benchctl.library import find


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    path = tmp_path / "bench.yaml"
    text = find("benches", "workshop").read_text("utf-8")
    path.write_text(f"{text}\nworkshop: {{name: Quay, logo: quay.png}}\n", encoding="utf-8")
    return path


def test_a_logo_is_found_beside_its_bench_file(bench: Path) -> None:
    Image.new("RGB", (30, 10)).save(bench.parent / "quay.png")
    assert list(logo_of(load_bench(bench))) == ["quay.png"]


@pytest.mark.parametrize(
    ("content", "said"), [(None, "cannot read 'quay.png' beside this file"), (b"<svg/>", "it is an SVG drawing")]
)
def test_one_that_cannot_be_read_is_a_fault_of_its_line(bench: Path, content: bytes | None, said: str) -> None:
    if content is not None:
        (bench.parent / "quay.png").write_bytes(content)
    with pytest.raises(DocumentError) as refused:
        load_bench(bench)
    (problem,) = refused.value.problems
    assert said in problem.message
    assert "logo: quay.png" in problem.source_line


def test_the_safe_state_and_a_run_that_was_kept_need_no_logo(bench: Path) -> None:
    assert logo_of(load_bench(bench, joins_calibration=False)) == {}
    assert logo_of(load_kept_bench(bench)) == {}


@pytest.mark.parametrize("name", ["bench.yaml", "../quay.png", "pictures/quay.png", "quay.svg"])
def test_a_logo_can_take_no_documents_place_in_a_run_folder(bench: Path, name: str) -> None:
    bench.write_text(bench.read_text("utf-8").replace("quay.png", name), encoding="utf-8")
    with pytest.raises(DocumentError, match="the name of a picture beside this file"):
        load_bench(bench)
