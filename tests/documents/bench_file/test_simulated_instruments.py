"""The `instruments:` of a bench file's `simulation:` section."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from benchctl.documents.bench_file.bench import Bench
from benchctl.errors import DocumentError


def with_instruments(bench_text: str, *lines: str) -> str:
    return bench_text + "  instruments:\n" + "".join(f"    {line}\n" for line in lines)


def test_a_simulated_instrument_has_a_form_and_vices(document_of: Callable[..., Bench], bench_text: str) -> None:
    text = with_instruments(
        bench_text,
        "supply: {speaks: scpi99, answers_after: 0.3 s, busy_after_setting: 2 s, reset_takes: 5 s, clients: one,"
        " free_again_after: 500 ms, identity: one field, error_queue: no, lacks: ['*ESR?', '*OPC?'], ends: none,"
        " echo: yes, acknowledge: OK}",
    )
    bench = document_of(text, "bench")
    assert bench.simulation is not None
    supply = bench.simulation.instruments.supply
    assert (supply.speaks, supply.answers_after_s, supply.busy_after_setting_s) == ("scpi99", 0.3, 2.0)
    assert (supply.clients, supply.free_again_after_s, supply.reset_takes_s) == ("one", 0.5, 5.0)
    assert (supply.identity, supply.error_queue, supply.lacks) == ("one field", "no", ("*ESR?", "*OPC?"))
    assert (supply.ends, supply.echo, supply.acknowledge) == ("none", "yes", "OK")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("supply: {speaks: quipu}", r":\d+:\d+: .*'quipu'.*channel_list"),
        ("supply: {clients: two}", "'two'.*several.*one"),
        ("supply: {lacks: ['*IDM?']}", r"'\*IDM\?'"),
        ("voltmeter: {}", "unknown key 'voltmeter'"),
    ],
)
def test_what_no_instrument_can_be_is_refused_with_its_place_and_what_is_known(
    document_of: Callable[..., Bench], bench_text: str, line: str, words: str
) -> None:
    with pytest.raises(DocumentError) as refused:
        document_of(with_instruments(bench_text, line), "bench")
    assert re.search(words, str(refused.value))


def test_an_instrument_that_the_bench_lacks_cannot_be_described(
    document_of: Callable[..., Bench], bench_text: str
) -> None:
    without = re.sub(r"(?ms)^  thermometer:\n.*?(?=^\S)", "", bench_text)
    assert without != bench_text
    with pytest.raises(DocumentError, match="there is no thermometer under 'instruments'"):
        document_of(with_instruments(without, "thermometer: {answers_after: 1 s}"), "bench")
