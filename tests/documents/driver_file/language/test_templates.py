"""Only numbers and checked mnemonics are put into a command, so no text of a user's reaches an instrument."""

from __future__ import annotations

import math
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.documents.driver_file.language.commands import Command
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.templates import Template, TemplateError
from benchctl.documents.driver_file.language.values import REAL, WHOLE, WHOLES

OFFERED = {"level_v": REAL, "channel": WHOLE, "relays": WHOLES}


@pytest.mark.parametrize(
    ("text", "values", "message"),
    [
        ("OUTP ON", {}, "OUTP ON"),
        ("SOUR:VOLT {level_v:.6f}", {"level_v": 0.25}, "SOUR:VOLT 0.250000"),
        ("SOUR:VOLT {level_v:.6g}", {"level_v": 3}, "SOUR:VOLT 3"),
        ("CHAN{channel}:DISP ON", {"channel": 2}, "CHAN2:DISP ON"),
        ("ACQ:POIN {channel:d}", {"channel": 1000}, "ACQ:POIN 1000"),
        ("ROUT:CLOS (@{relays})", {"relays": (101, 103)}, "ROUT:CLOS (@101,103)"),
        ("VOLT {level_v:.1f},{level_v:.2e}", {"level_v": 1.5, "channel": 7}, "VOLT 1.5,1.50e+00"),
    ],
)
def test_values_are_put_in_as_the_template_says(text: str, values: dict[str, float], message: str) -> None:
    assert Template.parse(text, OFFERED).render(**values) == message


@pytest.mark.parametrize(
    "text",
    [
        "",
        "OUTP ON\n",
        "OUTP ON\r",
        "OUTP\x00ON",
        "OUTP Ω",
        "VOLT " + "0" * 400,
        "VOLT {volts:.6g}",
        "VOLT {level_v}",
        "VOLT {level_v:d}",
        "VOLT {level_v:>100000}",
        "VOLT {level_v:.6g}{",
        "VOLT {}",
        "VOLT {0:.6g}",
        "VOLT {level_v.real:.6g}",
        "VOLT {level_v.__class__}",
        "VOLT {level_v[0]}",
        "VOLT {level_v!r:.6g}",
        "VOLT {level_v:{channel}}",
        "CHAN{channel:s}",
        "ROUT (@{relays:s})",
    ],
)
def test_a_template_that_could_do_more_than_take_a_number_is_refused(text: str) -> None:
    with pytest.raises(TemplateError):
        Template.parse(text, OFFERED)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("VOLT {level_v:.6g}", {}),
        ("VOLT {level_v:.6g}", {"level_v": math.nan}),
        ("VOLT {level_v:.6g}", {"level_v": math.inf}),
        ("VOLT {level_v:.6g}", {"level_v": "1"}),
        ("VOLT {level_v:.6g}", {"level_v": True}),
        ("VOLT {level_v:.6g}", {"level_v": None}),
        ("CHAN{channel}", {"channel": 1.0}),
        ("CHAN{channel}", {"channel": "1;*RST"}),
        ("ROUT (@{relays})", {"relays": "101"}),
        ("ROUT (@{relays})", {"relays": ()}),
        ("ROUT (@{relays})", {"relays": (101, "1);*RST")}),
    ],
)
def test_a_value_that_is_not_of_its_kind_is_not_sent(text: str, values: dict[str, float]) -> None:
    with pytest.raises(TemplateError):
        Template.parse(text, OFFERED).render(**values)


_anything = st.one_of(st.text(), st.floats(), st.integers(), st.none(), st.booleans(), st.tuples(st.text()))


@settings(derandomize=True, max_examples=300, deadline=None)
@given(st.fixed_dictionaries(dict.fromkeys(OFFERED, _anything)))
def test_whatever_is_put_in_a_message_stays_one_message(values: dict[str, float]) -> None:
    template = Template.parse("X {level_v:.6g},{channel},(@{relays})", OFFERED)
    with suppress(TemplateError):
        message = template.render(**values)
        assert message.isascii()
        assert message.isprintable()
        assert ";" not in message


def test_a_command_renders_its_messages_in_order() -> None:
    command = Command((Template.parse("ABOR", OFFERED), Template.parse("VOLT {level_v:.1f}", OFFERED)))
    assert command.render(level_v=1.0) == ("ABOR", "VOLT 1.0")


def test_a_command_that_a_family_does_not_need_is_empty() -> None:
    assert not Command()
    assert Command().render() == ()
    assert Query((Template.parse("OUTP?", OFFERED),))
