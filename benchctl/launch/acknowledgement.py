"""The cautions before the first real run on a bench, and the record that a person has read them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from benchctl.address import NetworkAddress, parse_address
from benchctl.documents.bench import Bench
from benchctl.errors import OperatorStop, PreflightRefused, UsageError
from benchctl.guard.bench_lock import lock_paths, state_folder

WORD = "understood"

# The short form of SAFETY.md; a change to it is asked for again.
CAUTIONS = f"""\
This is the first real run on this bench. Before anything is switched on:
  - Your local codes, the makers' manuals and licensed practice come first. This program is no safety device.
  - An emergency stop that opens the supply lead by hand, without software, is in reach and was tried.
  - The supply lead is fused at the source. Rails and reservoirs stay charged after the power is off.
  - Outputs can exceed 60 V dc or 30 V rms: leads and loads are covered. No earthed probe is on a floating output.
  - Loads and heatsink get hot enough to burn and to light things: nothing flammable is near, air can move.
  - Nobody leaves an unattended run without smoke detection, a temperature cut-out, and somebody who can come.
  - Ears are protected where anything could become audible.
SAFETY.md has the whole page. Type '{WORD}' to go on"""


def require_acknowledgement(bench: Bench, ask: Callable[[str], str], *, unattended: bool) -> None:
    """See that a person has read the cautions for this bench; ask once, and keep the answer.

    A bench whose instruments are all on loopback is simulated and needs none.

    Raises:
        PreflightRefused: nobody is there to ask.
        OperatorStop: the person did not say that they are understood.
        UsageError: the answer cannot be kept.
    """
    if all(_is_loopback(entry.address) for _, entry in bench.instruments.items()):
        return
    kept = _file_for(bench)
    if kept.exists():
        return
    if unattended:
        raise PreflightRefused(
            ["nobody has acknowledged the cautions for this bench yet: begin its first run without --unattended"]
        )
    if ask(CAUTIONS).strip().lower() != WORD:
        raise OperatorStop("the cautions were not acknowledged; nothing was switched on")
    _keep(kept, bench)


def _is_loopback(address: str) -> bool:
    parsed = parse_address(address)
    return isinstance(parsed, NetworkAddress) and parsed.is_loopback


def _file_for(bench: Bench) -> Path:
    """One file for one set of instruments and one text of the cautions."""
    instruments = [path.name for path in lock_paths(entry.address for _, entry in bench.instruments.items())]
    digest = hashlib.sha256("\n".join([CAUTIONS, *instruments]).encode()).hexdigest()
    return state_folder() / "acknowledged" / f"{digest[:32]}.json"


def _keep(file: Path, bench: Bench) -> None:
    words = {"bench": bench.title, "at": datetime.now(UTC).isoformat(timespec="seconds"), "cautions": CAUTIONS}
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps(words, indent=2) + "\n", encoding="utf-8")
    except OSError as error:
        raise UsageError(f"the acknowledgement cannot be kept in {file.parent}: {error.strerror or error}") from error
