"""What no instrument on this bench watches of the amplifier. It is said before a run, in its journal and on its
page.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchctl.documents.bench_file.sight import probes_are_moved, seen_outputs, unseen_outputs, unwatched, views
from benchctl.documents.model.limits import HEATSINK, output_of
from benchctl.documents.text.words import listed, outputs_in_words
from benchctl.quantity import render
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.lacks import generator as generator_lacks
from benchctl.runner.checks.lacks import load as load_lacks
from benchctl.runner.checks.lacks import oscilloscope as oscilloscope_lacks
from benchctl.runner.checks.lacks import supply as supply_lacks
from benchctl.runner.expected.expected_step import ExpectedStep
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.plan import PlannedStep


def warnings_of(
    files: Files,
    plan: Sequence[PlannedStep],
    worst_cases: Sequence[WorstCase],
    expected_steps: Sequence[ExpectedStep],
    *,
    unattended: bool,
) -> Iterator[str]:
    """What a person must accept before a run."""
    for what in _unwatched_sensors(files):
        yield _of_sensor(files, what)
        if what == HEATSINK:
            yield _expected_heat(files, expected_steps, unattended=unattended)
            yield from _stated_times(plan, worst_cases)
    yield from _unseen(files)
    yield from supply_lacks.warnings_of(files)
    yield from generator_lacks.warnings_of(files)


def notes_of(files: Files) -> Iterator[str]:
    """What is good to know and needs no answer."""
    yield from _one_after_the_other(files)
    yield from supply_lacks.notes_of(files)
    yield from load_lacks.for_the_record(files)
    yield from generator_lacks.for_the_record(files)
    yield from oscilloscope_lacks.notes_of(files)


def blind_spots(files: Files) -> tuple[str, ...]:
    """All of it, for the record."""
    sensors = [_of_sensor(files, what) for what in _unwatched_sensors(files)]
    return (
        *sensors,
        *_unseen(files),
        *_one_after_the_other(files),
        *supply_lacks.for_the_record(files),
        *load_lacks.for_the_record(files),
        *generator_lacks.warnings_of(files),
        *generator_lacks.for_the_record(files),
        *oscilloscope_lacks.for_the_record(files),
    )


def hazards_of(files: Files) -> Iterator[str]:
    """What may not be unwatched at the same time."""
    has_limit = files.sequence.limits.supply_current is not None or files.bench.limits.supply_current is not None
    if HEATSINK in unwatched(files.bench, files.amplifier) and not has_limit:
        fuse = render(files.amplifier.supply.fuse_a, "A")
        yield (
            "nothing watches the heatsink, and neither sequence nor bench limits supply_current, so that nothing would "
            f"stop the run: limit the current, for example to the amplifier's fuse: 'limits: {{supply_current: "
            f"{{above: {fuse}}}}}'"
        )


def _unwatched_sensors(files: Files) -> list[str]:
    return [what for what in unwatched(files.bench, files.amplifier) if output_of(what) is None]


def _of_sensor(files: Files, what: str) -> str:
    if what != HEATSINK:
        return f"nothing watches the temperature '{what}'; limits on it do not hold"
    maximum = render(files.amplifier.heatsink.maximum_c, "degC")
    return (
        f"nothing watches the heatsink: neither its maximum of {maximum} nor any other limit on it stops the run, and "
        "what should wait for its temperature takes a stated time instead"
    )


def _expected_heat(files: Files, expected_steps: Sequence[ExpectedStep], *, unattended: bool) -> str:
    hottest_c = max((step.hottest_c for step in expected_steps), default=0.0)
    maximum = render(files.amplifier.heatsink.maximum_c, "degC")
    does = "so feel it, and have a hand at the supply's switch"
    if unattended:
        does = "and nobody is present to feel it; be present, at least the first time"
    return (
        f"by the amplifier file the heatsink is expected to reach {render(hottest_c, 'degC', digits=3)} of {maximum}, "
        f"from 25 degC; nothing shows whether it does, {does}"
    )


def _stated_times(plan: Sequence[PlannedStep], worst_cases: Sequence[WorstCase]) -> Iterator[str]:
    """Each kind of wait with its stated times, once."""
    times: dict[str, dict[str, None]] = {}
    for planned, worst in zip(plan, worst_cases, strict=True):
        if worst.stated_s is not None:
            times.setdefault(planned.step.kind, {})[render(worst.stated_s / 60.0, "min", digits=3)] = None
    if times:
        told = "; ".join(f"{kind} {listed(list(each))}" for kind, each in times.items())
        yield f"these times take the place of the heatsink's temperature: {told}; 'without_thermometer' sets another"


def _unseen(files: Files) -> Iterator[str]:
    channels = unseen_outputs(files.bench, files.amplifier)
    if channels:
        yield (
            f"no probe sees {outputs_in_words(channels)}: nothing of it is measured, it has no verdict, and dc there "
            "does not stop the run"
        )


def _one_after_the_other(files: Files) -> Iterator[str]:
    if probes_are_moved(files.bench, files.amplifier):
        together = max(len(view) for view in views(files.bench, files.amplifier))
        yield (
            f"a person moves the probe: {outputs_in_words(seen_outputs(files.bench, files.amplifier))} are seen "
            f"{'one' if together == 1 else together} at a time, and dc at those that are not seen does not stop the run"
        )
