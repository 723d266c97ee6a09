"""An amplifier and a bench as a sequence tests them: two outputs bridged into one, where it says so.

The pair is one floating output with the gain of both halves. Each half gives half of its voltage and sees half of its
load.
"""

from __future__ import annotations

from benchctl.documents.amplifier_file.amplifier import Amplifier, BridgedRating
from benchctl.documents.bench_file.bench import Bench, InputsByGenerator
from benchctl.documents.bench_file.signals import BridgedWiring
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.errors import UsageError

Pair = tuple[str, ...]


def amplifier_as_tested(amplifier: Amplifier, sequence: Sequence) -> Amplifier:
    """The amplifier file, or what it says of the pair that the sequence bridges.

    Raises:
        UsageError: the amplifier file does not rate that pair.
    """
    pair = sequence.bridged
    if pair is None:
        return amplifier
    rating = next((each for each in amplifier.bridged if each.pair == pair), None)
    if rating is None:
        raise UsageError(
            f"the sequence bridges outputs {' and '.join(pair)}, and {amplifier.source.name} rates no such pair",
            advice=f"Add to the amplifier file what its plate says of it: `bridged: [{{pair: [{', '.join(pair)}], "
            "minimum_load: 4 ohm, rated: [{load: 4 ohm, power: 500 W}]}]`.",
        )
    if amplifier.outputs == "floating":
        raise UsageError(
            f"the sequence bridges outputs {' and '.join(pair)}, and the outputs in {amplifier.source.name} are "
            "floating, each a bridge already",
            advice="Bridge no bridges; if they are single-ended, write `outputs: grounded`.",
        )
    return _bridged_amplifier(amplifier, rating)


def _bridged_amplifier(amplifier: Amplifier, rating: BridgedRating) -> Amplifier:
    simulation = amplifier.simulation
    return amplifier.model_copy(
        update={
            "title": f"{amplifier.title}, {' and '.join(rating.pair)} bridged",
            "channels": (rating.name,),
            "outputs": "floating",
            "minimum_load_ohm": rating.minimum_load_ohm,
            "gain_ratio": 2.0 * amplifier.gain_ratio,
            "rated": rating.rated,
            "bridged": (),
            "simulation": simulation and simulation.bridged(rating.pair, rating.name, len(amplifier.channels)),
        }
    )


def bench_as_tested(bench: Bench, sequence: Sequence) -> Bench:
    """The bench file, or the bench wired for the pair that the sequence bridges.

    Raises:
        UsageError: the bench file does not say where the probe sits then.
    """
    pair = sequence.bridged
    if pair is None:
        return bench
    wiring = next((each for each in bench.bridged if each.pair == pair), None)
    if wiring is None:
        raise UsageError(
            f"the sequence bridges outputs {' and '.join(pair)}, and {bench.source.name} does not say which probe is "
            "across them",
            advice=f"Add it to the bench file: `bridged: [{{pair: [{', '.join(pair)}], oscilloscope: 1, probe: "
            "{kind: differential, ...}}]`, and its loads with `channel: " + "+".join(pair) + "`.",
        )
    return _bridged_bench(bench, wiring)


def _bridged_bench(bench: Bench, wiring: BridgedWiring) -> Bench:
    """Inputs that relays feed stay fed, both of them; of two generator outputs the first half's feeds the pair."""
    inputs = bench.inputs
    if isinstance(inputs, InputsByGenerator):
        inputs = inputs.model_copy(update={"outputs": {wiring.name: inputs.outputs.get(wiring.pair[0], 1)}})
    outputs = {wiring.name: wiring.across}
    signals = bench.signals.model_copy(update={"outputs": outputs})
    return bench.model_copy(update={"signals": signals, "inputs": inputs, "probes": None, "bridged": ()})
