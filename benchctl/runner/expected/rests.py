"""The form that bursts have with the generator of a bench: what is between them, and where in a cycle they begin."""

from __future__ import annotations

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.driver_file.generator import GeneratorDriver


def generator_driver(bench: Bench) -> GeneratorDriver | None:
    """The generator's driver file, if the bench has a generator."""
    driver = bench.drivers.get("generator")
    return driver if isinstance(driver, GeneratorDriver) else None


def rest_ratio(bench: Bench, asked: float) -> float:
    """The level between bursts over the level of the bursts, if a step asks for `asked`."""
    driver = generator_driver(bench)
    return 0.0 if driver is not None and driver.rests_are_silent else asked


def phase_is_free(bench: Bench) -> bool:
    """Whether bursts begin anywhere in a cycle."""
    driver = generator_driver(bench)
    return driver is not None and driver.phase == "free"
