"""Typed quantities for the models: `Volts` is a float in V that was written with its unit."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field

from benchctl.quantity import parse_quantity


def _reader(base_unit: str) -> BeforeValidator:
    def read(value: object) -> object:
        return parse_quantity(value, base_unit) if isinstance(value, str) else value

    return BeforeValidator(read)


Volts = Annotated[float, _reader("V"), Field(json_schema_extra={"unit": "V"})]
Amperes = Annotated[float, _reader("A"), Field(json_schema_extra={"unit": "A"})]
Ohms = Annotated[float, _reader("ohm"), Field(json_schema_extra={"unit": "ohm"})]
Hertz = Annotated[float, _reader("Hz"), Field(json_schema_extra={"unit": "Hz"})]
Seconds = Annotated[float, _reader("s"), Field(json_schema_extra={"unit": "s"})]
Watts = Annotated[float, _reader("W"), Field(json_schema_extra={"unit": "W"})]
Farads = Annotated[float, _reader("F"), Field(json_schema_extra={"unit": "F"})]
Celsius = Annotated[float, _reader("degC"), Field(json_schema_extra={"unit": "degC"})]
Kelvins = Annotated[float, _reader("K"), Field(json_schema_extra={"unit": "K"})]
Ratio = Annotated[float, _reader("1"), Field(json_schema_extra={"unit": "1"})]
PerKelvin = Annotated[float, _reader("1/K"), Field(json_schema_extra={"unit": "1/K"})]
VoltsPerAmpere = Annotated[float, _reader("V/A"), Field(json_schema_extra={"unit": "V/A"})]
SamplesPerSecond = Annotated[float, _reader("Sa/s"), Field(json_schema_extra={"unit": "Sa/s"})]
KelvinsPerWatt = Annotated[float, _reader("K/W"), Field(json_schema_extra={"unit": "K/W"})]
JoulesPerKelvin = Annotated[float, _reader("J/K"), Field(json_schema_extra={"unit": "J/K"})]
KelvinsPerSecond = Annotated[float, _reader("K/s"), Field(json_schema_extra={"unit": "K/s"})]
