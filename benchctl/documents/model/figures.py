"""Every figure by its name: its unit, what it is, and a criterion that might be asked of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class FigureName(NamedTuple):
    """What there is to say of a figure; `unit` is empty for a plain number. `words`: what people call it, where that is
    not its name without underscores."""

    unit: str
    meaning: str
    example: str
    words: str = ""


def figure_in_words(name: str) -> str:
    """What people call a figure: "continuous power", "THD+N". A name that is not known is said without underscores."""
    known = FIGURES.get(name)
    return known.words if known is not None and known.words else name.replace("_", " ")


FIGURES: Mapping[str, FigureName] = {
    "idle_current": FigureName("A", "supply current without a signal", "below 2.5 A"),
    "idle_power": FigureName("W", "power from the supply without a signal", "below 35 W"),
    "dc_offset": FigureName("V", "dc voltage at an output", "within 50 mV", "dc at the output"),
    "burst_power_clean": FigureName(
        "W",
        "power of the weakest whole cycle, at the drive where the worst cycle of the burst just reaches the bound",
        "above 140 W",
        "clean burst power",
    ),
    "burst_power_first": FigureName(
        "W",
        "power of the first cycle at full drive, where this cycle just reaches the distortion bound",
        "above 150 W",
        "burst power, first cycle",
    ),
    "burst_power_highest": FigureName(
        "W", "power of the strongest cycle at full drive", "above 150 W", "burst power, strongest cycle"
    ),
    "burst_power_lowest": FigureName(
        "W", "power of the weakest cycle at full drive", "above 120 W", "burst power, weakest cycle"
    ),
    "burst_power_last": FigureName(
        "W", "power of the last cycle at full drive", "above 120 W", "burst power, last cycle"
    ),
    "droop": FigureName("1", "how far the peaks sink during a full-drive burst", "below 15 %"),
    "droop_time_constant": FigureName(
        "s", "time constant with which they sink", "above 5 ms", "time constant of the droop"
    ),
    "continuous_power": FigureName(
        "W", "power of a steady tone, at the clean level unless a level was given", "above 140 W"
    ),
    "stated_power": FigureName(
        "W",
        "clean power of a steady tone at exactly one voltage at the amplifier's terminals, by a straight line through "
        "the powers at two supply voltages",
        "above 140 W",
        "power at the stated voltage",
    ),
    "power_per_volt": FigureName(
        "W/V",
        "how much more clean power a volt more at the amplifier's terminals gives",
        "above 10 W/V",
        "power for a volt more",
    ),
    "half_power": FigureName(
        "W",
        "power of each half of a bridged pair, if both halves give the same voltage",
        "above 200 W",
        "power of each half",
    ),
    "half_load": FigureName(
        "ohm",
        "load that each half of a bridged pair sees: half of the load across it",
        "above 1.9 ohm",
        "load of each half",
    ),
    "output_rms": FigureName("V", "RMS voltage at an output", "above 20 V", "output voltage"),
    "output_peak": FigureName(
        "V", "highest voltage at an output, of either sign", "below 60 V", "output voltage, peak"
    ),
    "thd_n": FigureName("1", "distortion with noise, to 20 kHz or five times the tone", "below 1 %", "THD+N"),
    "thd": FigureName("1", "distortion of harmonics alone, to 20 kHz or five times the tone", "below 0.5 %", "THD"),
    "crest_factor": FigureName(
        "1", "peak over RMS at an output, of class D within the band that is heard", "below 3.1 dB"
    ),
    "carrier_residue": FigureName(
        "V",
        "class D: RMS voltage above the band, 24 kHz and up, while a tone plays: what is left of the carrier",
        "below 500 mV",
        "residue of the carrier",
    ),
    "carrier_frequency": FigureName("Hz", "class D: frequency of the strongest part of that residue", "above 200 kHz"),
    "supply_current": FigureName("A", "mean supply current over whole repetitions", "below 60 A"),
    "supply_current_peak": FigureName("A", "highest supply current", "below 90 A", "supply current, peak"),
    "supply_voltage": FigureName(
        "V",
        "mean voltage at the amplifier's supply terminals, where a probe, a multimeter or sense leads measure it; "
        "where only the resistance of the leads is known, at least what they leave of the supply's reading",
        "above 13.8 V",
        "supply voltage at the terminals",
    ),
    "supply_output_voltage": FigureName(
        "V",
        "mean voltage at the supply's own output, as the supply reads it",
        "above 14.2 V",
        "voltage at the supply's output",
    ),
    "supply_voltage_lowest": FigureName(
        "V",
        "lowest voltage at the amplifier's supply terminals",
        "above 12 V",
        "lowest supply voltage at the terminals",
    ),
    "supply_voltage_sag": FigureName(
        "V", "how far that voltage sinks from its highest value to its lowest", "below 1 V", "sag of the supply voltage"
    ),
    "static_sag": FigureName(
        "V",
        "how much lower the mean voltage at the amplifier's terminals is under the drive than just before, without a "
        "signal: what supply and leads lose to the current",
        "below 0.5 V",
        "sag under the drive",
    ),
    "efficiency": FigureName(
        "1",
        "energy out over energy in at the amplifier's terminals, over whole repetitions; recharging the reservoir is "
        "included. Where nothing measures the voltage at the terminals, what the supply leads lose is included too",
        "above 50 %",
    ),
    "marginal_efficiency": FigureName(
        "1",
        "energy that a drive adds at the loads over what it adds at the supply: of a steady tone above idle, of bursts "
        "above the level between them, recharge included. The `efficiency` of short bursts tells most of their pauses",
        "above 60 %",
    ),
    "watts_per_ampere": FigureName(
        "W/A", "output power of all channels over the mean supply current", "above 8 W/A", "watts for an ampere"
    ),
    "turn_on_thump": FigureName(
        "V",
        "how far an output leaves its usual voltage while the amplifier wakes, within 20 kHz",
        "below 1 V",
        "turn-on thump",
    ),
    "turn_on_thump_energy": FigureName(
        "J", "energy that this puts into the load", "below 10 mJ", "energy of the turn-on thump"
    ),
    "turn_off_thump": FigureName(
        "V",
        "how far an output leaves its usual voltage while the amplifier falls asleep, within 20 kHz",
        "below 1 V",
        "turn-off thump",
    ),
    "turn_off_thump_energy": FigureName(
        "J", "energy that this puts into the load", "below 10 mJ", "energy of the turn-off thump"
    ),
    "inrush_current": FigureName("A", "highest supply current while the amplifier wakes", "below 60 A"),
    "lowest_playing_voltage": FigureName(
        "V",
        "supply voltage below which the amplifier falls silent while it is lowered: at its terminals, or at the supply "
        "where nothing measures there",
        "below 10.5 V",
        "lowest supply voltage while playing",
    ),
    "lowest_waking_voltage": FigureName(
        "V",
        "supply voltage above which it then plays again while that is raised",
        "below 11.5 V",
        "supply voltage that wakes it again",
    ),
    "heatsink_temperature": FigureName(
        "degC",
        "temperature of the heatsink when the figures were taken",
        "below 70 degC",
        "temperature of the heatsink",
    ),
    "ambient_temperature": FigureName(
        "degC",
        "temperature of the air around the bench; of a long drive the lowest",
        "above 25 degC",
        "temperature of the air",
    ),
    "gain": FigureName("1", "output over input at one frequency", "above 29 dB"),
    "phase": FigureName("rad", "phase of the output against the input at one frequency", "within 10 deg"),
    "channel_balance": FigureName(
        "1",
        "gain of a channel over the gain of the first channel, at one frequency",
        "within 1 dB",
        "balance to the first channel",
    ),
    "gain_linearity": FigureName(
        "1", "gain at a level over the gain at the reference level, at one frequency", "within 0.5 dB"
    ),
    "gain_error": FigureName("1", "gain over the gain that was wanted, minus 1", "within 2 %"),
    "input_sensitivity": FigureName("V", "input level, RMS, that drives the output to rated power", "below 1 V"),
    "lower_band_edge": FigureName("Hz", "frequency below the reference at which the gain is 3 dB down", "below 20 Hz"),
    "upper_band_edge": FigureName("Hz", "frequency above the reference at which the gain is 3 dB down", "above 20 kHz"),
    "crosstalk": FigureName(
        "1", "voltage at an undriven output over that at the driven one, at one frequency", "below -60 dB"
    ),
    "low_pass_corner": FigureName(
        "Hz", "frequency at which a low-pass filter takes 3 dB", "below 90 Hz", "low-pass corner"
    ),
    "low_pass_slope": FigureName(
        "dB/octave",
        "slope of a low-pass filter, an octave and more beyond its corner",
        "above 22 dB/octave",
        "low-pass slope",
    ),
    "low_pass_order": FigureName(
        "", "order of a low-pass filter, given only where its slope is clear", "above 3", "low-pass order"
    ),
    "high_pass_corner": FigureName(
        "Hz", "frequency at which a high-pass filter takes 3 dB", "above 15 Hz", "high-pass corner"
    ),
    "high_pass_slope": FigureName(
        "dB/octave",
        "slope of a high-pass filter, an octave and more beyond its corner",
        "above 10 dB/octave",
        "high-pass slope",
    ),
    "high_pass_order": FigureName(
        "", "order of a high-pass filter, given only where its slope is clear", "above 1", "high-pass order"
    ),
    "output_impedance": FigureName("ohm", "impedance at the output's terminals", "below 100 mohm"),
    "damping_factor": FigureName("", "the load's resistance over the output impedance", "above 100"),
    "polarity": FigureName(
        "", "1 where an output follows the generator, -1 where it is inverted, from its phase near 1 kHz", "above 0"
    ),
    "channel_phase": FigureName(
        "rad",
        "phase of an output against the first one, at one frequency",
        "within 5 deg",
        "phase to the first channel",
    ),
    "rise_time": FigureName(
        "s",
        "time from 10 % to 90 % of the slower edge of a square wave, at the small level; the instruments' own rise "
        "time is taken off in squares",
        "below 10 us",
    ),
    "slew_rate": FigureName(
        "V/s",
        "0.8 of the step of a square wave over the time from 10 % to 90 %; a value only where that time is longer than "
        "at the small level, else at least what was seen",
        "above 5 V/us",
    ),
    "overshoot": FigureName("1", "peak of an edge above the settled top, over the step from top to top", "below 10 %"),
    "tilt": FigureName(
        "1", "what the top of a square wave sinks by, over the mean of its first and its last value", "below 10 %"
    ),
    "overshoot_with_capacitor": FigureName(
        "1",
        "the same overshoot with a capacitor beside the load, at the small level",
        "below 50 %",
        "overshoot with a capacitor",
    ),
    "ringing_frequency": FigureName("Hz", "frequency at which the output rings then", "above 50 kHz"),
    "modulation_distortion_2": FigureName(
        "1",
        "of a low tone and a high one of a quarter of it (SMPTE): both sidebands of second order added arithmetically, "
        "over the output at the high tone (IEC 60268-3, 14.12.7)",
        "below 1 %",
        "modulation distortion, second order",
    ),
    "modulation_distortion_3": FigureName(
        "1", "the same of both sidebands of third order", "below 1 %", "modulation distortion, third order"
    ),
    "modulation_distortion_rss": FigureName(
        "1",
        "root-sum-square of these four sidebands over the output at the high tone: a smaller number than the "
        "arithmetic sums",
        "below 0.5 %",
        "modulation distortion, root-sum-square",
    ),
    "difference_distortion_2": FigureName(
        "1",
        "of two equal tones (CCIF): the product at their difference, over the sum of both tones (IEC 60268-3, 14.12.8)",
        "below 0.5 %",
        "difference distortion, second order",
    ),
    "difference_distortion_3": FigureName(
        "1",
        "the same of the two products of third order beside the tones, added arithmetically",
        "below 0.5 %",
        "difference distortion, third order",
    ),
    "input_impedance": FigureName(
        "ohm", "impedance of an input, from a resistor in series with it, at one frequency", "above 8 kohm"
    ),
    "output_noise": FigureName("V", "noise of the undriven amplifier, 20 Hz to 20 kHz", "below 1 mV"),
    "output_noise_a_weighted": FigureName(
        "V", "noise of the undriven amplifier, A-weighted", "below 500 uV", "output noise, A-weighted"
    ),
    "noise_line": FigureName(
        "V",
        "one of the strongest tones in the noise of the undriven amplifier, RMS, at its frequency",
        "below 500 uV",
        "tone in the noise",
    ),
    "signal_to_noise_1w": FigureName(
        "1",
        "voltage of 1 W over the A-weighted noise; above 0 dB, the noise lies below 1 W",
        "above 75 dB",
        "signal to noise at 1 W",
    ),
    "signal_to_noise_rated": FigureName(
        "1",
        "voltage of the rated power over the A-weighted noise; above 0 dB, the noise lies below that power",
        "above 95 dB",
        "signal to noise at rated power",
    ),
    "ramp_voltage": FigureName("V", "voltage that a first power-up reached", "above 14 V", "voltage reached"),
    "ramp_current": FigureName("A", "highest current on the way there", "below 2 A", "highest current on the way"),
    "idle_current_rise": FigureName(
        "A", "largest rise of the current while a voltage was held", "below 100 mA", "rise of the current while held"
    ),
    "soak_time": FigureName("s", "how long a long drive lasted", "above 59 min", "length of the drive"),
    "average_power": FigureName("W", "mean power of a long drive over whole repetitions", "above 40 W", "mean power"),
    "held_power": FigureName(
        "W", "lowest power of a long tone, in any of the records taken all through it", "above 150 W", "power held"
    ),
    "held_thd_n": FigureName(
        "1", "highest distortion with noise of a long tone, in any of those records", "below 1 %", "THD+N held"
    ),
    "held_supply_voltage": FigureName(
        "V",
        "lowest mean voltage at the amplifier's supply terminals, in any of those records",
        "above 14 V",
        "supply voltage held",
    ),
    "power_drift": FigureName(
        "1", "change of that power from the beginning to the end, relative", "within 5 %", "drift of the power"
    ),
    "supply_current_drift": FigureName(
        "A", "change of the supply current from the beginning to the end", "within 1 A", "drift of the supply current"
    ),
    "fuse_load": FigureName(
        "1", "RMS supply current over the rating of the amplifier's fuse", "below 80 %", "load of the fuse"
    ),
    "final_heatsink_temperature": FigureName(
        "degC",
        "temperature at which the heatsink would end, predicted from its heating curve",
        "below 80 degC",
        "final temperature of the heatsink",
    ),
    "heatsink_time_constant": FigureName(
        "s", "time constant of that curve", "below 30 min", "time constant of the heatsink"
    ),
    "heatsink_time_constant_fast": FigureName(
        "s", "fast time constant of that curve, if it has two", "below 5 min", "fast time constant of the heatsink"
    ),
    "fold_back_time": FigureName(
        "s", "time after which the amplifier turned itself down", "above 10 min", "time until it turned itself down"
    ),
    "fold_back_gain": FigureName(
        "1", "gain that was left, over the gain before", "above -3 dB", "gain left after that"
    ),
    "fold_back_power": FigureName("W", "power that was left", "above 50 W", "power left after that"),
    "fold_back_temperature": FigureName(
        "degC", "heatsink temperature at that moment", "above 75 degC", "heatsink when it turned itself down"
    ),
    "protection_level": FigureName(
        "V", "drive level at which the amplifier fell silent by itself", "above 1 V", "level at which it fell silent"
    ),
    "protection_time": FigureName("s", "time after which it fell silent", "above 20 min", "time until it fell silent"),
    "protection_power": FigureName("W", "power just before", "above 100 W", "power just before it fell silent"),
    "protection_output": FigureName(
        "V", "voltage that was left at an output", "below 100 mV", "voltage left at the output"
    ),
    "protection_temperature": FigureName(
        "degC", "heatsink temperature at that moment", "above 80 degC", "heatsink when it fell silent"
    ),
    "protection_supply_voltage": FigureName(
        "V", "voltage that the supply read at that moment", "above 11 V", "supply voltage when it fell silent"
    ),
    "protection_supply_current": FigureName(
        "A", "supply current at that moment", "below 80 A", "supply current when it fell silent"
    ),
    "dc_voltage": FigureName("V", "dc voltage at a point that the bench file names", "below 30 mV", "dc voltage"),
    "ac_voltage": FigureName("V", "ac voltage, RMS, at a point that the bench file names", "above 220 V", "ac voltage"),
    "resistance": FigureName("ohm", "resistance at a point that the bench file names", "below 2 ohm"),
    "temperature": FigureName("degC", "temperature at a point that the bench file names", "below 60 degC"),
}
