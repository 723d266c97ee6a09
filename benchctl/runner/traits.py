"""What a `when` asks of the amplifier and bench files: whether it is so, and in words."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench, InputsByGenerator, InputsByHand, InputsByRelay
from benchctl.documents.bench_file.offered import gives_voltage, loaded_channels
from benchctl.documents.bench_file.sight import measures_terminals, sees_outputs_together
from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.documents.sequence_file.steps import AmplifierTraits, BenchTraits, When
from benchctl.quantity import render


def is_met(when: When, bench: Bench, amplifier: Amplifier) -> bool:
    """Whether the files are as it asks; figures are asked for during the run."""
    return not unmet(when, bench, amplifier)


def unmet(when: When, bench: Bench, amplifier: Amplifier) -> str:
    """Which of the two files is not as it asks: `amplifier`, `bench`, or '' where both are."""
    if when.amplifier is not None and not _is_such(amplifier, when.amplifier):
        return "amplifier"
    return "bench" if when.bench is not None and not _is_such_bench(bench, amplifier, when.bench) else ""


def asked_in_words(when: When) -> str:
    """What must hold: figures measured before, then what the files must say, which is so wherever this is asked."""
    told = [f"{name} {criterion}" for name, criterion in when.criteria.items()]
    for traits in (when.amplifier, when.bench):
        told += traits_in_words(traits)
    return ", ".join(told)


def traits_in_words(traits: AmplifierTraits | BenchTraits | None) -> Iterator[str]:
    """What one of the files must say, such as `load 2 ohm`."""
    given = traits.model_dump(exclude_none=True, by_alias=True) if traits is not None else {}
    for key, value in given.items():
        match key:
            case "load":
                yield f"load {render(value, 'ohm')}"
            case "supply":
                yield f"supply {render(value, 'V')}"
            case _:
                yield f"{key} {getattr(traits, key, value)}"


def _is_such(amplifier: Amplifier, traits: AmplifierTraits) -> bool:
    right_class = traits.amplifier_class in (None, amplifier.amplifier_class)
    right_count = traits.channels is None or traits.channels.holds(len(amplifier.channels))
    return right_class and right_count and traits.outputs in (None, amplifier.outputs)


def _is_such_bench(bench: Bench, amplifier: Amplifier, traits: BenchTraits) -> bool:
    if traits.generator is not None and not _plays(bench, traits.generator):
        return False
    if traits.terminals is not None and not measures_terminals(bench):
        return False
    if traits.load_ohm is not None and not set(amplifier.channels) <= loaded_channels(bench, traits.load_ohm):
        return False
    if traits.supply_v is not None and not gives_voltage(bench, traits.supply_v):
        return False
    if traits.inputs is None:
        return True
    # Inputs are driven alone to compare two outputs, which must be seen at once.
    return sees_outputs_together(bench, amplifier) and _drives_alone(bench, amplifier, traits.inputs)


def _plays(bench: Bench, what: str) -> bool:
    """Whether the generator's driver file has the words for it."""
    driver = bench.drivers.get("generator")
    if not isinstance(driver, GeneratorDriver):
        return False
    words = driver.commands
    return bool(words.square_on if what == "square waves" else words.two_tones_on)


def _drives_alone(bench: Bench, amplifier: Amplifier, by: str) -> bool:
    """Whether each of the amplifier's inputs can be driven alone in the way that is asked for."""
    match bench.inputs:
        case InputsByRelay(relays=relays):
            return by in ("relay", "either") and set(amplifier.channels) <= set(relays)
        case InputsByGenerator(outputs=outputs):
            return by in ("generator", "either") and set(amplifier.channels) <= set(outputs)
        case InputsByHand():
            return by in ("hand", "either")
        case _:
            return False
