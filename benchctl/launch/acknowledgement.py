"""The cautions before the first real run on a bench, and the record that a person has read them."""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from benchctl.address import NetworkAddress, parse_address
from benchctl.documents.bench_file.bench import Bench
from benchctl.errors import OperatorStop, PreflightRefused, UsageError

WORD = "understood"

# The short form of SAFETY.md. If it changes, it is asked again.
CAUTIONS = f"""\
This is the first real run on this bench. Before anything is switched on:
  - Your local codes, the makers' manuals and licensed practice come first. This program is not a safety device.
  - An emergency stop that opens the supply lead by hand, without software, is in reach and was tried.
  - The supply lead is fused at the source. Rails and reservoirs stay charged after the power is off.
  - Outputs can exceed 60 V dc or 30 V rms: leads and loads are covered. No earthed probe is on a floating output.
  - Loads and heatsink get hot enough to burn and to light things: nothing flammable is near, air can move.
  - Nobody leaves an unattended run without smoke detection, a temperature cut-out, and somebody who can come.
  - Ears are protected where anything could become audible.
SAFETY.md has the whole page. Type '{WORD}' to go on"""


def require_acknowledgement(bench: Bench, ask: Callable[[str], str], *, unattended: bool) -> None:
    """Make sure that a person has read the cautions for this bench. They are asked once, and the answer is kept.

    A bench whose instruments are all on loopback is simulated and needs no answer.

    Raises:
        PreflightRefused: nobody is present to ask.
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
    instruments = sorted({parse_address(entry.address).canonical for _, entry in bench.instruments.items()})
    digest = hashlib.sha256("\n".join([CAUTIONS, *instruments]).encode()).hexdigest()
    return state_folder() / "acknowledged" / f"{digest[:32]}.json"


def _keep(file: Path, bench: Bench) -> None:
    words = {"bench": bench.title, "at": datetime.now(UTC).isoformat(timespec="seconds"), "cautions": CAUTIONS}
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps(words, indent=2) + "\n", encoding="utf-8")
    except OSError as error:
        raise UsageError(f"the acknowledgement cannot be kept in {file.parent}: {error.strerror or error}") from error


def state_folder() -> Path:
    """Where this user's programs keep data that is neither a setting nor a document."""
    if sys.platform == "win32":
        root = os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local"
    elif sys.platform == "darwin":
        root = Path.home() / "Library" / "Application Support"
    else:  # XDG Base Directory Specification 0.8: XDG_STATE_HOME, or ~/.local/state
        root = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(root) / "benchctl"
