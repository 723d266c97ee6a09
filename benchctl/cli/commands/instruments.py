"""benchctl instruments: what answers, and whether it works as its driver file says."""

from __future__ import annotations

import click

from benchctl.cli.options import json_option, reason
from benchctl.cli.questions import Written
from benchctl.documents.model.fields import Address


@click.command(
    epilog="""\b
Examples:
  benchctl instruments
  benchctl instruments TCPIP::192.168.0.21::5025::SOCKET
  benchctl instruments --bench mybench.yaml
  benchctl instruments --bench workshop --simulated
  benchctl instruments --bench mybench.yaml --exercise supply --for quick_check"""
)
@click.argument("addresses", nargs=-1, type=Written(Address), metavar="[ADDRESS]...")
@click.option("--bench", "-b", metavar="BENCH", help="Say hello to each instrument of this bench file.")
@click.option("--simulated", is_flag=True, help="With --bench: simulated instruments behind the same bench file.")
@click.option(
    "--interface",
    "interfaces",
    multiple=True,
    metavar="NAME",
    help="Listen on this network interface only, for what announces itself there.",
)
@click.option(
    "--exercise",
    metavar="ROLE|all",
    help="With --bench: try every word of the driver file of this instrument, or of all.",
)
@click.option("--yes", is_flag=True, help="With --exercise: do not ask before what energises nothing.")
@click.option(
    "--energise",
    callback=reason,
    metavar="REASON",
    help="With --exercise: also try what switches something on; say how you know that nothing is connected.",
)
@click.option(
    "--for",
    "sequences",
    multiple=True,
    metavar="SEQUENCE",
    help="With --exercise: only words that this sequence needs count for the exit code. May be given again.",
)
@json_option
def instruments(  # noqa: PLR0917 - click passes each option by name
    addresses: tuple[str, ...],
    bench: str | None,
    simulated: bool,
    interfaces: tuple[str, ...],
    exercise: str | None,
    yes: bool,
    energise: str,
    sequences: tuple[str, ...],
    as_json: bool,
) -> int:
    """List the instruments that answer, say hello to those of a bench file, or try their driver files.

    Without an address it looks around: for what announces itself on the network, and for what USB, GPIB, serial ports
    and VXI-11 list. Each address found is asked for *IDN?, except serial ports. With addresses, only these are asked.
    Nothing is set. It takes some seconds.

    With --bench each instrument of the bench file is asked who it is, what its error queue holds, for one reading, and
    how long a question takes. Reading an error queue empties it. Nothing is switched on or off.

    With --exercise every word of a driver file is tried on its instrument at harmless values, with outputs off, and
    read back. It says first what it will do, and asks. For each word it tells whether it works; where one does not,
    the bytes both ways, the line of the driver file, and what to write instead. What switches something on is tried
    only after a person has said that nothing is connected. Everything is off again afterwards.
    """
    of_exercise = yes or bool(energise or sequences)
    _check_options(addresses, bench, simulated, interfaces, exercise, of_exercise)
    # Heavy, and `--help` needs none of it.
    if bench is not None and exercise is not None:
        from benchctl.cli.shown.exercise import Agreed, show_exercise  # noqa: PLC0415

        return show_exercise(bench, exercise, Agreed(yes, energise, simulated, as_json), sequences, as_json=as_json)
    from benchctl.cli.shown.instruments import show_hello, show_search  # noqa: PLC0415

    if bench is not None:
        return show_hello(bench, simulated=simulated, as_json=as_json)
    return show_search(addresses, interfaces, as_json=as_json)


def _check_options(  # noqa: PLR0917 - the options of one command
    addresses: tuple[str, ...],
    bench: str | None,
    simulated: bool,
    interfaces: tuple[str, ...],
    exercise: str | None,
    of_exercise: bool,
) -> None:
    """Refuse options that do not go together."""
    if bench is None and (simulated or exercise is not None):
        raise click.UsageError("--simulated and --exercise need --bench, which has the instruments and their drivers")
    if bench is not None and (addresses or interfaces):
        raise click.UsageError("--bench has the addresses of its instruments; give one or the other")
    if exercise is None and of_exercise:
        raise click.UsageError("--yes, --energise and --for belong to --exercise")
