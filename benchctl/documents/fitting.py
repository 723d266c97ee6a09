"""Whether a driver file fits what a bench file says of its instrument, beyond the role and the form."""

from __future__ import annotations

from benchctl.documents.bench_file.instruments import (
    ElectronicLoad,
    Instrument,
    Multimeter,
    RelayBank,
    Thermometer,
)
from benchctl.documents.driver_file.driver import Driver
from benchctl.documents.driver_file.load import ElectronicLoadDriver, RelayBankDriver
from benchctl.documents.driver_file.multimeter import MultimeterDriver
from benchctl.documents.driver_file.thermometer import ThermometerDriver
from benchctl.quantity import render

LETTERS = 26
_LONGEST_MASK = 64  # bits


def misfit(instrument: Instrument, driver: Driver) -> str:
    """Why the driver will not do for this instrument; empty where it will."""
    match instrument, driver:
        case Multimeter(), MultimeterDriver():
            return _of_multimeter(instrument, driver)
        case RelayBank(), RelayBankDriver():
            return _of_bank(instrument, driver)
        case ElectronicLoad(), ElectronicLoadDriver():
            return _of_electronic(instrument, driver)
        case Thermometer(), ThermometerDriver():
            return _of_thermometer(instrument, driver)
        case _:
            return ""


def _of_multimeter(instrument: Multimeter, driver: MultimeterDriver) -> str:
    for name, point in instrument.points.items():
        if not driver.commands.measure(point.measures):
            return f"this driver measures no {point.measures}, which '{name}' wants"
        if driver.has_scanner and point.channel is None:
            return f"this driver chooses each point by a channel, and '{name}' has none; give 'channel'"
        if not driver.has_scanner and point.channel is not None:
            return (
                f"this driver knows no scanner, and '{name}' has a channel; leave it out, and a person moves the leads"
            )
    return ""


def _of_bank(instrument: RelayBank, driver: RelayBankDriver) -> str:
    relays = sorted(resistor.relay for resistor in instrument.resistors)
    first, words = driver.first_relay, driver.commands
    uses = words.close.uses | words.open.uses
    by_bit = not uses.isdisjoint({"mask", "closed_mask"}) or words.get_closed.shape == "mask"
    if by_bit and not first <= relays[0] <= relays[-1] < first + _LONGEST_MASK:
        wrong = relays[0] if relays[0] < first else relays[-1]
        return f"relay {wrong} has no bit in the masks of this driver, whose lowest bit is relay {first}"
    if _has_letters(words.close.spelled | words.open.spelled) and relays[-1] > LETTERS:
        return f"relay {relays[-1]} has no letter, which this driver wants; A is relay 1"
    return ""


def _of_electronic(instrument: ElectronicLoad, driver: ElectronicLoadDriver) -> str:
    highest, wanted = max(driver.ranges.values(), default=None), instrument.ratings.resistance.maximum_ohm
    if highest is None or wanted <= highest:
        return ""
    return f"its ranges reach {render(highest, 'ohm')}, and the load is rated to {render(wanted, 'ohm')}"


def _of_thermometer(instrument: Thermometer, driver: ThermometerDriver) -> str:
    numbers = [number for _, number in instrument.channels.items()]
    if _has_letters(driver.commands.measure_temperature.spelled) and max(numbers) > LETTERS:
        return f"channel {max(numbers)} has no letter, which this driver wants; A is channel 1"
    return ""


def _has_letters(spelled: frozenset[str]) -> bool:
    return any(name.endswith("_letter") for name in spelled)
