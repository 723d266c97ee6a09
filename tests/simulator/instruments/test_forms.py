"""The forms that a bench file may name are those that the simulator has."""

from __future__ import annotations

from typing import get_args

import pytest

from benchctl.documents.bench_file.simulated_instruments import (
    ElectronicLoadForm,
    GeneratorSimulation,
    InstrumentSimulation,
    MultimeterSimulation,
    OscilloscopeSimulation,
    RelayBankForm,
    SupplySimulation,
    ThermometerSimulation,
)
from benchctl.simulator.instruments.generators import forms as generators
from benchctl.simulator.instruments.loads import forms as loads
from benchctl.simulator.instruments.multimeters import forms as multimeters
from benchctl.simulator.instruments.oscilloscopes import forms as oscilloscopes
from benchctl.simulator.instruments.supplies import forms as supplies
from benchctl.simulator.instruments.thermometers import forms as thermometers


@pytest.mark.parametrize(
    ("model", "forms"),
    [
        (GeneratorSimulation, generators.FORMS),
        (OscilloscopeSimulation, oscilloscopes.FORMS),
        (SupplySimulation, supplies.FORMS),
        (ThermometerSimulation, thermometers.FORMS),
        (MultimeterSimulation, multimeters.FORMS),
    ],
)
def test_every_name_of_a_form_has_its_instrument(model: type[InstrumentSimulation], forms: dict[str, object]) -> None:
    assert set(get_args(model.model_fields["speaks"].annotation)) == set(forms)


def test_every_name_of_a_form_of_load_has_its_instrument() -> None:
    assert set(get_args(RelayBankForm)) == set(loads.RELAY_BANKS)
    assert set(get_args(ElectronicLoadForm)) == set(loads.ELECTRONIC)
