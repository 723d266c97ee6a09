"""Which of the amplifier's inputs the generator drives: all of them, or one alone, by relays or by hand."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.documents.bench_file.bench import InputsByHand, InputsByRelay
from benchctl.errors import InstrumentError
from benchctl.instruments.load import RelayBank
from benchctl.runner.acting.drive import RELAY_S, mute
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState


def drive_alone(run: Run, channel: str) -> None:
    """The generator into one input; every other input terminated."""
    others = [name for name in run.files.amplifier.channels if name != channel]
    request = f"Put the generator into input {channel} alone and a shorting plug into {' and '.join(others)}"
    _connect(run, [channel], request)


def drive_all(run: Run) -> None:
    """The generator into every input, as all other steps want it."""
    _connect(run, list(run.files.amplifier.channels), "Put the generator into every input again")


def _connect(run: Run, channels: list[str], request: str) -> None:
    """Switch or have it done, with no signal on the wires.

    Raises:
        InstrumentError: the bench has no way to do it, which preflight would have seen.
    """
    mute(run)
    match run.files.bench.inputs:
        case InputsByRelay(relays=relays) if isinstance(run.bench.load, RelayBank):
            run.bench.load.drive_inputs([channel for channel in channels if channel in relays])
            run.wait(RELAY_S)
        case InputsByHand():
            run.observer.hands_needed(request)
            run.hands.plug(channels)
        case _:
            raise InstrumentError("the bench file does not say how an input is driven alone")
    run.fed = tuple(channels)


def hazards_of_driving_alone(state: ExpectedState) -> Iterator[str]:
    """What speaks against driving one input at a time."""
    channels, inputs = state.amplifier.channels, state.bench.inputs
    if len(channels) < 2:
        yield "an amplifier of one channel has no other to leak into"
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
