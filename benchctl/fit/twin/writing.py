"""What a fit tells, written into the amplifier file as its part `fitted:`, below all that stands there."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator
from pathlib import Path

import yaml

from benchctl.archive.files import write_whole
from benchctl.archive.journal.events import INPUTS_KEPT, RUN_STARTED
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.model.model_base import Source
from benchctl.documents.reader import load_amplifier, read, read_source
from benchctl.errors import UsageError, quote
from benchctl.fit.examination import Examination
from benchctl.fit.told import Quantity
from benchctl.quantity import render

WRITTEN = {
    "rail_stiffness": "mohm",
    "reservoir": "mF",
    "headroom": "V",
    "input_ratio": "",
    "rail": "V",
    "saturation": "V",
    "converter_efficiency": "%",
    "output_resistance": "mohm",
    "conduction_resistance": "mohm",
    "knee": "%",
    "idle_current": "A",
}
"""The quantities that the file has, and the unit that they are written in."""

_FACTORS = {"mohm": 1e3, "mF": 1e3, "%": 1e2}


def write_twin(found: Examination, path: Path) -> tuple[str, ...]:
    """Add what the fit tells to an amplifier file; the lines that were added.

    Comments and order of the file stay as they are.

    Raises:
        UsageError: the file is of another amplifier, has a `fitted:` already, or the fit tells nothing.
        DocumentError: it is no sound amplifier file.
    """
    amplifier = load_amplifier(path)
    _refuse(found, amplifier, path)
    added = tuple(_lines(found))
    text = read_source(path).text.rstrip("\n")
    whole = "\n".join((text, "", *added, ""))
    read(Source(str(path), path, whole), "amplifier")
    write_whole(path, whole.encode("utf-8"))
    return added


def _refuse(found: Examination, amplifier: Amplifier, path: Path) -> None:
    of = found.run.amplifier
    if (amplifier.title, amplifier.serial) != (of.title, of.serial):
        raise UsageError(
            f"{quote(path)} is of {_unit(amplifier)}, and the run was of {_unit(of)}",
            advice="Name the file of the unit that the run was of.",
        )
    if amplifier.fitted is not None:
        raise UsageError(
            f"{quote(path)} has a 'fitted:' already, from run {amplifier.fitted.run}",
            advice="Remove that part first, if this run is to take its place.",
        )
    if not any(each.is_told and each.name in WRITTEN for each in found.quantities):
        raise UsageError(f"the fit tells nothing that could be written: {found.no_fit or 'all is untold'}")


def _unit(amplifier: Amplifier) -> str:
    return amplifier.title if amplifier.serial is None else f"{amplifier.title}, serial {amplifier.serial}"


def _lines(found: Examination) -> Iterator[str]:
    yield "fitted:                               # what `benchctl fit` found in a run of this unit; uncertainties k = 2"
    yield f"  run: {found.run.name}"
    began = next(event["wall"] for event in found.run.events if event["event"] == RUN_STARTED)
    yield f"  date: {datetime.datetime.fromisoformat(began).date().isoformat()}"
    if found.run.is_simulated:
        yield "  simulated: yes                      # from a dry run, and no measurement"
    yield from _where_driven(found)
    told = [each for each in found.quantities if each.is_told and each.value > 0.0]
    for each in told:
        if each.name in WRITTEN and each.value > each.expanded_uncertainty:
            yield f"  {each.name}: {_values(each, WRITTEN[each.name])}"
    gains = [each for each in told if each.name == "gain"]
    if gains:
        yield "  gain:"
        yield from (f"    {each.channel}: {_values(each, '')}" for each in gains)


def _where_driven(found: Examination) -> Iterator[str]:
    """What expectations of other runs need: in which loads, at which voltages and tones it was seen, and its leads."""
    if bench := _bench_title(found):
        yield f"  bench: {json.dumps(bench, ensure_ascii=False)}"
    driven = [take for take in found.run.takes if take.shape != "rest"]
    yield f"  loads: {_list({load.nominal_ohm for take in driven for load in take.loads.values()}, 'ohm')}"
    yield f"  supply_voltages: {_list({take.supply_v for take in driven}, 'V')}"
    yield f"  tones: {_list({take.frequency_hz for take in driven}, 'Hz')}"
    if found.fitted is None:
        return
    yield f"  rails_move: {'from cycle to cycle' if found.fitted.kind.averaged else 'within a cycle'}"
    path_ohm, u_ohm = found.fitted.path_ohm
    if 2.0 * u_ohm < path_ohm:
        yield f"  supply_path: {{value: {path_ohm * 1e3:.6g} mohm, uncertainty: {2e3 * u_ohm:.3g} mohm}}"


def _bench_title(found: Examination) -> str:
    """As the run has kept its bench file; '' where it has not."""
    texts = [event["texts"].get("bench.yaml", "") for event in found.run.events if event["event"] == INPUTS_KEPT]
    content = yaml.safe_load(texts[0]) if texts else None
    return str(content.get("title", "")) if isinstance(content, dict) else ""


def _list(values: set[float], unit: str) -> str:
    return f"[{', '.join(render(value, unit) for value in sorted(values))}]"


def _values(quantity: Quantity, unit: str) -> str:
    """To three digits of the uncertainty, so that nothing is lost by rounding."""
    factor = _FACTORS.get(unit, 1.0)
    value, uncertainty = (f"{number * factor:.6g} {unit}".rstrip() for number in _both(quantity))
    return f"{{value: {value}, uncertainty: {uncertainty}}}"


def _both(quantity: Quantity) -> tuple[float, float]:
    return quantity.value, float(f"{quantity.expanded_uncertainty:.3g}")
