"""How the figures of a run were measured and computed, after which standards: only what this run used."""

from __future__ import annotations

from collections.abc import Mapping

from benchctl.report.reading.run_record import RunRecord

# By analysis. The functions themselves are in benchctl/measure, and say more.
_METHODS: Mapping[str, tuple[str, ...]] = {
    "idle": (
        "Idle: the mean of repeated readings of the supply, undriven; dc at an output is the mean of a whole record.",
    ),
    "burst": (
        "Power: true RMS over whole cycles, squared, by the load's measured resistance at its temperature.",
        "A burst is a table, a row a cycle. Its drive is searched for each length, twice: clean, where the worst whole "
        "cycle reaches the distortion bound (burst_power_clean is the lowest); full, where the first one reaches it.",
        "Efficiency: energy out over energy in across whole repetitions, recharge of the reservoir included. Marginal "
        "efficiency: the same above what the end of the pause between bursts draws and gives.",
    ),
    "continuous": (
        "Power: true RMS over whole cycles, squared, by the load's measured resistance at its temperature; where the "
        "current into the load was captured, the mean of voltage times current.",
        "Supply current: of the supply's reading and the current clamp, the surer one gives the mean; its peak is that "
        "and what the record of the clamp rises above its own mean.",
        "Sine parameters: least-squares fits of three or four parameters (IEEE Std 1057).",
        "THD+N: what is left of the record without the fitted fundamental, from 20 Hz to 20 kHz as AES17 has it, over "
        "all of the signal in that band; for tones above 4 kHz to five times the tone. THD: harmonics alone over the "
        "fundamental. Nearer than three times to the record's own floor, either is a bound, not a value.",
    ),
    "damping": (
        "Output impedance: from the voltage into two loads at one unchanged drive, the lighter load before and after "
        "the heavier one, so that drift shows.",
    ),
    "noise": (
        "Noise: RMS from 20 Hz to 20 kHz with nothing at the input; A-weighted after IEC 61672-1.",
    ),
    "response": (
        "Response: a stepped sine at the preferred frequencies of ISO 266, 10 dB below rated power unless the sequence "
        "says otherwise; each gain and phase from a least-squares fit (IEEE Std 1057). Band edge: 3 dB down.",
    ),
    "filter": ("Filter: corner, slope and order from a stepped sine that reaches far beyond the corner.",),
    "crosstalk": ("Crosstalk: one channel driven, the others' inputs terminated, by a stepped sine.",),
    "gain": ("Gain: from a least-squares fit to one tone (IEEE Std 1057) and the generator's level.",),
    "soak": (
        "Soak: mean power over whole cycles or repetitions; the final temperature is the mean over all heating curves "
        "of one or two stages that the readings allow. What a tone held is the worst of records taken all through it.",
    ),
    "stated_power": (
        "Stated power: clean powers at two supply voltages, each with the voltage at the amplifier's terminals by the "
        "same instrument, and a straight line through both at the voltage that is stated.",
    ),
    "lowest_supply": (
        "Lowest supply voltage: lowered in steps under a small tone until the outputs are silent, then raised until "
        "they are not; each value lies anywhere between two voltages that were tried.",
    ),
    "turn_on": (
        "Thumps and inrush: one record each through falling asleep and waking, undriven, with the loads connected; a "
        "thump is the farthest that an output leaves its usual voltage within 20 kHz.",
    ),
    "warming": ("Final temperature: the mean over all heating curves of one or two stages that the readings allow.",),
    "ramp": ("First power-up: supply readings at each step of a rising voltage under a low current limit.",),
    "protection": (
        "Protection: the record before the amplifier fell silent gives the power, the one after it what is left.",
    ),
    "points": (
        "Points: the mean of repeated readings of the multimeter, undriven, with its accuracy in the range that the "
        "bench file gives for the point.",
    ),
    "fold_back": ("Fold-back: the gain under an unchanged drive, over what it was at first.",),
}  # fmt: skip

UNCERTAINTY = (
    "Uncertainty follows the GUM (JCGM 100:2008): from the limits of error that the bench file states for instruments "
    "and probes, each taken as equally likely anywhere within them, from the uncertainty of the load resistors, and "
    "from the scatter of repeated readings. Errors of one instrument count as one, wherever its values go; of what its "
    "channels may have in common the worse is taken. Behind ± stands the expanded uncertainty U for about 95 %: the "
    "coverage factor k is 2, less where limits of error dominate, beyond which nothing lies (down to 1.65, for the "
    "distribution of all errors together, JCGM 101), and more where few readings were taken (Student's t by effective "
    "degrees of freedom, JCGM 100, G.4). It is as good as the bench file: calibration is its owner's."
)


def methods_of(run_record: RunRecord) -> list[str]:
    """A sentence or two for each kind of measurement in the run, none twice."""
    used = dict.fromkeys(entry.analysis for entry in run_record.entries)
    return list(dict.fromkeys(sentence for analysis in used for sentence in _METHODS.get(analysis, ())))
