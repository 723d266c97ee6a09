"""Every figure by its name: its unit, what it is, and a criterion that might be asked of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class FigureName(NamedTuple):
    """What there is to say of a figure; `unit` is empty for a plain number."""

    unit: str
    meaning: str
    example: str


FIGURES: Mapping[str, FigureName] = {
    "idle_current": FigureName("A", "drawn from the supply, undriven", "below 2.5 A"),
    "idle_power": FigureName("W", "drawn from the supply, undriven", "below 35 W"),
    "dc_offset": FigureName("V", "dc at an output", "within 50 mV"),
    "burst_power_clean": FigureName(
        "W", "of the lowest whole cycle at the highest drive that keeps every cycle of the burst clean", "above 140 W"
    ),
    "burst_power_first": FigureName(
        "W", "of the first cycle at full drive, where it just reaches the distortion bound", "above 150 W"
    ),
    "burst_power_highest": FigureName("W", "of the strongest cycle at full drive", "above 150 W"),
    "burst_power_lowest": FigureName("W", "of the weakest cycle at full drive", "above 120 W"),
    "burst_power_last": FigureName("W", "of the last cycle at full drive", "above 120 W"),
    "droop": FigureName("1", "how far the peaks of a full-drive burst sink", "below 15 %"),
    "droop_time_constant": FigureName("s", "how fast they sink", "above 5 ms"),
    "continuous_power": FigureName(
        "W", "at a steady tone: at the clean level, unless a level was given", "above 140 W"
    ),
    "output_rms": FigureName("V", "RMS at an output", "above 20 V"),
    "output_peak": FigureName("V", "the highest at an output, of either sign", "below 60 V"),
    "thd_n": FigureName("1", "distortion with noise, to 20 kHz or five times the tone", "below 1 %"),
    "thd": FigureName("1", "distortion of harmonics alone, to 20 kHz or five times the tone", "below 0.5 %"),
    "crest_factor": FigureName("1", "peak over RMS of the output", "below 3.1 dB"),
    "supply_current": FigureName("A", "mean over whole repetitions", "below 60 A"),
    "supply_current_peak": FigureName("A", "the highest", "below 90 A"),
    "supply_voltage": FigureName("V", "mean at the amplifier's terminals", "above 13.8 V"),
    "supply_voltage_lowest": FigureName("V", "the lowest at the amplifier's terminals", "above 12 V"),
    "supply_voltage_sag": FigureName("V", "how far it sinks in a burst", "below 1 V"),
    "efficiency": FigureName(
        "1", "energy out over energy in across whole repetitions, recharge of the reservoir included", "above 50 %"
    ),
    "clean_level": FigureName(
        "V", "highest level of the generator, RMS, that keeps the distortion bound", "above 500 mV"
    ),
    "heatsink_temperature": FigureName("degC", "of the heatsink when the figures were taken", "below 70 degC"),
    "gain": FigureName("1", "output over input at one frequency", "above 29 dB"),
    "phase": FigureName("rad", "of the output against the input at one frequency", "within 10 deg"),
    "channel_balance": FigureName("1", "gain over that of the first channel, at one frequency", "within 1 dB"),
    "gain_error": FigureName("1", "gain over the gain that was wanted, less 1", "within 2 %"),
    "input_sensitivity": FigureName("V", "level at the input, RMS, that drives the output to rated power", "below 1 V"),
    "lower_band_edge": FigureName("Hz", "where gain is 3 dB down, below the reference", "below 20 Hz"),
    "upper_band_edge": FigureName("Hz", "where gain is 3 dB down, above the reference", "above 20 kHz"),
    "crosstalk": FigureName(
        "1", "voltage at an undriven output over that at the driven one, at one frequency", "below -60 dB"
    ),
    "low_pass_corner": FigureName("Hz", "where a low-pass takes 3 dB", "below 90 Hz"),
    "low_pass_slope": FigureName(
        "dB/octave", "of a low-pass, an octave and more beyond its corner", "above 22 dB/octave"
    ),
    "low_pass_order": FigureName("", "of a low-pass, where its slope leaves no doubt", "above 3"),
    "high_pass_corner": FigureName("Hz", "where a high-pass takes 3 dB", "above 15 Hz"),
    "high_pass_slope": FigureName(
        "dB/octave", "of a high-pass, an octave and more beyond its corner", "above 10 dB/octave"
    ),
    "high_pass_order": FigureName("", "of a high-pass, where its slope leaves no doubt", "above 1"),
    "output_impedance": FigureName("ohm", "at the output's terminals", "below 100 mohm"),
    "damping_factor": FigureName("", "the load's resistance over the output impedance", "above 100"),
    "output_noise": FigureName("V", "of the undriven amplifier, 20 Hz to 20 kHz", "below 1 mV"),
    "output_noise_a_weighted": FigureName("V", "of the undriven amplifier, A-weighted", "below 500 uV"),
    "signal_to_noise_1w": FigureName("1", "voltage of 1 W over the A-weighted noise", "above 75 dB"),
    "signal_to_noise_rated": FigureName("1", "voltage of the rated power over the A-weighted noise", "above 95 dB"),
    "ramp_voltage": FigureName("V", "how far a first power-up came", "above 14 V"),
    "ramp_current": FigureName("A", "the highest current on the way", "below 2 A"),
    "idle_current_rise": FigureName("A", "the most that the current rose while the voltage was held", "below 100 mA"),
    "soak_time": FigureName("s", "how long a long drive lasted", "above 59 min"),
    "average_power": FigureName("W", "mean of a long drive over whole repetitions", "above 40 W"),
    "power_drift": FigureName("1", "of its power from its beginning to its end", "within 5 %"),
    "supply_current_drift": FigureName("A", "of its current from its beginning to its end", "within 1 A"),
    "fuse_load": FigureName("1", "RMS supply current over the rating of the amplifier's fuse", "below 80 %"),
    "final_heatsink_temperature": FigureName(
        "degC", "at which the heatsink would end, foretold from its heating curve", "below 80 degC"
    ),
    "heatsink_time_constant": FigureName("s", "of that curve", "below 30 min"),
    "heatsink_time_constant_fast": FigureName("s", "the fast one of that curve, where it has two", "below 5 min"),
    "fold_back_time": FigureName("s", "after how long the amplifier turned itself down", "above 10 min"),
    "fold_back_gain": FigureName("1", "to what part of its gain", "above -3 dB"),
    "fold_back_power": FigureName("W", "to which power", "above 50 W"),
    "fold_back_temperature": FigureName("degC", "at which heatsink temperature", "above 75 degC"),
    "protection_level": FigureName("V", "level under which the amplifier fell silent by itself", "above 1 V"),
    "protection_time": FigureName("s", "after how long", "above 20 min"),
    "protection_power": FigureName("W", "at which power", "above 100 W"),
    "protection_output": FigureName("V", "what is left at its outputs then", "below 100 mV"),
    "protection_temperature": FigureName("degC", "of the heatsink at that moment", "above 80 degC"),
    "protection_supply_voltage": FigureName("V", "at that moment", "above 11 V"),
    "protection_supply_current": FigureName("A", "at that moment", "below 80 A"),
}
