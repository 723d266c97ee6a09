"""A bench file joined with its calibration file: measured values take the place of the bench file's own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.resistors import resistors_for
from benchctl.documents.bench_file.signals import CurrentClamp
from benchctl.documents.calibration_file.calibration import CalibratedResistor, Calibration
from benchctl.documents.model.model_base import PathProblem
from benchctl.documents.text.joined import moved
from benchctl.documents.text.position import Position, position_of
from benchctl.documents.text.tree import Listing, Table
from benchctl.documents.text.words import listed

CALIBRATION = "calibration"
_Path = tuple[str | int, ...]


def strangers(calibration: Calibration, bench: Bench) -> Iterator[PathProblem]:
    """What the calibration file has and the bench has not, with paths in the calibration file."""
    for index, resistor in enumerate(calibration.resistors):
        if _place_of(resistor, bench) is None:
            yield PathProblem(("resistors", index), f"the bench file lacks {resistor.name}")
    wired = {name: wiring for name, wiring in bench.signals.wirings() if not isinstance(wiring.probe, CurrentClamp)}
    for signal in calibration.probes:
        if signal not in wired:
            there_are = f"it has those of {listed(list(wired))}"
            yield PathProblem(("probes", signal), f"the bench file has no probe of {signal}; {there_are}", is_key=True)
    if calibration.clamp is not None and bench.signals.supply_current is None:
        yield PathProblem(("clamp",), "the bench file has no clamp ('signals: supply_current')", is_key=True)
    if calibration.leads is not None:
        yield from _of_leads(bench)


def _of_leads(bench: Bench) -> Iterator[PathProblem]:
    supply = bench.instruments.supply
    if supply is None:
        yield PathProblem(("leads",), "the bench file has no supply", is_key=True)
    elif supply.main.remote_sense:
        message = "the supply of the bench file has sense leads, which measure at the amplifier's terminals"
        yield PathProblem(("leads",), message, is_key=True)


def _place_of(resistor: CalibratedResistor, bench: Bench) -> int | None:
    """Where in the bench file's list a resistor stands."""
    own = resistors_for(bench.load_resistors, resistor.nominal_ohm).get(resistor.channel)
    return None if own is None else list(bench.load_resistors).index(own)


def joined(own: Table, bench: Bench, tree: Table, calibration: Calibration) -> Table:
    """The bench file's tree with the values of the calibration file. They stand where the bench file names it.

    Args:
        own: the bench file's tree.
        bench: what it says by itself.
        tree: the calibration file's tree.
        calibration: what it says.
    """
    position = position_of(own[CALIBRATION])
    joined_tree: Any = own.without([CALIBRATION])
    for path, measured in _changes(bench, tree, calibration, str(own[CALIBRATION])):
        joined_tree = _changed(joined_tree, path, measured, position)
    assert isinstance(joined_tree, Table)
    return joined_tree


def _changes(
    bench: Bench, tree: Table, calibration: Calibration, file: str
) -> Iterator[tuple[_Path, Mapping[str, Any]]]:
    """Each mapping of the bench file that gets other values, by its path."""
    origin = {"file": file} | ({"due": tree["due"]} if "due" in tree else {})
    load: _Path = ("loads",) if bench.loads is not None else ("instruments", "load")
    for entry, resistor in zip(tree.get("resistors", ()), calibration.resistors, strict=True):
        place = _place_of(resistor, bench)
        assert place is not None
        yield (*load, "resistors", place), _measured(entry, origin, ("measured", "uncertainty", *_COEFFICIENT))
    for signal, entry in tree.get("probes", Table()).items():
        signals: _Path = ("outputs", signal.removeprefix("output ")) if signal != _TERMINALS else ("supply_voltage",)
        yield ("signals", *signals, "probe"), _measured(entry, origin, ("ratio", "accuracy"))
    if "clamp" in tree:
        yield ("signals", "supply_current", "probe"), _measured(tree["clamp"], origin, ("sensitivity", "accuracy"))
    if calibration.leads is not None:
        at_most = {"leads": f"{calibration.leads.at_most_ohm:.6g} ohm"}
        yield _LEADS, at_most | {"origin": _origin(tree["leads"], origin)}


_COEFFICIENT, _TERMINALS = ("temperature_coefficient", "temperature_coefficient_uncertainty"), "supply voltage"
_LEADS: _Path = ("instruments", "supply", "outputs", "main")


def _measured(entry: Table, origin: Mapping[str, Any], keys: tuple[str, ...]) -> Mapping[str, Any]:
    """What is written in the place of a mapping's own values; `before` is filled in where those are known."""
    return {key: entry[key] for key in keys if key in entry} | {"origin": _origin(entry, origin) | {"before": keys}}


def _origin(entry: Table, origin: Mapping[str, Any]) -> dict[str, Any]:
    return {**origin, **{key: entry[key] for key in ("date", "how", "current") if key in entry}}


def _changed(node: Any, path: _Path, measured: Mapping[str, Any], position: Position) -> Any:
    """The tree with other values in the mapping at the end of a path."""
    if not path:
        return _overwritten(node, measured, position)
    step, *rest = path
    if isinstance(node, Listing):
        items = (
            _changed(item, tuple(rest), measured, position) if at == step else item for at, item in enumerate(node)
        )
        return Listing(items, node.position)
    return Table(
        ((key, _changed(item, tuple(rest), measured, position) if key == step else item) for key, item in node.items()),
        node.position,
    )


def _overwritten(node: Table, measured: Mapping[str, Any], position: Position) -> Table:
    origin = dict(measured["origin"])
    if "before" in origin:
        origin["before"] = Table(((key, node[key]) for key in origin["before"] if key in node), position)
    new = {**measured, "origin": Table(origin.items(), position)}
    added = moved(Table(new.items(), position), position)
    return Table([*((key, item) for key, item in node.items() if key not in new), *added.items()], node.position)
