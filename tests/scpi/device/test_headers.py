"""A header finds its command by either form of each node, with or without its optional nodes, and by nothing else."""

from __future__ import annotations

from itertools import product

import pytest

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Numeric
from benchctl.scpi.errors import ScpiError


def tree_of(*patterns: str) -> CommandTree:
    tree = CommandTree()
    for pattern in patterns:
        tree.add(pattern, query=lambda _, pattern=pattern: pattern)  # type: ignore[misc]
    return tree


def find(tree: CommandTree, header: str) -> object:
    command, suffixes = tree.find(header.split(":"), is_query=True)
    return command.handler(Call(suffixes, ()))


def code_of(tree: CommandTree, header: str) -> int:
    with pytest.raises(ScpiError) as caught:
        find(tree, header)
    return caught.value.code


def test_every_way_of_writing_a_header_leads_to_it() -> None:
    """Each node short, long or, where optional, left out: 2 x 3 x 3 x 3 x 3 ways less one form of IMM..AMPL each."""
    pattern = "[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]"
    tree = tree_of(pattern)
    ways = product(
        ("", "SOUR", "SOURCE"), ("VOLT", "VOLTAGE"), ("", "LEV", "LEVEL"), ("", "IMM", "IMMEDIATE"),
        ("", "AMPL", "AMPLITUDE"),
    )  # fmt: skip
    for way in ways:
        assert find(tree, ":".join(node for node in way if node)) == pattern


@pytest.mark.parametrize("header", ["VOLTA", "VOL", "SOUR", "LEV", "VOLT:AMPL:IMM", "SOUR:SOUR:VOLT", "VOLT:X", ""])
def test_every_other_way_is_undefined(header: str) -> None:
    assert code_of(tree_of("[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]"), header) == -113


def test_command_and_query_are_two_things() -> None:
    tree = CommandTree()
    tree.add("INITiate", set=lambda _: None)
    tree.find(["INIT"], is_query=False)
    assert code_of(tree, "INIT") == -113


class TestSuffixes:
    """SCPI-99 volume 1, 6.2.5: a number belongs to its node, none means 1, one too many is error -114."""

    TREE = tree_of("OUTPut<1:2>[:STATe]")

    def suffixes(self, tree: CommandTree, header: str) -> tuple[int, ...]:
        return tree.find(header.split(":"), is_query=True)[1]

    @pytest.mark.parametrize(("header", "number"), [("OUTP", 1), ("OUTP1", 1), ("OUTPUT2:STAT", 2), ("OUTP02", 2)])
    def test_a_number_is_told_to_the_handler(self, header: str, number: int) -> None:
        assert self.suffixes(self.TREE, header) == (number,)

    @pytest.mark.parametrize("header", ["OUTP0", "OUTP3", "OUTP2:STAT2", "OUTP99999999999999999999"])
    def test_a_number_that_is_not_there_is_out_of_range(self, header: str) -> None:
        assert code_of(self.TREE, header) == -114

    def test_a_node_without_numbers_takes_1(self) -> None:
        assert self.suffixes(tree_of("VOLTage"), "VOLT1") == ()
        assert code_of(tree_of("VOLTage"), "VOLT2") == -114

    def test_an_optional_node_left_out_counts_as_1(self) -> None:
        tree = tree_of("[SOURce<n>]:LIST<n>:VOLTage")
        assert self.suffixes(tree, "SOUR3:LIST2:VOLT") == (3, 2)
        assert self.suffixes(tree, "LIST2:VOLT") == (1, 2)

    def test_a_name_that_ends_in_a_digit_comes_before_a_number(self) -> None:
        tree = tree_of("TRIGger<n>:A", "TRIGger2:B")
        assert find(tree, "TRIG2:B") == "TRIGger2:B"


class TestAdding:
    """A tree is put together by a programmer, whose slips come out at once."""

    def test_a_header_cannot_be_taken_twice(self) -> None:
        tree = tree_of("[SOURce]:VOLTage")
        with pytest.raises(ValueError, match="taken"):
            tree.add("VOLTage[:LEVel]", query=lambda _: 1)

    def test_command_and_query_may_be_added_one_after_the_other(self) -> None:
        tree = tree_of("VOLTage")
        tree.add("VOLTage", set=lambda _: None)
        tree.find(["VOLT"], is_query=False)

    @pytest.mark.parametrize("pattern", ["", "[SOURce]", "[SOURce:VOLTage", "SOURce]:VOLT", "voltage", "A:<n>", "A<3>"])
    def test_a_pattern_that_makes_no_sense_is_refused(self, pattern: str) -> None:
        with pytest.raises(ValueError):  # noqa: PT011 - which slip it is does not matter here
            CommandTree().add(pattern, query=lambda _: 1)

    def test_parameters_of_a_query_are_named_so(self) -> None:
        with pytest.raises(ValueError, match="query_parameters"):
            CommandTree().add("VOLTage", query=lambda _: 1, parameters=[Numeric()])
