"""What a driver file would have to say, told from answers of which the meaning is known.

Every form is tried that the language has for taking an answer. What fits all answers is offered; it is an offer and no
certainty, because one form may fit by chance. So two different values are always set.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from benchctl.documents.driver_file.language.commands import Command
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.values import REAL, spellings
from benchctl.scpi.answer_form import UNITS, AnswerForm
from benchctl.scpi.errors import FormatError

Agrees = Callable[[float, float], bool]
_MOST_FIELDS = 12
_LOGARITHMS = frozenset({"dBV"})


def number_form(query: Query, known: Sequence[tuple[str, float]], agrees: Agrees) -> AnswerForm | None:
    """The simplest other form by which each answer gives its known value; None if there is none.

    Args:
        query: the question as it stands.
        known: answers with the values that they must give.
        agrees: whether a value is near enough to a known one.
    """
    return next((form for form in _forms(query.form, known[0][0]) if _gives(form, known, agrees)), None)


def _gives(form: AnswerForm, known: Sequence[tuple[str, float]], agrees: Agrees) -> bool:
    try:
        return all(agrees(form.number(answer), value) for answer, value in known)
    except FormatError:
        return False


def _forms(form: AnswerForm, answer: str) -> Iterator[AnswerForm]:
    """Other forms, the simplest first; of those that pick a field, the named one before the counted one."""
    # One value fits a logarithm by chance far too easily.
    units = ["", *(name for name, unit in UNITS.items() if unit.quantity == form.quantity and name not in _LOGARITHMS)]
    plain = replace(form, unit="", times=1.0, plus=0.0, field=None, fields=None, after="", columns=None, header=False)
    for header, unit in itertools.product((False, True), units):
        whole = replace(plain, header=header, unit=unit)
        yield whole
        yield from (replace(whole, after=word) for word in _words(whole, answer))
        yield from (replace(whole, field=number) for number in range(1, min(_fields(whole, answer), _MOST_FIELDS) + 1))


def _fields(form: AnswerForm, answer: str) -> int:
    try:
        return len(form.split(answer))
    except FormatError:
        return 0


def _words(form: AnswerForm, answer: str) -> list[str]:
    try:
        return [field for field in form.split(answer) if field.isalpha()][:_MOST_FIELDS]
    except FormatError:
        return []


def truth_form(query: Query, known: Sequence[tuple[str, bool]]) -> AnswerForm | None:
    """The simplest form by which each answer means what is known; None if answers that differ in meaning are alike."""
    forms = list(_picking(query.form, known[0][0]))
    worded = [form for form in (_worded(form, known) for form in forms) if form is not None]
    usual = [form for form in worded if (form.yes, form.no) == (AnswerForm().yes, AnswerForm().no)]
    return next(iter((*usual, *worded)), None)


def _picking(form: AnswerForm, answer: str) -> Iterator[AnswerForm]:
    """The whole answer, then each of its fields; the same without a header."""
    plain = replace(form, header=False, field=None, fields=None, after="", columns=None)
    for header in (False, True):
        whole = replace(plain, header=header)
        yield whole
        count = _fields(whole, answer)
        yield from (replace(whole, field=number) for number in range(1, count + 1) if count > 1)


def _worded(form: AnswerForm, known: Sequence[tuple[str, bool]]) -> AnswerForm | None:
    try:
        picked = [(form.picked(answer), meaning) for answer, meaning in known]
    except FormatError:
        return None
    yes = tuple(dict.fromkeys(text for text, meaning in picked if meaning))
    no = tuple(dict.fromkeys(text for text, meaning in picked if not meaning))
    usual = AnswerForm()
    if not yes or not no or set(yes) & set(no):
        return None
    if set(yes) <= set(usual.yes) and set(no) <= set(usual.no):
        return replace(form, yes=usual.yes, no=usual.no)
    return replace(form, yes=yes, no=no)


def written(word: str, query: Query, form: AnswerForm) -> str:
    """A question as a driver file would write it with another form: `get_output: {ask: "OUTP?", yes: 0, no: 1}`."""
    usual = AnswerForm()
    keys = [f"ask: {_lines(query)}"]
    keys += ["header: yes"] if form.header else []
    keys += [f"field: {form.field}"] if form.field is not None else []
    keys += [f"after: {form.after}"] if form.after else []
    keys += [f"unit: {form.unit}"] if form.unit else []
    if not (set(form.yes) <= set(usual.yes) and set(form.no) <= set(usual.no)):
        keys += [f"yes: {_texts(form.yes)}", f"no: {_texts(form.no)}"]
    return f"{word}: {_lines(query)}" if len(keys) == 1 else f"{word}: {{{', '.join(keys)}}}"


def _lines(words: Command) -> str:
    lines = [f'"{template.text}"' for template in words.templates]
    return lines[0] if len(lines) == 1 else f"[{', '.join(lines)}]"


def _texts(texts: Sequence[str]) -> str:
    quoted = [text if text.isalnum() else f'"{text}"' for text in texts]
    return quoted[0] if len(quoted) == 1 else f"[{', '.join(quoted)}]"


def other_spelling(words: Command, value: str, ratio: float) -> str:
    """The name under which `{value}` would be sent `ratio` times as large as now; '' if there is none or it is no
    constant ratio."""
    ways = spellings({value: REAL})
    sent = next((name for template in words.templates for name in template.takes if name in ways), "")
    now = _factor(ways, sent)
    found = (name for name in ways if now and math.isclose(_factor(ways, name), now * ratio, rel_tol=0.01))
    return next(found, "") if sent else ""


def _factor(ways: object, name: str) -> float:
    """How many times the base value a spelling sends; 0 where that is no constant."""
    assert isinstance(ways, dict)
    spelling = ways.get(name)
    if spelling is None:
        return 0.0
    if spelling.convert is None:
        return 1.0
    one, two = spelling.convert(1.0), spelling.convert(2.0)
    return float(one) if math.isclose(float(two), 2.0 * float(one)) else 0.0
