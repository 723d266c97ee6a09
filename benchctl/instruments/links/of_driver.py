"""What a driver file, and the bench file over it, say of the link to an instrument and of what it can be asked."""

from __future__ import annotations

import functools
from collections.abc import Callable

from benchctl.documents.bench_file.instruments import Instrument
from benchctl.documents.driver_file.common import Acknowledged, DriverFile, LinkWords
from benchctl.documents.driver_file.common import Ends as EndsWords
from benchctl.instruments.links.questions import Question, Questions
from benchctl.instruments.links.settings import Acknowledge, Ends, LinkSettings
from benchctl.scpi.answer_form import NO, YES, AnswerForm
from benchctl.scpi.errors import parse_error

# SCPI-99 volume 2, 21.8.4: an error of the instrument itself; for one that says only that there is an error.
_DEVICE_ERROR = (-300, "it does not say which")
_NO_ERROR = (0, "")


def link_settings(driver: DriverFile, entry: Instrument | None = None) -> LinkSettings:
    """How the link behaves: what the bench file does not say is as in the driver file."""
    words = driver.link
    if entry is not None and entry.link is not None:
        words = words.model_copy(update={name: getattr(entry.link, name) for name in entry.link.model_fields_set})
    return _settings(words)


def questions_of(driver: DriverFile) -> Questions:
    """What the instrument can be asked about itself."""
    power, errors = driver.power_cycled, driver.errors
    return Questions(
        identify=driver.identify.render() if driver.identify else (),
        power_cycled=Question(power.render(), power.form_for().truth) if power else None,
        errors=Question(errors.render(), _error_taker(errors.form_for())) if errors else None,
        names_errors=not _tells_only_whether(errors.form_for()) if errors else True,
        enables_errors="STAT:PRES" if driver.scpi else "",
    )


def _settings(words: LinkWords) -> LinkSettings:
    return LinkSettings(
        ends=Ends(words.ends.send, words.ends.receive)
        if isinstance(words.ends, EndsWords)
        else Ends(words.ends, words.ends),
        timeout_s=words.timeout_s,
        pause_s=words.pause_s,
        clients=words.clients,
        reopen_after_s=words.reopen_after_s,
        keep_alive_s=words.keep_alive_s or 0.0,
        acknowledge=_acknowledge(words.acknowledge),
        echo=words.echo,
        baud=words.baud,
        bits=words.bits,
        parity=words.parity,
        stop_bits=words.stop_bits,
        handshake=words.handshake,
        translator=words.translator or "",
    )


def _acknowledge(words: str | Acknowledged | None) -> Acknowledge:
    if isinstance(words, Acknowledged):
        return Acknowledge(words.commands or "", words.questions or "")
    return Acknowledge(words or "")


def _tells_only_whether(form: AnswerForm) -> bool:
    """Whether the answer means yes or no, and no error by its number."""
    return bool(form.bits) or form.base != "decimal" or (form.yes, form.no, form.other) != (YES, NO, None)


def _error_taker(form: AnswerForm) -> Callable[[str], tuple[int, str]]:
    if _tells_only_whether(form):
        return lambda answer: _DEVICE_ERROR if form.truth(answer) else _NO_ERROR
    return functools.partial(_named_error, form)


def _named_error(form: AnswerForm, answer: str) -> tuple[int, str]:
    """Number and text as SCPI has them, or the number alone."""
    try:
        return parse_error(answer)
    except ValueError:
        return int(form.number(answer)), ""
