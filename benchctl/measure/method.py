"""By which method figures are computed: a number, and what changed at each number.

A run folder keeps the number beside its figures. Where a definition or a computation changes, an older folder computes
differently from what is written in it, and nobody has altered it: `verify` says so, with the lines below that concern
the figures. Add a line to the newest number where a figure changes; a new number is begun with each release.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

# Of folders that were written before there was a number.
FIRST_METHOD = 1


@dataclass(frozen=True)
class Change:
    """What changed, in a sentence, and the figures that it concerns by name; all of them where none is named."""

    says: str
    figures: tuple[str, ...] = ()

    def concerns(self, names: Collection[str]) -> bool:
        return not self.figures or not set(self.figures).isdisjoint(names)


# Method -> what it computes differently from the one before.
CHANGES: Mapping[int, tuple[Change, ...]] = {
    2: (
        Change(
            "supply_voltage is the voltage at the amplifier's terminals alone; what the supply reads at its own output "
            "is supply_output_voltage",
            ("supply_voltage", "supply_output_voltage"),
        ),
        Change(
            "what a drive costs above the pause, and what is held through a long tone, are figures",
            ("marginal_efficiency", "watts_per_ampere", "held_power", "held_thd_n", "held_supply_voltage"),
        ),
        Change(
            "the oscilloscope's own noise is subtracted from that of the amplifier, or makes it a bound",
            ("output_noise", "output_noise_a_weighted", "signal_to_noise_1w", "signal_to_noise_rated"),
        ),
        Change(
            "a sag of no more than noise and steps is a bound; before it the voltage may fall from a corner",
            ("supply_voltage_sag", "supply_voltage_lowest", "supply_current_peak"),
        ),
        Change(
            "U of a distortion allows for all that a converter's steps do to the flat tops of a clipped tone",
            ("thd_n", "thd"),
        ),
        Change(
            "U follows Student's t where few readings were taken; what channels may have in common counts in totals"
        ),
        Change(
            "U allows for the steps in which a supply shows its readings",
            (
                "idle_current",
                "idle_power",
                "ramp_current",
                "idle_current_rise",
                "ramp_voltage",
                "supply_current",
                "supply_voltage",
                "supply_current_drift",
            ),
        ),
        Change(
            "U allows for the linearity of the oscilloscope in ratios of two readings of one channel",
            ("output_impedance", "damping_factor", "droop", "power_drift", "fold_back_gain"),
        ),
        Change(
            "the worst cycle of a burst is freed of what choosing it adds, and allows for rounding of flat tops; a "
            "zero is freed of rounding that noise averages",
            ("thd_n", "dc_offset"),
        ),
        Change(
            "time constants have an uncertainty, and are left out where it is too large to be of use",
            ("heatsink_time_constant", "heatsink_time_constant_fast"),
        ),
        Change(
            "the whole cycles of a record that a steady tone is measured in are up to a fiftieth fewer, or up to two "
            "samples longer or shorter, where their spectrum is then computed much faster",
            ("continuous_power", "output_rms", "crest_factor", "thd", "thd_n", "efficiency"),
        ),
        Change(
            "U of a fitted tone counts the noise beside it, where that is stronger than the mean of the whole record",
            ("crosstalk", "output_impedance", "damping_factor", "gain", "phase", "channel_balance"),
        ),
        Change(
            "U allows for a supply whose reading may be taken anywhere in a slow swing of its current",
            ("supply_current", "supply_current_peak", "efficiency", "watts_per_ampere"),
        ),
        Change(
            "the crest factor of bursts in a long drive is taken from the samples, not from means over 25 us",
            ("crest_factor",),
        ),
        Change("k follows the distribution of all errors: less than 2 where limits of error dominate, down to 1.65"),
        Change(
            "how coarse the oscilloscope's steps are beside its noise is told by how often each code comes; a value at "
            "the edge between two codes passed for noise, and U was too small",
            ("static_sag", "marginal_efficiency", "supply_voltage_sag", "supply_voltage_lowest", "supply_current_peak"),
        ),
        Change(
            "the noise beside a burst is no longer taken from the next burst as well, where that is in the record",
            ("thd_n", "output_peak", "droop", "droop_time_constant"),
        ),
        Change(
            "what hum leaves in a mean at rest is told over whole periods of the mains; it counted as scatter, and U "
            "was too large. What is left of a zero's error is put together from causes that are independent",
            ("dc_offset", "supply_voltage", "static_sag", "marginal_efficiency", "ramp_current"),
        ),
        Change(
            "U of a mean is no less than the noise of its samples leaves, where few parts of a record agree by chance",
            ("dc_offset", "supply_voltage", "supply_current", "static_sag", "marginal_efficiency"),
        ),
        Change(
            "a carrier that moves flat tops over several steps of the oscilloscope makes their rounding random; U "
            "counted all of it, and of bursts a fixed part whatever the shape of the tops. The noise beside a short "
            "burst is taken before it where too little follows",
            ("thd_n", "thd", "output_peak", "crest_factor", "droop", "droop_time_constant"),
        ),
        Change(
            "the highest of low-passed values is freed of no more noise than so few independent ones add, and what "
            "tops of one shape have in common does not count in a droop",
            ("output_peak", "crest_factor", "droop", "droop_time_constant"),
        ),
        Change(
            "a peak among samples of a quiet coarse converter is freed of all of the noise; what rounding leaves alike "
            "counted as missing",
            ("output_peak", "crest_factor", "droop"),
        ),
        Change(
            "the worst cycle of a burst is as uncertain as choosing it among like ones leaves it",
            ("thd_n",),
        ),
        Change(
            "a sag is a value only where it is more than twice its U; a steady voltage seemed to sag in one record of "
            "twenty",
            ("supply_voltage_sag",),
        ),
        Change(
            "the peak of a round top among few samples is freed of less noise, and U allows for more of it",
            ("output_peak", "crest_factor", "droop", "supply_current_peak", "supply_voltage_sag"),
        ),
        Change(
            "how round the top of a steady tone is, all of its cycles tell together, where they are alike; U allowed "
            "for any shape",
            ("output_peak", "crest_factor"),
        ),
        Change(
            "a time constant is told where its U is at most a tenth of it, not a fifth; near the limit those were told "
            "that noise had made too short",
            ("droop_time_constant",),
        ),
    ),
}
METHOD = max(CHANGES)


def changes_since(method: int, names: Collection[str]) -> Iterator[tuple[int, Change]]:
    """The changes after a method that concern any of these figures, each with its number, oldest first."""
    for number, changes in sorted(CHANGES.items()):
        if number > method:
            yield from ((number, change) for change in changes if change.concerns(names))


def methods_in_words(methods: Iterable[int]) -> str:
    """The numbers of methods, each once: "1", or "1 and 2" of a run that was resumed by a later version."""
    numbers = [str(number) for number in sorted(set(methods))]
    return " and ".join(filter(None, [", ".join(numbers[:-1]), *numbers[-1:]]))
