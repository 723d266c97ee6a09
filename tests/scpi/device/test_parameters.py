"""Parameters become values, or the error number that SCPI-99 21.8 gives for what was wrong with them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Bench


def value_of(bench: Bench, message: str) -> object:
    """The value that the handler of `message` was told."""
    bench.tell(message)
    assert bench.errors() == []
    (value,) = bench.last_values
    return value


def error_of(bench: Bench, message: str) -> int:
    """The one error that `message` causes; no handler may have run."""
    bench.calls.clear()
    bench.tell(message)
    assert bench.calls == []
    (code,) = bench.errors()
    return code


class TestNumeric:
    """Numbers with units (SCPI-99 volume 1, 7.2 and 7.5; IEEE 488.2 7.7.2 and 7.7.3)."""

    @pytest.mark.parametrize(
        ("text", "value_v"),
        [("12", 12), ("+1.2E1", 12), ("12 V", 12), ("12v", 12), ("1.2e1V", 12), ("12000 MV", 12), ("500mV", 0.5),
         ("0.012kV", 12), ("5 UV", 5e-6), (".5", 0.5), ("1 .", None), ("#H0C", 12), ("1.2 E 1 V", 12)],
    )  # fmt: skip
    def test_a_number_comes_in_base_units(self, bench: Bench, text: str, value_v: float | None) -> None:
        if value_v is None:
            assert error_of(bench, f"VOLT {text}") == -103
            return
        bench.tell(f"VOLT {text}")
        assert bench.errors() == []
        assert bench.voltage_v == pytest.approx(value_v, rel=1e-12)

    @pytest.mark.parametrize(
        ("text", "value_hz"), [("1MHZ", 1e6), ("1 MAHZ", 1e6), ("1 kHz", 1e3), ("1 GHZ", 1e9), ("440", 440)]
    )
    def test_megahertz_may_be_written_with_m_alone(self, bench: Bench, text: str, value_hz: float) -> None:
        """IEEE 488.2 7.7.3: M is milli except before HZ and OHM."""
        assert value_of(bench, f"FREQ {text}") == pytest.approx(value_hz, rel=1e-12)

    @pytest.mark.parametrize(
        ("text", "code"),
        [
            ("20.01", -222),
            ("-0.01", -222),
            ("1E400", -222),
            ("1 A", -131),
            ("1 ABCDEFGHIJKLM", -134),
            ("1E32001", -123),
            ("1" * 256, -124),
            ("1.2.3", -121),
            ("+", -121),
            ("#HXY", -121),
            ("FOO", -141),
            ("ABCDEFGHIJKL", -141),
            ("ABCDEFGHIJKLM", -144),
            ("INF", -141),
            ('"1"', -158),
            ("#11a", -168),
            ("(@1)", -178),
            ("", -109),
            ("1,2", -108),
            ("1 2", -103),
            ("1,", -102),
            (",1", -102),
            ("$", -101),
            ("\xb5", -101),
        ],
    )
    def test_a_wrong_number_has_its_own_error(self, bench: Bench, text: str, code: int) -> None:
        assert error_of(bench, f"VOLT {text}") == code
        assert bench.voltage_v == 0.0, "nothing was set"

    def test_leading_zeros_do_not_count_as_digits(self, bench: Bench) -> None:
        """IEEE 488.2 7.7.2.4.1: 255 digits, leading zeros excluded."""
        bench.tell("VOLT " + "0" * 300 + "1")
        assert bench.errors() == []
        assert bench.voltage_v == 1.0

    def test_an_exponent_of_32000_is_still_legal(self, bench: Bench) -> None:
        """IEEE 488.2 7.7.2.4.1; the number itself is 0 for all that any instrument can tell."""
        bench.tell("VOLT 1E-32000")
        assert bench.errors() == []
        assert bench.voltage_v == 0.0

    def test_words_stand_for_the_limits_in_commands_and_queries(self, bench: Bench) -> None:
        """SCPI-99 volume 1, 7.2.1.2 and 7.2.1.3."""
        for word, value_v in (("MAX", 20.0), ("minimum", 0.0), ("Maximum", 20.0), ("DEF", 0.0)):
            bench.tell(f"VOLT {word}")
            assert bench.voltage_v == value_v
            assert float(bench.ask(f"VOLT? {word}")) == value_v
        assert float(bench.ask("VOLT?")) == 0.0

    def test_a_limit_may_follow_the_instruments_state(self, bench: Bench) -> None:
        assert float(bench.ask("VOLT? MAX")) == 20.0
        bench.ceiling_v = 6.0
        assert float(bench.ask("VOLT? MAX")) == 6.0
        assert error_of(bench, "VOLT 7") == -222
        bench.tell("VOLT MAX")
        assert bench.voltage_v == 6.0

    def test_a_query_takes_no_number(self, bench: Bench) -> None:
        assert error_of(bench, "VOLT? 5") == -128
        assert error_of(bench, "VOLT? FOO") == -141

    def test_a_word_without_a_limit_behind_it_is_invalid(self, bench: Bench) -> None:
        assert error_of(bench, "FREQ DEF") == -141

    def test_infinity_is_taken_where_it_makes_sense(self, bench: Bench) -> None:
        assert value_of(bench, "LIST:COUN INF") == math.inf
        assert value_of(bench, "LIST:COUN INFINITY") == math.inf

    @pytest.mark.parametrize(("text", "number"), [("1.4", 1), ("1.5", 2), ("2.4", 2), ("0.5", 1)])
    def test_a_number_meant_whole_is_rounded(self, bench: Bench, text: str, number: int) -> None:
        bench.tell(f"INST:NSEL {text}")
        assert bench.output == number
        assert isinstance(bench.output, int)

    def test_rounding_does_not_help_over_a_limit(self, bench: Bench) -> None:
        assert error_of(bench, "INST:NSEL 2.5") == -222

    def test_a_repeated_parameter_takes_any_number(self, bench: Bench) -> None:
        bench.tell("LIST:DWEL 1 MS,2,3")
        assert bench.last_values == (0.001, 2.0, 3.0)
        assert error_of(bench, "LIST:DWEL") == -109
        assert error_of(bench, "LIST:DWEL 1,-1") == -222

    def test_an_optional_parameter_left_out_is_none(self, bench: Bench) -> None:
        bench.tell("APPL 5")
        assert bench.last_values == (5.0, None)
        bench.tell("APPL 5 , 2")
        assert bench.last_values == (5.0, 2.0)


@pytest.mark.parametrize(
    ("text", "value"),
    [("ON", True), ("off", False), ("1", True), ("0", False), ("2", True), ("-1", True), ("0.4", False), ("0.5", True)],
)
def test_a_boolean_is_on_off_or_a_rounded_number(bench: Bench, text: str, value: bool) -> None:
    """SCPI-99 volume 1, 7.3."""
    assert value_of(bench, f"OUTP {text}") is value


@pytest.mark.parametrize(
    ("text", "code"), [("MAYBE", -224), ("1 V", -138), ('"ON"', -158), ("", -109), ("ON,OFF", -108), ("#11a", -168)]
)
def test_a_wrong_boolean_has_its_own_error(bench: Bench, text: str, code: int) -> None:
    assert error_of(bench, f"OUTP {text}") == code


@pytest.mark.parametrize(
    ("text", "value"),
    [("SIN", "SIN"), ("sinusoid", "SIN"), ("SQUare", "SQU"), ("CHAN1", "CHAN1"), ("channel1", "CHAN1")],
)
def test_a_mnemonic_comes_in_its_short_form(bench: Bench, text: str, value: str) -> None:
    assert value_of(bench, f"FUNC {text}") == value


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("SINU", -224),
        ("CHAN2", -224),
        ("1", -128),
        ("'SIN'", -158),
        ("", -109),
        ("SIN,SQU", -108),
        ("ABCDEFGHIJKLM", -144),
        ("(SIN)", -178),
    ],
)
def test_a_wrong_mnemonic_has_its_own_error(bench: Bench, text: str, code: int) -> None:
    assert error_of(bench, f"FUNC {text}") == code


@pytest.mark.parametrize(
    ("text", "value"),
    [('"abc"', "abc"), ("'abc'", "abc"), ('"a;b,c"', "a;b,c"), ('"a""b"', 'a"b'), ("'it''s'", "it's"), ('""', ""),
     ("\"it's\"", "it's"), ('"\xe9"', "\xe9")],
)  # fmt: skip
def test_a_string_comes_without_its_quotes(bench: Bench, text: str, value: str) -> None:
    """IEEE 488.2 7.7.5."""
    assert value_of(bench, f"DISP:TEXT {text}") == value


@pytest.mark.parametrize(
    ("text", "code"),
    [('"abc', -151), ("abc", -148), ("5", -128), ('"' + "x" * 21 + '"', -223), ('"a" "b"', -103), ("", -109),
     ('"a","b"', -108)],
)  # fmt: skip
def test_a_wrong_string_has_its_own_error(bench: Bench, text: str, code: int) -> None:
    assert error_of(bench, f"DISP:TEXT {text}") == code


@pytest.mark.parametrize(
    ("text", "value"),
    [("#15hello", b"hello"), ("#10", b""), ("#3003a;b", b"a;b"), ("#15a\n\"'\xff", b"a\n\"'\xff"),
     ("#0to the end", b"to the end"), ("#264" + "x" * 64, b"x" * 64)],
)  # fmt: skip
def test_a_block_comes_as_its_bytes(bench: Bench, text: str, value: bytes) -> None:
    """IEEE 488.2 7.7.6."""
    assert value_of(bench, f"TRAC:DATA {text}") == value


@pytest.mark.parametrize(
    ("text", "code"),
    [("#15hell", -161), ("#", -161), ("#Z", -161), ("#2", -161), ("5", -128), ("#265" + "x" * 65, -223),
     ("", -109), ("#11a,#11b", -108)],
)  # fmt: skip
def test_a_wrong_block_has_its_own_error(bench: Bench, text: str, code: int) -> None:
    assert error_of(bench, f"TRAC:DATA {text}") == code


@pytest.mark.parametrize(
    ("text", "value"),
    [("(@101)", (101,)), ("(@101,103)", (101, 103)), ("(@ 103 , 101 )", (103, 101)), ("(@101:103)", (101, 102, 103)),
     ("(@103:101)", (103, 102, 101)), ("(@101,102:105)", (101, 102, 103, 105))],
)  # fmt: skip
def test_a_channel_list_comes_in_the_order_written(bench: Bench, text: str, value: tuple[int, ...]) -> None:
    """SCPI-99 volume 1, 8.3.2; a range leaves out what the instrument does not have."""
    assert value_of(bench, f"ROUT:CLOS {text}") == value


@pytest.mark.parametrize(
    ("text", "code"),
    [("(@99)", -222), ("(@101:104)", -222), ("(101)", -171), ("(@)", -171), ("(@101,)", -171), ("(@a)", -171),
     ("(@101", -171), ("(@-1)", -171), ("(@1:2:3)", -171), ("101", -128), ("", -109),
     ("(@" + "101," * 300 + "101)", -223)],
)  # fmt: skip
def test_a_wrong_channel_list_has_its_own_error(bench: Bench, text: str, code: int) -> None:
    assert error_of(bench, f"ROUT:CLOS {text}") == code


@pytest.mark.parametrize(
    ("text", "answer"),
    [("(-113)", "(-113)"), ("( -200 : -100 , +5 )", "(-200:-100,5)"), ("(-100:-200)", "(-200:-100)"), ("()", "()"),
     ("(1,2,3,4)", "(1:4)"), ("(-32768:32767)", "(-32768:32767)")],
)  # fmt: skip
def test_a_numeric_list_has_numbers_and_ranges_either_way(bench: Bench, text: str, answer: str) -> None:
    """SCPI-99 volume 1, 8.3.3."""
    assert bench.ask(f"SYST:ERR:ENAB {text};ENAB?") == answer


@pytest.mark.parametrize(
    ("text", "code"),
    [("(32768)", -222), ("(-40000:1)", -222), ("(1.5)", -171), ("(1:2:3)", -171), ("(1,)", -171), ("(@1)", -171),
     ("(1;2)", -171), ("-113", -128), ("", -109), ("(" + "1," * 300 + "1)", -223)],
)  # fmt: skip
def test_a_wrong_numeric_list_has_its_own_error_and_changes_nothing(bench: Bench, text: str, code: int) -> None:
    before = bench.ask("SYST:ERR:ENAB?")
    assert error_of(bench, f"SYST:ERR:ENAB {text}") == code
    assert bench.ask("SYST:ERR:ENAB?") == before
