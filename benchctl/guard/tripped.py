"""Whether the supply has switched an output off by itself, asked once the bench is safe: it may be why a run ended."""

from __future__ import annotations

from collections.abc import Callable

from benchctl.archive.journal.events import SUPPLY_TRIPPED
from benchctl.errors import InstrumentError
from benchctl.instruments.bench import Bench


def tripped_outputs(bench: Bench, report: Callable[..., None]) -> tuple[str, ...]:
    """The supply's outputs whose own protection has tripped; the journal gets them too. If one does not answer, no more
    are asked.
    """
    if not bench.has("supply"):
        return ()
    try:
        tripped = tuple(name for name in bench.supply.outputs if bench.supply.has_tripped(name))
    except InstrumentError as error:
        report("supply protection not known", reason=str(error))
        return ()
    if tripped:
        report(SUPPLY_TRIPPED, outputs=list(tripped))
    return tripped
