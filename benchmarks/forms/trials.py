"""One form on the workshop's bench, dry: what it came to, held against the simulated truth."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

from benchctl import library
from benchmarks.sequences.trials import Trial, trial


class Form(Protocol):
    """A form that an instrument speaks, and the driver for it."""

    @property
    def speaks(self) -> str:
        """The form's name."""

    @property
    def driver(self) -> str:
        """The driver's name."""

    def edits(self, vices: str = "") -> Mapping[str, str]:
        """What makes the workshop's bench one with this instrument."""


def bench_text(form: Form, vices: str = "") -> str:
    """The workshop's bench file with this instrument; a form may name another bench, and an amplifier."""
    name = getattr(form, "bench", "workshop")
    text = library.find("benches", name).read_text(encoding="utf-8")
    for old, new in form.edits(vices).items():
        if old not in text:
            raise ValueError(f"the bench file {name} has no {old!r}")
        text = text.replace(old, new)
    return text


def try_form(form: Form, folder: Path, *, sequence: str = "quick_check", vices: str = "") -> Trial:
    """Run a sequence dry on it."""
    bench = folder / f"{form.speaks}.yaml"
    bench.write_text(bench_text(form, vices), encoding="utf-8")
    return trial(sequence, getattr(form, "amplifier", "hx2150"), folder, bench=str(bench))
