"""The instruments that were found, and what those of a bench file say: as tables, or as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict

import click
from rich.table import Table
from rich.text import Text

from benchctl.cli.shown.closing_line import console_for
from benchctl.errors import InstrumentError
from benchctl.instruments.discovery.hello import Hello
from benchctl.instruments.discovery.search import Found, Search
from benchctl.launch.instruments import find, hello_to

SILENT = "answers nothing to *IDN?"
NOTHING_SAID = "answers *IDN? with an empty line"


def show_search(addresses: Sequence[str], interfaces: Sequence[str], *, as_json: bool) -> int:
    """List what answers; the exit code is 0 however many do, and 5 where none of the addresses given does."""
    found = find(addresses, looks_around=not addresses, interfaces=interfaces or None)
    if as_json:
        click.echo(json.dumps(_search_as_data(found), indent=2))
    else:
        _print_search(found)
    answers = any(each.answered.identity is not None for each in found.found)
    return InstrumentError.exit_code if addresses and not answers else 0


def _print_search(found: Search) -> None:
    if found.found:
        console_for().print(_search_table(found.found))
    else:
        click.echo(
            "No instrument was found. Is it switched on, and its network interface? Give an address to ask there."
        )
    for note in found.notes:
        click.echo(f"Note: {note}.")


def _search_table(found: Sequence[Found]) -> Table:
    table = Table(title="Instruments", title_justify="left", title_style="bold")
    for head in ("address", "found by", "identity", "driver files that fit"):
        table.add_column(head, overflow="fold")
    for each in found:
        table.add_row(each.place.address, ", ".join(each.place.found_by), _who(each), "\n".join(each.drivers))
    return table


def _who(found: Found) -> Text:
    """The identity as it is, or why there is none, and what the instrument announced of itself."""
    answered, announced = found.answered, found.place.announced
    if answered.identity is not None:
        who = answered.identity or NOTHING_SAID
        return Text(f"{who}\nneeds `link: {{{answered.ends}}}`" if answered.ends else who)
    why = found.note or answered.problem or SILENT
    return Text(f"{why} (announced as {announced})" if announced else why, style="yellow")


def _search_as_data(found: Search) -> dict[str, object]:
    return {
        "instruments": [
            {
                "address": each.place.address,
                "found_by": list(each.place.found_by),
                "announced": each.place.announced,
                "identity": each.answered.identity,
                "ends": each.answered.ends,
                "drivers": list(each.drivers),
                "reached": each.answered.reached,
                "problem": each.note or each.answered.problem,
            }
            for each in found.found
        ],
        "notes": list(found.notes),
    }


def show_hello(bench: str, *, simulated: bool, as_json: bool) -> int:
    """Say hello to each instrument of a bench file; the exit code is 5 where one does not answer as it should."""
    hellos = hello_to(bench, simulated=simulated)
    if as_json:
        click.echo(json.dumps({"simulated": simulated, "instruments": [asdict(each) for each in hellos]}, indent=2))
    else:
        console_for().print(_hello_table(hellos, simulated=simulated))
        for line in _told(hellos, bench):
            click.echo(line, err=True)
    return InstrumentError.exit_code if any(each.problem for each in hellos) else 0


def _hello_table(hellos: Sequence[Hello], *, simulated: bool) -> Table:
    table = Table(
        title="Simulated instruments" if simulated else "Instruments", title_justify="left", title_style="bold"
    )
    for head in ("role", "identity", "in its error queue", "one reading", "switched on"):
        table.add_column(head, overflow="fold")
    for head in ("a question takes", "at worst"):
        table.add_column(head, justify="right")
    for each in hellos:
        table.add_row(
            each.role,
            Text("no answer", style="bold red") if each.problem else each.identity or "cannot say who it is",
            Text("\n".join(each.errors), style="yellow") if each.errors else _queue(each),
            ": ".join(filter(None, each.reading)),
            Text("\n".join(each.is_on), style="bold red") if each.is_on else "nothing",
            *_times(each),
        )
    table.caption = "Each reading is as the instrument is set now."
    table.caption_justify = "left"
    return table


def _queue(hello: Hello) -> str:
    return "nothing" if hello.keeps_errors else "keeps none"


def _times(hello: Hello) -> tuple[str, str]:
    if not hello.times_s:
        return "", ""
    return f"{1000 * hello.median_s:.1f} ms", f"{1000 * hello.worst_s:.1f} ms"


def _told(hellos: Sequence[Hello], bench: str) -> Iterator[str]:
    """What a person should know or do."""
    for each in hellos:
        if each.problem:
            yield f"{each.role} at {each.address}: {each.problem}"
        if each.is_on:
            yield f"{each.role}: {', '.join(each.is_on)} is on. To switch the bench off: benchctl safe --bench {bench}"
        if each.errors:
            yield f"{each.role}: the errors above were in its queue; reading them has emptied it."
