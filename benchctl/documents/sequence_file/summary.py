"""What a sequence says, in a few lines. References are shown as they are written: `check` knows no amplifier."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from benchctl.documents.sequence_file.references import Parameter, referred_name
from benchctl.documents.sequence_file.sequence import Sequence, in_order
from benchctl.documents.sequence_file.steps import Repeat, Step, Sweep, When
from benchctl.documents.text.tree import Listing, Table, Text, parse_tree

Row = tuple[str, str]
_RATED_LOADS = "amplifier.rated_loads"


def sequence_rows(sequence: Sequence) -> Iterator[Row]:
    """What it finds out, what may be set, what it does, needs and watches."""
    tree, _ = parse_tree(sequence.source.text, sequence.source.name)
    assert isinstance(tree, Table)
    if sequence.purpose:
        yield "purpose", " ".join(sequence.purpose.split())
    written = tree.get("parameters", Table())
    for name, parameter in sequence.parameters.items():
        yield "parameter", _parameter(name, parameter, written[name])
    if sequence.parameters:
        name, parameter = next(iter(sequence.parameters.items()))
        yield "to set one", f"--set {name}={parameter.default.replace(' ', '')}"
    yield "steps", _outline(tree["steps"])
    yield "in all", _count(sequence)
    yield "needs", _needs(sequence)
    for signal, bounds in tree.get("limits", Table()).items():
        yield "limit", f"{signal} {_bounds(bounds)}"


def _parameter(name: str, parameter: Parameter, written: Table) -> str:
    """Name, default as it is written, range, purpose."""
    ends = [parameter.lowest, parameter.highest]
    if all(ends):
        reach = f" ({ends[0]} to {ends[1]})"
    else:
        told = (f"{word} {end}" for word, end in zip(("from", "up to"), ends, strict=True) if end)
        reach = f" ({', '.join(told) or f'in {parameter.unit}'})"
    purpose = f": {' '.join(parameter.purpose.split())}" if parameter.purpose else ""
    return f"{name} = {_as_written(written['default'])}{reach}{purpose}"


def _as_written(node: Any) -> str:
    if isinstance(node, Table):
        return referred_name(node) or ", ".join(f"{key} {_as_written(value)}" for key, value in node.items())
    if isinstance(node, Listing):
        return ", ".join(map(_as_written, node))
    return str(node)


def _bounds(bounds: Table) -> str:
    return ", ".join(f"{key} {_as_written(value)}" for key, value in bounds.items())


def _outline(steps: Listing) -> str:
    """The kinds of step in order, those that hold others with these in brackets."""
    return ", ".join(map(_step, steps))


def _step(step: Any) -> str:
    if isinstance(step, Text):
        return str(step)
    kind, settings = next(iter(step.items()))
    if "steps" not in step:
        return str(kind)
    asked = f"{settings.get('times', '')} times" if kind == "repeat" else f"{kind} {_as_written_pairs(settings)}"
    return f"{asked} ({_outline(step['steps'])})"


def _as_written_pairs(settings: Table) -> str:
    return ", ".join(f"{key} {_as_written(value)}" for key, value in settings.items())


def _count(sequence: Sequence) -> str:
    """How many steps are performed at most, each point of a sweep with the setting that leads there."""
    count = sum(map(_performed, sequence.steps))
    steps = f"{count} step{'s' if count > 1 else ''} when sweeps and repeats are written out"
    of_amplifier = _RATED_LOADS in sequence.source.text
    return f"{steps}, on an amplifier with one rated load" if of_amplifier else steps


def _performed(step: Step) -> int:
    match step:
        case Sweep():
            return len(list(step.points())) * (1 + sum(map(_performed, step.steps)))
        case Repeat():
            return step.times * sum(map(_performed, step.steps))
        case When():
            return sum(map(_performed, step.steps))
        case _:
            return 1


def _needs(sequence: Sequence) -> str:
    """Roles, and the sensors that limits and steps read."""
    steps = [step for step, _ in in_order(sequence.steps)]
    roles = {role for step in steps for role in step.roles}
    sensors = {signal for signal, _ in sequence.limits.items() if not signal.startswith(("supply_", "output_"))}
    if "thermometer" in roles:
        sensors.add("heatsink")
    order = ("generator", "oscilloscope", "load", "supply", "thermometer", "multimeter")
    told = [role for role in order if role in roles | ({"thermometer"} if sensors else set())]
    words = [", ".join(told)] if told else []
    if "oscilloscope" in roles:
        words.append("every output on an oscilloscope channel")
    if sensors:
        words.append(f"a sensor on the {' and the '.join(sorted(sensors))}")
    if any(step.kind in ("prompt", "set_gain") for step in steps):
        words.append("hands")
    return "; ".join(words) or "nothing"
