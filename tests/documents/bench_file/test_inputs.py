"""How a bench file says that one input can be driven alone, and what it is refused for."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from benchctl.documents.bench_file.bench import Bench, InputsByHand, InputsByRelay
from tests.documents.conftest import ProblemsOf, read_text

TextWith = Callable[[str], str]


@pytest.fixture
def text_with(bench_text: str) -> TextWith:
    """The workshop's bench file with these inputs."""
    head, _, rest = bench_text.partition("inputs: ")
    return lambda inputs: f"{head}inputs: {inputs}\n{rest.partition(chr(10))[2]}"


@pytest.fixture
def bench_with(text_with: TextWith) -> Callable[[str], Bench]:
    def read(inputs: str) -> Bench:
        found = read_text(text_with(inputs))
        assert isinstance(found, Bench)
        return found

    return read


def test_relays_are_named_by_the_channel_whose_input_they_feed(bench_with: Callable[[str], Bench]) -> None:
    inputs = bench_with("{by: relay, relays: {A: 201, B: 202}}").inputs
    assert isinstance(inputs, InputsByRelay)
    assert inputs.relays == {"A": 201, "B": 202}


def test_hands_need_no_more_than_a_word(bench_with: Callable[[str], Bench]) -> None:
    assert isinstance(bench_with("{by: hand}").inputs, InputsByHand)


def test_a_relay_of_an_input_may_stick_as_well(text_with: TextWith) -> None:
    text = text_with("{by: relay, relays: {A: 201, B: 202}}")
    assert read_text(f"{text}  faults: [{{kind: relay stuck, relay: 202, at: 1 s}}]\n")


@pytest.mark.parametrize(
    ("inputs", "words"),
    [
        ("{by: relay, relays: {A: 101, B: 202}}", "relay 101 connects a load resistor already"),
        ("{by: relay, relays: {A: 201, B: 201}}", "relay 201 connects input A already"),
        ("{by: relay, relays: {A: 201, C: 202}}", "no output 'C' under 'signals'; there are A, B"),
        ("{by: relay, relays: {}}", "too few entries"),
        ("{by: magic}", "unknown value 'magic'"),
    ],
)
def test_what_cannot_be_is_refused_at_its_place(
    inputs: str, words: str, problems_of: ProblemsOf, text_with: TextWith
) -> None:
    (fault,) = problems_of(text_with(inputs))
    assert words in fault
