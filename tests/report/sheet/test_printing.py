"""A page becomes a PDF where a browser is found; where it is not, or fails, or hangs, that is said."""

from __future__ import annotations

import os
import select
import sys
from pathlib import Path

import pytest

from benchctl.report.sheet.printing import print_page

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the stand-ins for a browser are shell scripts")


@pytest.fixture
def page(tmp_path: Path) -> Path:
    path = tmp_path / "sheet.html"
    path.write_text("<!doctype html><title>x</title>")
    return path


def browser(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str) -> None:
    """A program named chromium, the only one there is."""
    programs = tmp_path / "bin"
    programs.mkdir()
    (programs / "chromium").write_text(f"#!/bin/sh\n{script}\n")
    (programs / "chromium").chmod(0o755)
    monkeypatch.setenv("PATH", str(programs))


def test_without_a_browser_the_page_is_there_and_how_to_print_it_is_said(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    said = print_page(page, tmp_path / "sheet.pdf")
    assert said.path is None
    assert "no Chromium is found (chromium, chromium-browser, google-chrome)" in said.why_not
    assert "print it" in said.why_not


def test_what_the_browser_prints_is_the_pdf_and_it_is_told_of_no_network(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = 'for each in "$@"; do case "$each" in --print-to-pdf=*) target="${each#*=}";; esac; done\n'
    browser(tmp_path, monkeypatch, script + 'printf "%%PDF-1.4\\n%s" "$*" > "$target"')
    said = print_page(page, tmp_path / "sheet.pdf")
    assert said.path == tmp_path / "sheet.pdf"
    given = said.path.read_text()
    assert "--host-resolver-rules=MAP * ~NOTFOUND" in given
    assert f"--user-data-dir={tmp_path}/printing-" in given, "a fresh profile, beside the page"
    assert page.as_uri() in given
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("printing-")] == []


@pytest.mark.parametrize(
    ("script", "reason"), [("exit 7", "ended with exit code 7"), ("exit 0", "printed nothing")], ids=["fails", "silent"]
)
def test_a_browser_that_prints_nothing_leaves_an_earlier_pdf_alone(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str, reason: str
) -> None:
    browser(tmp_path, monkeypatch, script)
    (tmp_path / "sheet.pdf").write_bytes(b"%PDF of before")
    said = print_page(page, tmp_path / "sheet.pdf")
    assert said.path is None
    assert reason in said.why_not
    assert (tmp_path / "sheet.pdf").read_bytes() == b"%PDF of before"


def test_a_browser_that_hangs_is_ended_with_all_that_it_started(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pipe that only the two processes hold open comes to its end when both are gone."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    os.mkfifo(tmp_path / "never written")
    waits = f'read -r _ < "{tmp_path}/never written"'
    browser(tmp_path, monkeypatch, f"exec 9>{pipe}\n({waits}) &\n{waits}")
    said = print_page(page, tmp_path / "sheet.pdf", longest_s=0.3)
    assert "did not end within 0 s" in said.why_not
    readable, _, _ = select.select([reader], [], [], 30.0)
    assert readable, "whoever holds it has ended"
    assert os.read(reader, 1) == b""
    os.close(reader)
