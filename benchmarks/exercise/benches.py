"""The bench for each shipped driver file: one with a simulated instrument that speaks its form."""

from __future__ import annotations

from collections.abc import Mapping

from benchctl import library
from benchmarks.forms import loads, multimeters, supplies, thermometers

_WORKSHOP = "workshop"
_USUAL = {
    "generator": "generator/scpi99",
    "oscilloscope": "oscilloscope/preamble_list",
    "load": "load/relay_bank",
    "supply": "supply/scpi99_watchdog",
    "thermometer": "thermometer/scpi99",
}
_WITH_FORMS = (*supplies.FORMS, *loads.FORMS, *thermometers.FORMS, *multimeters.FORMS)
_SPEAK_AS_USUAL = ("scpi99", "scpi99_outputs", "scpi99_watchdog", "relay_bank", "preamble_list", "preamble_fields")
_SEED = "  seed: 2150"


def bench_for(driver: str) -> str:
    """The text of a shipped bench file with an instrument of this driver's form in place of its own."""
    form = next((form for form in _WITH_FORMS if form.driver == driver), None)
    if form is not None:
        return _changed(getattr(form, "bench", _WORKSHOP), form.edits())
    role, _, name = driver.partition("/")
    edits = {f"driver: {_USUAL[role]}": f"driver: {driver}"}
    if name not in _SPEAK_AS_USUAL:
        edits[_SEED] = f"{_SEED}\n  instruments: {{{role}: {{speaks: {name}}}}}"
    return _changed(_WORKSHOP, edits)


def _changed(bench: str, edits: Mapping[str, str]) -> str:
    text = library.find("benches", bench).read_text(encoding="utf-8")
    for old, new in edits.items():
        if old not in text:
            raise ValueError(f"{old!r} is not in the bench {bench}")
        text = text.replace(old, new)
    return text
