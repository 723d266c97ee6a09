"""`benchctl calibrate`: one thing after the other, then the table, then the file."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from pathlib import Path

from rich.table import Table
from rich.text import Text

from benchctl.cli.shown.calibrating import file, leads
from benchctl.cli.shown.calibrating.asking import choose, done, tell
from benchctl.cli.shown.calibrating.loads import Loads
from benchctl.cli.shown.calibrating.measured import Measured, rendered_ratio
from benchctl.cli.shown.calibrating.probes import Probes
from benchctl.cli.shown.closing_line import console_for
from benchctl.errors import InstrumentError, OperatorStop
from benchctl.launch.calibrate import Desk, open_desk

SECTIONS = ("loads", "probes", "clamp", "leads")


def show_calibrate(
    bench: str, sections: Sequence[str], out: Path, due: datetime.date | None, *, simulated: bool
) -> int:
    """Measure, show and write.

    Raises:
        DocumentError: the bench file or the file to be written is wrong.
        OperatorStop: the person does not want it; nothing was written.
    """
    kept = file.kept_in(out)
    if kept is not None:
        tell(f"{out} has values already. Those that are measured now take their place; the others stay.")
        _go_on_or_stop("Go on")
    today = datetime.datetime.now(tz=datetime.UTC).date()
    with open_desk(bench, simulated=simulated) as desk:
        found = [each for each in _measured(desk, sections or SECTIONS, today) if _is_wanted(each)]
        if not found:
            tell("\nNothing is taken, so nothing is written.")
            return 0
        console_for().print(_table(found))
        _go_on_or_stop(f"Write {out}")
        file.write(out, file.text_of(desk.file, kept, found, due))
    tell(f"Wrote {out}. Name it in the bench file, beside which it belongs: calibration: {out.name}")
    return 0


def _go_on_or_stop(question: str) -> None:
    if choose(question, ("yes", "no"), "yes") == "no":
        raise OperatorStop("nothing was written")


def _measured(desk: Desk, sections: Sequence[str], today: datetime.date) -> Iterator[Measured]:
    done(
        "This command energises nothing. Switch the amplifier off, take its supply leads off, and take its outputs off "
        "the loads and the probes."
    )
    if "loads" in sections:
        _check_dead(desk)
        yield from Loads(desk, today).measured()
    probes = Probes(desk, today)
    if "probes" in sections:
        yield from probes.voltage_probes()
    if "clamp" in sections:
        yield from probes.clamp()
    if "leads" in sections:
        yield from leads.measured(desk.file, today)


def _check_dead(desk: Desk) -> None:
    """Before load relays are switched. A supply that is off at the mains cannot say so; then a person does."""
    try:
        desk.check_dead()
    except InstrumentError as error:
        tell(f"It cannot be seen whether the supply is off: {error}")
        if choose("Is it switched off at the mains", ("yes", "no"), "no") == "no":
            raise


def _is_wanted(each: Measured) -> bool:
    """A value that is less certain than the one it would replace is only taken if the person wants it."""
    before, now = each.before, each.found.relative_uncertainty
    if before is None or not before.uncertainty or now <= before.uncertainty:
        return True
    tell(
        f"What was measured of {each.name} is uncertain by {rendered_ratio(now)}; the bench file states "
        f"{rendered_ratio(before.uncertainty)}. Take it only if you do not trust the bench file there."
    )
    return choose("Take it", ("yes", "no"), "no") == "yes"


def _table(found: Sequence[Measured]) -> Table:
    """Old, new, and by how many of the old uncertainties they differ."""
    table = Table(
        "", "before", "U", "now", "U", "difference", "in U of before", "largest causes of U", title="Measured"
    )
    for each in found:
        table.add_row(*map(Text, _row(each)))
    return table


def _row(each: Measured) -> tuple[str, ...]:
    now = (f"{each.found.value:.6g} {each.unit}".strip(), rendered_ratio(each.found.relative_uncertainty))
    causes = ", ".join(each.causes[:2])
    if each.before is None:
        return each.name, "not stated", "", *now, "", "", causes
    part = each.found.value / each.before.value - 1.0
    in_u = f"{abs(part) / each.before.uncertainty:.2g}" if each.before.uncertainty else ""
    before = (
        f"{each.before.value:.6g} {each.unit}".strip(),
        rendered_ratio(each.before.uncertainty) if each.before.uncertainty else "at most",
    )
    return each.name, *before, *now, f"{100.0 * part:+.3g} %", in_u, causes
