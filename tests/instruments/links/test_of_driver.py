"""What a driver file and a bench file say of a link, as the session is given it."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.instruments import Instrument
from benchctl.documents.driver_file.common import Acknowledged, LinkWords
from benchctl.documents.driver_file.common import Ends as EndsWords
from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.guard.guardian.orders import Orders
from benchctl.instruments.links.of_driver import link_settings, questions_of
from benchctl.instruments.links.settings import Acknowledge, Ends, LinkSettings
from benchctl.scpi.errors import FormatError
from tests.runner.rig import document

BASE = "benchctl: driver 1\ntitle: Invented\nbased_on: generator/scpi99\n"


def driver(text: str = "") -> GeneratorDriver:
    return document(BASE + text, "driver", GeneratorDriver)


def test_an_instrument_of_which_nothing_is_said_has_the_usual_link() -> None:
    assert link_settings(driver()) == LinkSettings()


def test_everything_that_a_driver_file_says_reaches_the_link() -> None:
    text = (
        "link: {ends: {send: CR, receive: CRLF}, timeout: 3 s, pause: 50 ms, clients: one, reopen_after: 500 ms,"
        " keep_alive: 5 min, acknowledge: {commands: OK, questions: DONE}, echo: yes, baud: 19200, bits: 7,"
        " parity: odd, stop_bits: 2, handshake: hardware}\n"
    )
    assert link_settings(driver(text)) == LinkSettings(
        Ends("CR", "CRLF"), 3.0, 0.05, "one", 0.5, 300.0, Acknowledge("OK", "DONE"), True, 19200, 7, "odd", 2,
        "hardware",
    )  # fmt: skip


def test_the_bench_file_overrules_key_by_key() -> None:
    entry = Instrument(address="ASRL3::INSTR", driver="generator/scpi99", link=LinkWords(baud=115200))
    settings = link_settings(driver("link: {ends: CR, baud: 9600}\n"), entry)
    assert (settings.baud, settings.ends) == (115200, Ends("CR", "CR"))


def test_the_guardian_is_given_the_same_settings() -> None:
    settings = link_settings(driver("link: {ends: CR, acknowledge: OK, pause: 20 ms}\n"))
    orders = Orders((), "report", 1, "turn", links={"generator": settings})
    assert Orders.from_line(orders.to_line()).links == {"generator": settings}


def test_the_words_of_a_driver_file_are_those_of_the_settings() -> None:
    assert set(LinkWords.model_fields) == set(LinkSettings.__dataclass_fields__)
    assert set(EndsWords.model_fields) == set(Ends.__dataclass_fields__)
    assert set(Acknowledged.model_fields) == set(Acknowledge.__dataclass_fields__)


def test_an_instrument_that_speaks_no_scpi_is_asked_nothing_that_its_file_does_not_say() -> None:
    questions = questions_of(driver("scpi: no\n"))
    assert (questions.identify, questions.power_cycled, questions.errors) == ((), None, None)
    assert questions.enables_errors == ""


@pytest.mark.parametrize(
    ("words", "answer", "error"),
    [
        ("SYST:ERR?", '-113,"Undefined header"', (-113, "Undefined header")),
        ("SYST:ERR?", '0,"No error"', (0, "No error")),
        ("ERR?", "17", (17, "")),
        ("{ask: 'ERR?', field: 2}", "E,17", (17, "")),
        ("{ask: 'STAT?', bits: 5}", "32", (-300, "it does not say which")),
        ("{ask: 'STAT?', bits: 5}", "16", (0, "")),
        ("{ask: 'STAT?', yes: BAD, no: GOOD}", "BAD", (-300, "it does not say which")),
    ],
)
def test_an_error_is_told_by_number_and_text_or_by_what_the_instrument_says(
    words: str, answer: str, error: tuple[int, str]
) -> None:
    question = questions_of(driver(f"commands: {{errors: {words}}}\n")).errors
    assert question is not None
    assert question.take(answer) == error


def test_an_answer_that_tells_no_error_is_refused() -> None:
    question = questions_of(driver("commands: {errors: {ask: 'STAT?', yes: BAD, no: GOOD}}\n")).errors
    assert question is not None
    with pytest.raises(FormatError):
        question.take("UGLY")
