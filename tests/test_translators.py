"""Instruments whose messages no driver file can write: a Python class of another package turns lines into frames."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchctl import translators
from benchctl.clock import RealClock
from benchctl.documents.reader import load_driver
from benchctl.errors import DocumentError, InstrumentError
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.of_driver import link_settings, questions_of
from benchctl.instruments.session import Session
from benchctl.testing import check_translator
from tests.translating import CheckedFrames, FramedInstrument, framed, installed

DRIVER = """\
benchctl: driver 1
title: Supply that speaks in frames
based_on: supply/old_words
link: {translator: checked_frames}
commands:
  get_output: {ask: "OUT?", yes: 1, no: 0}
"""
ANSWERS = {"*IDN?": "Framed supply 3", "VOUT1?": "13.80", "OUT?": "0", "WRONG?": "1.2"}


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = installed(tmp_path)
    monkeypatch.syspath_prepend(folder)
    return folder


@pytest.fixture
def instrument() -> Iterator[FramedInstrument]:
    framed_one = FramedInstrument(ANSWERS)
    yield framed_one
    framed_one.close()


def driver_file(folder: Path) -> Path:
    path = folder / "framed.yaml"
    path.write_text(DRIVER, encoding="utf-8")
    return path


def session_of(package: Path, instrument: FramedInstrument) -> Session:
    driver = load_driver(driver_file(package))
    settings, questions = link_settings(driver), questions_of(driver)
    return Session("supply", instrument.address, Interlock(RealClock()), settings=settings, questions=questions)


def test_lines_go_out_as_frames_and_answers_come_back_as_lines(package: Path, instrument: FramedInstrument) -> None:
    session = session_of(package, instrument)
    assert session.open() == "Framed supply 3"
    session.command("VSET1:13.80")
    assert session.ask_number("VOUT1?") == 13.8
    assert "VSET1:13.80" in instrument.heard
    session.close()


def test_the_safe_state_speaks_through_it_too(package: Path, instrument: FramedInstrument) -> None:
    session = session_of(package, instrument)
    session.open()
    session.command_urgently("OUT0")
    assert session.ask_urgently("OUT?") == "0"
    assert "OUT0" in instrument.heard
    session.close()


def test_a_guardian_in_a_process_of_its_own_loads_it(package: Path, instrument: FramedInstrument) -> None:
    code = (
        "from benchctl.guard.guardian.wires import GuardianWire\n"
        "from benchctl.instruments.links.settings import LinkSettings\n"
        f"wire = GuardianWire({instrument.address!r}, LinkSettings(translator='checked_frames'))\n"
        "wire.command_urgently('OUT0')\n"
        "print(wire.ask_urgently('OUT?'))\n"
    )
    environment = {"PYTHONPATH": f"{package}:{Path(__file__).parents[1]}"}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, env=environment, check=False
    )
    assert (done.stdout, done.stderr) == ("0\n", "")
    assert "OUT0" in instrument.heard


def test_a_frame_with_a_wrong_checksum_is_no_answer(package: Path, instrument: FramedInstrument) -> None:
    session = session_of(package, instrument)
    session.open()
    instrument.garbled.add("VOUT1?")
    told: list[str] = []
    session.report_to(lambda _event, **fields: told.append(str(fields["reason"])))
    with pytest.raises(InstrumentError):
        session.ask("VOUT1?")
    assert "its checksum is 00" in told[0]
    session.close()


def test_a_line_that_it_does_not_know_is_not_sent(
    package: Path, instrument: FramedInstrument, monkeypatch: pytest.MonkeyPatch
) -> None:
    session = session_of(package, instrument)
    session.open()
    known = CheckedFrames.encode

    def encode(self: CheckedFrames, line: str) -> bytes:
        if line == "VSET1:99":
            raise ValueError("99 V is too much")
        return known(self, line)

    monkeypatch.setattr(CheckedFrames, "encode", encode)
    with pytest.raises(InstrumentError, match="99 V is too much"):
        session.command("VSET1:99")
    assert "VSET1:99" not in instrument.heard
    session.close()


def test_a_translator_that_is_not_installed_is_refused_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(DocumentError) as caught:
        load_driver(driver_file(tmp_path))
    (problem,) = caught.value.problems
    assert (problem.line, "no installed package offers a translator 'checked_frames'" in problem.message) == (4, True)


def test_what_an_entry_point_names_must_be_a_translator(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = installed(tmp_path)
    (folder / "framed_supply.py").write_text("CheckedFrames = dict\n", encoding="utf-8")
    monkeypatch.syspath_prepend(folder)
    monkeypatch.delitem(sys.modules, "framed_supply", raising=False)
    with pytest.raises(translators.TranslatorError, match="'encode' and 'decode'"):
        translators.load("checked_frames")
    monkeypatch.delitem(sys.modules, "framed_supply", raising=False)


# -- the contract ------------------------------------------------------------------------------------------------------

SENT = {"VOUT1?": framed("VOUT1?"), "OUT0": framed("OUT0")}
ANSWERED = {framed("13.80"): "13.80", framed("0"): "0"}
GARBLED = b"\x0213.80FF\x03"


def test_a_translator_that_keeps_to_the_contract_passes() -> None:
    check_translator(CheckedFrames, SENT, ANSWERED, garbled=GARBLED)


class Careless(CheckedFrames):
    """Takes what has come for a whole answer."""

    def decode(self, received: bytes) -> tuple[str | None, bytes]:
        return received[1:-3].decode("latin-1"), b""


class Greedy(CheckedFrames):
    """Loses what follows the first answer."""

    def decode(self, received: bytes) -> tuple[str | None, bytes]:
        line, rest = super().decode(received)
        return line, rest if line is None else b""


class Trusting(CheckedFrames):
    """Looks at no checksum."""

    def decode(self, received: bytes) -> tuple[str | None, bytes]:
        end = received.find(b"\x03")
        return (None, received) if end < 0 else (received[1 : end - 2].decode("latin-1"), received[end + 1 :])


class Talkative(CheckedFrames):
    """Sends whatever it is given."""

    def encode(self, line: str) -> bytes:
        return framed(line)


class Wrong(CheckedFrames):
    """Frames with another mark."""

    def encode(self, line: str) -> bytes:
        return b":" + super().encode(line)[1:]


@pytest.mark.parametrize("broken", [Careless, Greedy, Trusting, Talkative, Wrong, dict])
def test_a_translator_that_breaks_it_is_told_how(broken: type) -> None:
    with pytest.raises(AssertionError, match=r"."):
        check_translator(broken, SENT, ANSWERED, garbled=GARBLED)
