"""The workshop's bench with another load, thermometer or multimeter in it, each in the form that its driver is for."""

from __future__ import annotations

import re
from collections.abc import Mapping

from tests.runner.rig import Edits, shipped, with_inputs

RELAY_BANKS = ("closed_list", "relay_text", "relay_letters", "bit_mask")
THERMOMETERS = (
    "scan_list",
    "kelvin_by_letter",
    "degrees_as_text",
    "number_unit_type",
    "always_eight",
    "thermocouple_at_multimeter",
    "pt100_at_multimeter",
    "millivolts_at_multimeter",
)
ONE_SENSOR = tuple(form for form in THERMOMETERS if form.endswith("at_multimeter"))

MULTIMETER = """  multimeter:
    address: TCPIP::127.0.0.1::15026::SOCKET
    driver: multimeter/{driver}
    points:
{points}    accuracy:
      dc_voltage: {{reading: 0.05 %, range: 0.02 %}}
      ac_voltage: {{reading: 0.5 %, range: 0.1 %}}
      resistance: {{reading: 0.2 %, range: 0.02 %}}
      temperature: {{fixed: 1.5 K}}
    calibrated: 2026-03-02

"""
POINTS = {
    "bias A": "measures: dc voltage, range: 100 mV",
    "rail plus": "measures: dc voltage, range: 100 V",
    "rail minus": "measures: dc voltage, range: 100 V",
    "mains": "measures: ac voltage, range: 1 kV",
    "output stage": "measures: temperature",
}
TRUE_POINTS = """  points:
    bias A: {bias_of: A, across: 0.33 ohm}
    rail plus: {rail: plus}
    rail minus: {rail: minus}
    mains: {ac: 230 V}
    output stage: {sensor: heatsink}
"""


def relays_are(form: str) -> Edits:
    """Relays 1 to 6 of a bank that speaks this form, in the place of 101 to 104, 111 and 112."""
    numbers = {"101": 1, "102": 2, "103": 3, "104": 4}
    edits = {f"relay: {old}": f"relay: {new}" for old, new in numbers.items()}
    edits |= with_inputs("{by: relay, relays: {A: 5, B: 6}}")
    edits["driver: load/relay_bank"] = f"driver: load/{form}"
    return edits | _simulated(load=f"{{speaks: {form}}}")


def electronic_load(form: str) -> Edits:
    """One electronic load on output A, in the place of the bank."""
    entry = f"""  load:
    address: TCPIP::127.0.0.1::15023::SOCKET
    driver: load/{form}
    channel: A
    ratings: {{resistance: {{minimum: 1 ohm, maximum: 1 kohm}}, power: 1000 W}}
    accuracy: {{resistance: {{reading: 0.1 %}}}}
    calibrated: 2026-01-15

"""
    text = shipped("benches", "workshop")
    start, end = text.index("  load:\n"), text.index("  supply:\n")
    return {text[start:end]: entry, **with_inputs(""), **_simulated(load=f"{{speaks: {form}}}")}


def thermometer(form: str, vices: str = "") -> Edits:
    """A thermometer that speaks this form; those that are a multimeter have one sensor, on the heatsink."""
    own = "{heatsink: 1}" if form in ONE_SENSOR else "{heatsink: 1, ambient: 2, load: 3}"
    if form == "scan_list":
        own = "{heatsink: 101, ambient: 102, load: 103}"
    return {
        "channels: {heatsink: 101, ambient: 102, load: 103}": f"channels: {own}",
        "driver: thermometer/scpi99": f"driver: thermometer/{form}",
        **({"  load: {above: 180 degC}\n": ""} if form in ONE_SENSOR else {}),
        **_simulated(thermometer=f"{{speaks: {form}{vices}}}"),
    }


def multimeter(driver: str, form: str, *, scanner: bool, points: Mapping[str, str] = POINTS) -> Edits:
    """A multimeter besides the other instruments."""
    lines = "".join(
        f"      {name}: {{{words}{f', channel: {channel}' if scanner else ''}}}\n"
        for channel, (name, words) in enumerate(points.items(), start=101)
    )
    entry = MULTIMETER.format(driver=driver, points=lines)
    edits = _simulated(multimeter=f"{{speaks: {form}}}")
    ((seed, told),) = edits.items()
    return {"signals:      ": entry + "signals:      ", seed: told + TRUE_POINTS}


def _simulated(**roles: str) -> Edits:
    """How the simulated instruments speak."""
    lines = "".join(f"    {role}: {words}\n" for role, words in roles.items())
    found = re.search(r"^  seed: \d+\n", shipped("benches", "workshop"), re.MULTILINE)
    assert found is not None
    return {found.group(): f"{found.group()}  instruments:\n{lines}"}
