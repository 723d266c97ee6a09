"""Which of the amplifier's inputs the generator drives: all of them, or one alone, by relays or by hand."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench, InputsByGenerator, InputsByHand, InputsByRelay
from benchctl.documents.sequence_file.step_base import DrivenInputs
from benchctl.documents.text.words import outputs_in_words
from benchctl.errors import InstrumentError
from benchctl.instruments.load import RelayBank
from benchctl.runner.acting.drive import RELAY_S, mute
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState


def feed(run: Run, driven: DrivenInputs | None = None) -> None:
    """Connect the generator to the inputs that a step names, or to those of the last `set`. Every other input is
    terminated.
    """
    _feed(run, run.driven if driven is None else channels_of(driven, run.files.amplifier))


def keep_fed(run: Run, driven: DrivenInputs) -> None:
    """The same, and for every later step that names no inputs."""
    run.driven = channels_of(driven, run.files.amplifier)
    _feed(run, run.driven)


def forget_plugs(run: Run) -> None:
    """After an interruption nobody knows where a person has left the plugs, so the next step that drives asks for
    them.
    """
    if isinstance(run.files.bench.inputs, InputsByHand):
        run.fed = ()


def channels_of(driven: DrivenInputs, amplifier: Amplifier) -> tuple[str, ...]:
    """The channels, in the amplifier's order."""
    if isinstance(driven, str):
        return tuple(amplifier.channels)
    return tuple(channel for channel in amplifier.channels if channel in driven)


def drives_alone_without_hands(bench: Bench) -> bool:
    """Whether each input can be driven alone, and nobody has to move a plug for it."""
    return isinstance(bench.inputs, InputsByRelay | InputsByGenerator)


def _feed(run: Run, channels: tuple[str, ...]) -> None:
    if channels == run.fed:
        return
    # What a hand has plugged is looked at anew.
    moves_plugs = isinstance(run.files.bench.inputs, InputsByHand)
    run.has_looked = run.has_looked and set(channels) <= set(run.fed) and not moves_plugs
    others = [name for name in run.files.amplifier.channels if name not in channels]
    if others:
        alone = f"Put the generator into input {' and '.join(channels)} alone and a shorting plug into"
        _connect(run, channels, f"{alone} {' and '.join(others)}")
    else:
        _connect(run, channels, "Put the generator into every input again")


def _connect(run: Run, channels: tuple[str, ...], request: str) -> None:
    """Switch the inputs, or ask a person to do it, while there is no signal.

    Raises:
        InstrumentError: the bench has no way to do it, which preflight would have seen.
    """
    mute(run)
    match run.files.bench.inputs:
        case InputsByRelay(relays=relays) if isinstance(run.bench.load, RelayBank):
            run.bench.load.drive_inputs([channel for channel in channels if channel in relays])
            run.wait(RELAY_S)
        case InputsByGenerator():
            run.bench.generator.drive_inputs(channels)
        case InputsByHand():
            run.observer.hands_needed(request)
            run.hands.plug(list(channels))
        case _:
            raise InstrumentError("the bench file does not say how an input is driven alone")
    run.fed = channels


def worst_case_feed(state: ExpectedState, driven: DrivenInputs | None) -> None:
    """Note which channels a step will drive, and the hazards of that."""
    wanted = state.asked_driven if driven is None else driven
    amplifier = state.amplifier
    unknown = [] if isinstance(wanted, str) else [name for name in wanted if name not in amplifier.channels]
    if unknown:
        there = " and ".join(amplifier.channels)
        state.hazard(f"the amplifier has no channel {' or '.join(unknown)} to be driven; it has {there}")
    channels = channels_of(wanted, amplifier)
    if len(channels) < len(amplifier.channels) and not unknown:
        state.hazards += hazards_of_driving_alone(state)
    if channels and not set(channels) & set(state.seen):
        driven, seen = outputs_in_words(channels), outputs_in_words(state.seen) if state.seen else "nothing"
        state.hazard(f"{driven} alone would be driven, and the probe is on {seen}; drive what is seen")
    moves_plugs = isinstance(state.bench.inputs, InputsByHand) and channels != tuple(state.driven)
    state.has_looked = state.has_looked and set(channels) <= set(state.driven) and not moves_plugs
    state.driven = channels or tuple(amplifier.channels)


def hazards_of_driving_alone(state: ExpectedState) -> Iterator[str]:
    """The hazards of leaving inputs undriven."""
    channels, inputs = state.amplifier.channels, state.bench.inputs
    match inputs:
        case None:
            yield (
                "the generator feeds all inputs together; 'inputs' in the bench file says how one is driven alone, "
                "by relays or by hand"
            )
        case InputsByHand() if state.unattended:
            yield "plugs are moved by hand to drive one input alone, and nobody is present in an unattended run"
        case InputsByRelay(relays=relays):
            missing = [channel for channel in channels if channel not in relays]
            if missing:
                yield f"no relay feeds input {' and '.join(missing)}, so it cannot be left undriven"
        case InputsByGenerator(outputs=outputs):
            missing = [channel for channel in channels if channel not in outputs]
            if missing:
                yield f"no output of the generator feeds input {' and '.join(missing)}; give it one under 'inputs'"
