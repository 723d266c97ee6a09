"""benchctl simulate: simulated instruments in real time."""

from __future__ import annotations

import json
import signal
import threading
from typing import TYPE_CHECKING

import click

from benchctl.cli.completing import complete_document
from benchctl.cli.options import amplifier_option, json_option

if TYPE_CHECKING:
    from benchctl.launch.simulated.serving import Served


@click.command(epilog="Example:  benchctl simulate workshop --amplifier hx2150")
@click.argument(
    "bench", metavar="BENCH", shell_complete=lambda _context, _argument, begun: complete_document("bench", begun)
)
@amplifier_option
@json_option
@click.option("--announce", is_flag=True, help="Announce them by multicast DNS too, on loopback only (needs zeroconf).")
def simulate(bench: str, amplifier: str, as_json: bool, announce: bool) -> int:
    """Serve simulated instruments in real time.

    They listen at the bench file's own addresses, raw sockets or HiSLIP on loopback, until Ctrl-C. Once ready, one
    line is printed. Then `benchctl run ... --bench BENCH` in another terminal talks to them as it would to a bench.
    """
    from benchctl.launch.simulated.serving import served  # noqa: PLC0415 - heavy, and `--help` needs none of it

    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    with served(bench, amplifier, announce=announce) as instruments:
        if as_json:
            click.echo(json.dumps({"instruments": {role: _listed(each) for role, each in instruments.items()}}))
        else:
            places = ", ".join(f"{role} {_place(each)}" for role, each in instruments.items())
            click.echo(f"Serving {places}. Ctrl-C ends it.")
        while not stop.wait(3600.0):
            pass
    return 0


def _listed(each: Served) -> dict[str, object]:
    listed: dict[str, object] = {"address": each.address, "socket": list(each.socket)}
    return listed if each.hislip is None else {**listed, "hislip": list(each.hislip)}


def _place(each: Served) -> str:
    host, port = each.socket
    also = "" if each.hislip is None else " (HiSLIP {}:{})".format(*each.hislip)
    return f"{host}:{port}{also}"
