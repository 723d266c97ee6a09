"""benchctl simulate: simulated instruments in real time."""

from __future__ import annotations

import json
import signal
import threading

import click

from benchctl.cli.options import amplifier_option, json_option
from benchctl.launch.simulate import served


@click.command(epilog="Example:  benchctl simulate workshop --amplifier hx2150")
@click.argument("bench", metavar="BENCH")
@amplifier_option
@json_option
def simulate(bench: str, amplifier: str, as_json: bool) -> int:
    """Serve simulated instruments in real time.

    They listen at the bench file's own addresses, which must be loopback sockets, until Ctrl-C. Once ready, one
    line is printed. Then `benchctl run ... --bench BENCH` in another terminal talks to them as it would to a bench.
    """
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    with served(bench, amplifier) as instruments:
        if as_json:
            listing = {
                role: {"address": each.address, "socket": list(each.socket)} for role, each in instruments.items()
            }
            click.echo(json.dumps({"instruments": listing}))
        else:
            places = ", ".join(f"{role} {each.socket[0]}:{each.socket[1]}" for role, each in instruments.items())
            click.echo(f"Serving {places}. Ctrl-C ends it.")
        while not stop.wait(3600.0):
            pass
    return 0
