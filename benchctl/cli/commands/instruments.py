"""benchctl instruments: what answers, and whether it works as its driver file says."""

from __future__ import annotations

import click

from benchctl.cli.options import json_option
from benchctl.cli.questions import Written
from benchctl.documents.model.fields import Address


@click.command(
    epilog="""\b
Examples:
  benchctl instruments
  benchctl instruments TCPIP::192.168.0.21::5025::SOCKET
  benchctl instruments --bench mybench.yaml
  benchctl instruments --bench workshop --simulated"""
)
@click.argument("addresses", nargs=-1, type=Written(Address), metavar="[ADDRESS]...")
@click.option("--bench", "-b", metavar="BENCH", help="Say hello to each instrument of this bench file instead.")
@click.option("--simulated", is_flag=True, help="With --bench: simulated instruments behind the same bench file.")
@click.option(
    "--interface",
    "interfaces",
    multiple=True,
    metavar="NAME",
    help="Listen on this network interface only, for what announces itself there.",
)
@json_option
def instruments(
    addresses: tuple[str, ...], bench: str | None, simulated: bool, interfaces: tuple[str, ...], as_json: bool
) -> int:
    """List the instruments that answer, or say hello to those of a bench file.

    Without an address it looks around: for what announces itself on the network, and for what USB, GPIB, serial ports
    and VXI-11 list. Each address found is asked for *IDN?, except serial ports. With addresses, only these are asked.
    Nothing is set. It takes some seconds.

    With --bench each instrument of the bench file is asked who it is, what its error queue holds, for one reading, and
    how long a question takes. Reading an error queue empties it. Nothing is switched on or off.
    """
    if bench is None and simulated:
        raise click.UsageError("--simulated needs --bench: there is no bench to simulate")
    if bench is not None and (addresses or interfaces):
        raise click.UsageError("--bench has the addresses of its instruments; give one or the other")
    # Heavy, and `--help` needs none of it.
    from benchctl.cli.shown import instruments as shown  # noqa: PLC0415

    if bench is None:
        return shown.show_search(addresses, interfaces, as_json=as_json)
    return shown.show_hello(bench, simulated=simulated, as_json=as_json)
