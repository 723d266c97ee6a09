"""What each cause could be confused with in such a run, and the one measurement that decides (common practice)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class Advice(NamedTuple):
    """For one cause; both are '' where nothing useful can be said."""

    confused: str
    decides: str


ADVICE: Mapping[str, Advice] = {
    "silence": Advice(
        "an open lead, a muted channel, a relay that does not close",
        "the signal before and after the channel's relay, with a probe",
    ),
    "half wave": Advice("a driver without its rail or its signal", "both rails and the device's drive, with a probe"),
    "joint": Advice(
        "a relay or a protection that opens when it is warm",
        "warm it again and cool one part after the other with spray, while the output is watched",
    ),
    "weak rail": Advice(
        "output devices that leave more of one rail, alike in every channel",
        "both rails with a meter at idle, and their ripple under a tone: a low voltage is the winding or rectifier, a "
        "large ripple is the capacitor",
    ),
    "weak half": Advice(
        "a clip that dc at this output brings about", "the drop across both output devices of this channel under a tone"
    ),
    "dc": Advice("dc that comes in at the input", "dc again with the channel's input shorted"),
    "gain": Advice(
        "a gain control, a filter or a probe that is set another way",
        "the two probes exchanged: what moves with the probe is not the amplifier's",
    ),
    "idle": Advice(
        "a bias that is wrong, against a leak or a dead stage in the supply: both are constant currents",
        "the voltage across an emitter or source resistor of each channel at idle",
    ),
    "reservoir": Advice(
        "a capacitor with much series resistance, which is not in the model",
        "capacitance and series resistance of each capacitor out of the circuit",
    ),
    "rail_stiffness": Advice(
        "a supply lead that resists more, or a load lower than the bench file says",
        "the voltage at the amplifier's own terminals under the continuous tone, and the load by four wires",
    ),
    "headroom": Advice(
        "a load lower than the bench file says, a probe that shows too little, output stages that leave more, one weak "
        "rail of two where outputs are floating",
        "both rails with a meter at idle",
    ),
    "rail": Advice("a probe that shows too little", "both rails with a meter at idle"),
    "saturation": Advice("rails that are lower", "the drop across the output devices under a tone"),
    "input_ratio": Advice(
        "a clamp that shows too much, or a load lower than the bench file says",
        "the supply's current with a shunt, and the load by four wires",
    ),
    "converter_efficiency": Advice(
        "a clamp that shows too much, or a load lower than the bench file says",
        "the supply's current with a shunt, and the load by four wires",
    ),
    "output_resistance": Advice(
        "a load lead that resists more", "the load by four wires, at the amplifier's terminals"
    ),
    "conduction_resistance": Advice(
        "a load lead that resists more", "the load by four wires, at the amplifier's terminals"
    ),
    "heatsink_resistance": Advice(
        "air that moves otherwise than before, another position, a sensor in another place",
        "the fan, and the way of the air; then the run again in the same position",
    ),
    "heatsink_lag": Advice(
        "a sensor that sits loosely or in another place",
        "the sensor fixed anew; then the temperature of each device's case against the heatsink's",
    ),
    "impossible": Advice(
        "nothing in an amplifier does this", "the current probe's zero and ratio, and the load by four wires"
    ),
}
NONE = Advice("", "")

SAME: Mapping[str, str] = {"idle_current": "idle"}
"""Quantities of the fit that have another name here."""

DEAD = frozenset({"silence", "half wave"})
"""Of a channel with one of them nothing else is told."""

HIDDEN: Mapping[str, str] = {"half wave": "half waves", "dc": "dc", "gain": "gain", "joint": "joints"}
"""What stays untold of a dead channel."""

GOES_WITH: Mapping[str, frozenset[str]] = {
    "weak rail": frozenset({"headroom", "rail", "saturation", "knee", "input_ratio", "converter_efficiency"}),
    "weak half": frozenset({"headroom", "rail", "saturation", "knee"}),
    "dc": frozenset({"weak half"}),
}
"""What a cause makes of the fit, which takes both half waves as one: not named apart."""
