"""What any instrument on IEEE 488.2 and SCPI-99 must do, a row a rule, with the clause it comes from.

A rule is a short conversation that needs no knowledge of the instrument, so the table can be held against every
simulated instrument and against a real one. Clause numbers are quoted from memory of the standards' contents; the
examples of wrong headers and numbers are those that the explanations of SCPI-99 21.8 give.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple, Protocol

_NO_ERROR = r'0,"No error"'
_ANY = r"[^;]*"


class Link(Protocol):
    """A way to an instrument."""

    def tell(self, message: str) -> None:
        """Send a program message that has no response."""

    def ask(self, message: str) -> str:
        """Send a program message and give its response without its end."""


class Step(NamedTuple):
    """One message and the pattern of its whole response; None where it must have no response."""

    message: str
    response: str | None = None


class Rule(NamedTuple):
    """A promise, and the conversation that shows it. Each starts from cleared and preset status."""

    clause: str
    promise: str
    steps: tuple[Step, ...]


_CLEAN_START = "*CLS;*ESE 0;*SRE 0;:STAT:PRES"


def find_breach(rule: Rule, link: Link) -> str:
    """Hold `rule` against the instrument behind `link`; what it did wrong, or "" where it kept the rule."""
    link.tell(_CLEAN_START)
    for step in rule.steps:
        if step.response is None:
            link.tell(step.message)
            continue
        response = link.ask(step.message).lstrip("+")  # some instruments send a sign with every NR1
        if re.fullmatch(step.response, response) is None:
            return f"{step.message[:40]!r} got {response!r}, not {step.response!r}"
    return ""


def _wrong(message: str, code: int) -> tuple[Step, ...]:
    """`message` must put exactly this error into the queue and set the bit of its class."""
    bit = {1: "32", 2: "16", 4: "4"}[-code // 100]
    return (
        Step(message),
        Step("*ESR?", bit),
        Step("SYST:ERR?", rf'{code},"[^"]*"'),
        Step("SYST:ERR?", _NO_ERROR),
    )


_COMMON = (
    Rule("488.2 10.3", "*CLS clears events and errors", (Step("*XYZ"), Step("*CLS"), *(
        Step("*ESR?", "0"), Step("SYST:ERR?", _NO_ERROR),
    ))),
    Rule("488.2 10.3", "*CLS keeps the enable registers", (
        Step("*ESE 36;*SRE 4;*CLS"), Step("*ESE?;*SRE?", "36;4"),
    )),
    Rule("488.2 10.10", "*ESE is read back as set", (Step("*ESE 36"), Step("*ESE?", "36"))),
    Rule("488.2 10.10", "*ESE beyond 255 is refused and changes nothing", (
        Step("*ESE 3"), *_wrong("*ESE 256", -222), Step("*ESE?", "3"),
    )),
    Rule("488.2 10.12", "*ESR? clears what it reads", (Step("*XYZ"), Step("*ESR?", "32"), Step("*ESR?", "0"))),
    Rule("488.2 10.14", "*IDN? answers four fields", (Step("*IDN?", r"[^,;]+,[^,;]+,[^,;]+,[^,;]+"),)),
    Rule("488.2 10.18", "*OPC sets bit 0 when nothing is pending", (Step("*OPC"), Step("*ESR?", "1"))),
    Rule("488.2 10.19", "*OPC? answers 1 and leaves bit 0", (Step("*OPC?", "1"), Step("*ESR?", "0"))),
    Rule("488.2 10.32", "*RST keeps errors, events and enables", (
        Step("*ESE 8;*SRE 4"), Step("*XYZ"), Step("*RST"),
        Step("*ESE?;*SRE?", "8;4"), Step("*ESR?", "32"), Step("SYST:ERR?", '-113,"[^"]*"'),
    )),
    Rule("488.2 10.34", "*SRE cannot enable bit 6", (Step("*SRE 255"), Step("*SRE?", "191"))),
    Rule("488.2 10.38", "*TST? answers 0 for passed", (Step("*TST?", "0"),)),
    Rule("488.2 10.39", "*WAI lets the next command run when nothing is pending", (Step("*WAI;*OPC?", "1"),)),
    Rule("488.2 10", "a command that is only a query has no other form", _wrong("*IDN", -113)),
    Rule("488.2 10", "a command that is not a query has no query form", _wrong("*CLS?", -113)),
)  # fmt: skip

_STATUS = (
    Rule("488.2 11.2", "bit 2 of the status byte: errors wait", (Step("*XYZ"), Step("*STB?", "4"))),
    Rule("488.2 11.2.1.2", "bit 4: part of a response waits", (Step("*OPC?;*STB?", "1;16"),)),
    Rule("488.2 11.2.1.3", "bits 5 and 6: an enabled event asks for service", (
        Step("*ESE 32;*SRE 32"), Step("*XYZ"), Step("*STB?", "100"),
    )),
    Rule("488.2 11.2", "reading the status byte changes nothing", (
        Step("*XYZ"), Step("*STB?", "4"), Step("*STB?", "4"),
    )),
    Rule("SCPI-99 20", "every register of OPERation can be read", (
        Step("STAT:OPER?;:STAT:OPER:EVEN?;COND?;ENAB?;PTR?;NTR?", r"\d+;\d+;\d+;0;32767;0"),
    )),
    Rule("SCPI-99 20", "every register of QUEStionable can be read", (
        Step("STAT:QUES?;:STAT:QUES:EVEN?;COND?;ENAB?;PTR?;NTR?", r"\d+;\d+;\d+;0;32767;0"),
    )),
    Rule("SCPI-99 20", "bit 15 is always 0", (
        Step("STAT:OPER:ENAB 65535;:STAT:QUES:ENAB 65535"),
        Step("STAT:OPER:ENAB?;:STAT:QUES:ENAB?", "32767;32767"),
    )),
    Rule("SCPI-99 20.2", "STATus:PRESet restores enables and filters of the groups only", (
        Step("*ESE 4;*SRE 8;:STAT:OPER:ENAB 9;PTR 1;NTR 2;:STAT:QUES:ENAB 9;PTR 1;NTR 2;:STAT:PRES"),
        Step("STAT:OPER:ENAB?;PTR?;NTR?;:STAT:QUES:ENAB?;PTR?;NTR?", "0;32767;0;0;32767;0"),
        Step("*ESE?;*SRE?", "4;8"),
    )),
)  # fmt: skip

_SYNTAX = (
    Rule("488.2 7.6.1", "headers are read in any case", (Step("*opc?;*OpC?", "1;1"),)),
    Rule("488.2 7.4.1", "control characters are white space, a carriage return among them", (
        Step("\t *ESE \t 5 \r"), Step(" *ESE? \r", "5"),
    )),
    Rule("488.2 7.5", "an empty message is no error", (Step(""), Step("\r"), Step("SYST:ERR?", _NO_ERROR))),
    Rule("488.2 8.4", "answers of one message are joined by semicolons", (Step("*ESE?;*SRE?;*OPC?", "0;0;1"),)),
    Rule("488.2 7.7.2", "numbers are taken in every decimal form, and rounded", (
        Step("*ESE 1.2E1"), Step("*ESE?", "12"), Step("*ESE +31.6"), Step("*ESE?", "32"),
        Step("*ESE .4e+1"), Step("*ESE?", "4"), Step("*ESE 5."), Step("*ESE?", "5"),
    )),
    Rule("488.2 7.7.4", "numbers are taken in base 16, 8 and 2", (
        Step("*ESE #H1f"), Step("*ESE?", "31"), Step("*ESE #q17"), Step("*ESE?", "15"),
        Step("*ESE #B101"), Step("*ESE?", "5"),
    )),
    Rule("488.2 6.5.7.5", "no query after an indefinite response", (
        Step("*IDN?;*OPC?", _ANY), Step("*ESR?", "4"), Step("SYST:ERR?", '-440,"[^"]*"'),
    )),
    Rule("SCPI-99 6.2.1", "short and long form mean the same", (
        Step("SYST:VERS?;:SYSTEM:VERSION?;:system:vers?", r"(\d{4}\.\d)(;\1){2}"),
    )),
    Rule("SCPI-99 6.2.1", "a form between short and long is undefined", _wrong("SYSTE:VERS?", -113)),
    Rule("SCPI-99 6.2.4", "a semicolon keeps the path", (
        Step("SYST:VERS?;ERR:NEXT?;COUN?", rf"\d{{4}}\.\d;{_NO_ERROR};0"),
    )),
    Rule("SCPI-99 6.2.4", "a common command neither uses nor changes the path", (
        Step("SYST:VERS?;*OPC?;ERR:COUN?", r"\d{4}\.\d;1;0"),
    )),
    Rule("SCPI-99 6.2.4", "a leading colon goes back to the root", (
        Step("SYST:VERS?;:SYST:ERR:NEXT?;COUN?", rf"\d{{4}}\.\d;{_NO_ERROR};0"),
    )),
    Rule("SCPI-99 6.2.4", "a new message starts at the root", (
        Step("SYST:VERS?", r"\d{4}\.\d"), *_wrong("VERS?", -113),
    )),
    Rule("SCPI-99 21.21", "SYSTem:VERSion? names a year and a revision", (Step("SYST:VERS?", r"\d{4}\.\d"),)),
)  # fmt: skip

_COMMAND_ERRORS = tuple(
    Rule("SCPI-99 21.8.9", f"error {code}: {promise}", _wrong(message, code))
    for message, code, promise in (
        ("SYST:VERS? $", -101, "a character that no element of the syntax uses"),
        ("*WAI;;*WAI", -102, "nothing between two semicolons"),
        ("*ESE 1 2", -103, "no separator between two numbers"),
        ("*ESE 1,2", -108, "more parameters than the header takes"),
        ("*ESE", -109, "fewer parameters than the header needs"),
        ('*GMC"MACRO"', -111, "no white space behind the header"),
        ("ABCDEFGHIJKLM", -112, "a mnemonic of more than twelve characters"),
        ("*XYZ", -113, "a header that no device has"),
        ("STAT2:OPER?", -114, "a numeric suffix that the node does not have"),
        ("*ESE 1.2.3", -121, "a second point in a number"),
        ("*ESE #Q9", -121, "a 9 in an octal number"),
        ("*ESE 1E32001", -123, "an exponent beyond 32000"),
        ("*ESE 1" + "0" * 255, -124, "more than 255 digits"),
        ("*ESE 1 ABCDEFGHIJKLM", -134, "a suffix of more than twelve characters"),
        ("*ESE 1 V", -138, "a suffix where none is taken"),
        ("*ESE FOO", -141, "a word where a number is due"),
        ("*ESE ABCDEFGHIJKLM", -144, "a word of more than twelve characters"),
        ('*ESE "1', -151, "a string without its second quotation mark"),
        ('*ESE "1"', -158, "a string where a number is due"),
        ("*ESE #11a", -168, "a block where a number is due"),
        ("*ESE (@1", -171, "parentheses left open"),
        ("*ESE (@1)", -178, "a list where a number is due"),
    )
)

_ERROR_QUEUE = (
    Rule("SCPI-99 21.8", "an empty queue answers 0", (Step("SYST:ERR?", _NO_ERROR), Step("SYST:ERR:COUN?", "0"))),
    Rule("SCPI-99 21.8", "errors come out in the order they went in", (
        Step("*XYZ"), Step("*ESE 256"), Step("SYST:ERR:COUN?", "2"),
        Step("SYST:ERR:NEXT?", '-113,"[^"]*"'), Step("SYST:ERR?", '-222,"[^"]*"'), Step("SYST:ERR?", _NO_ERROR),
    )),
    Rule("SCPI-99 21.8", "all errors can be read at once", (
        Step("*XYZ"), Step("*ESE 256"), Step("SYST:ERR:ALL?", '-113,"[^"]*",-222,"[^"]*"'),
        Step("SYST:ERR:ALL?", _NO_ERROR),
    )),
    Rule("SCPI-99 21.8", "numbers can be read without texts", (
        Step("*XYZ"), Step("*ESE 256"), Step("SYST:ERR:CODE?", "-113"), Step("SYST:ERR:CODE:NEXT?", "-222"),
        Step("*XYZ"), Step("*ESE 256"), Step("SYST:ERR:CODE:ALL?", "-113,-222"), Step("SYST:ERR:CODE:ALL?", "0"),
    )),
    Rule("SCPI-99 21.8.7", "only enabled errors enter the queue; the event register has them all the same", (
        Step("SYST:ERR:ENAB (-200:-299)"), Step("SYST:ERR:ENAB:LIST?", r"\(-299:-200\)"),
        Step("*XYZ"), Step("*ESE 256"), Step("*ESR?", "48"), Step("SYST:ERR:CODE:ALL?", "-222"),
    )),
    Rule("SCPI-99 21.8.7", "errors can be added to those enabled, and deleted from them", (
        Step("SYST:ERR:ENAB (-110:-115)"), Step("SYST:ERR:ENAB:ADD (-100,-109)"), Step("SYST:ERR:ENAB:DEL (-112,-113)"),
        Step("SYST:ERR:ENAB?", r"\(-115:-114,-111:-109,-100\)"), Step("*XYZ"), Step("SYST:ERR:COUN?", "0"),
    )),
    Rule("SCPI-99 21.8.7", "with none enabled the queue stays empty", (
        Step("SYST:ERR:ENAB ()"), Step("*XYZ"), Step("SYST:ERR:ENAB?;:SYST:ERR?", r"\(\);" + _NO_ERROR),
    )),
    Rule("SCPI-99 21.8.7", "an event enters the queue once it is enabled", (
        Step("*OPC"), Step("SYST:ERR:COUN?", "0"),
        Step("SYST:ERR:ENAB:ADD (-800)"), Step("*OPC"), Step("SYST:ERR?", '-800,"[^"]*"'),
    )),
    Rule("SCPI-99 20", "STATus:PRESet enables errors in the queue and no events", (
        Step("SYST:ERR:ENAB (-800)"), Step("STAT:PRES"), Step("*OPC"), Step("*XYZ"), Step("SYST:ERR:CODE:ALL?", "-113"),
    )),
    Rule("SCPI-99 21.8.1", "a full queue keeps its oldest entries and ends with -350", (
        *(Step("*XYZ"),) * 100, Step("SYST:ERR:ALL?", '-113,"[^"]*",.*[^0-9]-350,"[^"]*"'),
        Step("SYST:ERR?", _NO_ERROR),
    )),
    Rule("488.2 11.5.1", "an execution error spoils neither the rest of its message nor the settings", (
        Step("*ESE 7"), Step("*ESE 256;*SRE 8"), Step("*ESE?;*SRE?", "7;8"),
    )),
    Rule("488.2 6.1", "answers before a command error are not lost", (
        Step("*OPC?;*XYZ", "1"), Step("SYST:ERR?", '-113,"[^"]*"'),
    )),
)  # fmt: skip

RULES: tuple[Rule, ...] = (*_COMMON, *_STATUS, *_SYNTAX, *_COMMAND_ERRORS, *_ERROR_QUEUE)


def breaches(link: Link) -> Iterator[tuple[Rule, str]]:
    """Every rule that the instrument behind `link` breaks, with what it did."""
    for rule in RULES:
        breach = find_breach(rule, link)
        if breach:
            yield rule, breach
