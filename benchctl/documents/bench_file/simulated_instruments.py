"""`simulation: instruments:` of a bench file: which form of remote control each simulated instrument speaks, and its
vices: slow, deaf for a while, with one link only, without what others have.

The names of the forms stand here, where the reader checks them; `simulator/instruments/` has the instruments.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, get_args

from pydantic import Field

from benchctl.documents.bench_file.instruments import Instruments
from benchctl.documents.model.fields import Line, NotNegativeKelvins, NotNegativeSeconds, NotNegativeVolts
from benchctl.documents.model.model_base import Part, PathProblem

MissingWord = Literal["*CLS", "*ESR?", "*OPC?", "*RST", "*STB?", "STAT:PRES"]


class InstrumentSimulation(Part):
    """How a simulated instrument speaks, in any role; without a word of it, at once and without a vice."""

    answers_after_s: NotNegativeSeconds = Field(
        default=0.0, description="how long each answer takes", examples=["300 ms"]
    )
    busy_after_setting_s: NotNegativeSeconds = Field(
        default=0.0,
        description="how long after each change it takes no other message, as while a screen is drawn again",
        examples=["2 s"],
    )
    reset_takes_s: NotNegativeSeconds = Field(
        default=0.0, description="how long it takes no other message after `*RST`", examples=["5 s"]
    )
    clients: Literal["several", "one"] = Field(
        default="several", description="how many raw links it takes at once; another one is closed as soon as it opens"
    )
    free_again_after_s: NotNegativeSeconds = Field(
        default=0.0, description="with one client: how long after its end the next one is taken", examples=["500 ms"]
    )
    identity: Literal["four fields", "one field", "none"] = Field(
        default="four fields", description="what it answers to `*IDN?`"
    )
    error_queue: Literal["yes", "no"] = Field(
        default="yes", description="whether it has one, so that it knows `SYST:ERR?`"
    )
    lacks: tuple[MissingWord, ...] = Field(
        default=(), description="words that other instruments know and this one does not", examples=[["*ESR?"]]
    )
    ends: Literal["LF", "CR", "CRLF", "none"] = Field(
        default="LF", description="what ends each message on a raw link, in both directions"
    )
    echo: Literal["yes", "no"] = Field(
        default="no", description="whether it sends back each byte that it gets on a raw link"
    )
    acknowledge: Line | None = Field(
        default=None, description="what it answers to each message that has no answer of its own", examples=["OK"]
    )


GeneratorForm = Literal[
    "scpi99",
    "cycles_and_period",
    "bus_trigger",
    "peak_to_peak",
    "display_into_50_ohm",
    "key_value_list",
    "table_as_block",
    "table_as_text",
    "keyed_modulation",
]
LeftBehind = Literal["offset", "modulation", "sweep", "burst", "load", "phase"]


class GeneratorSimulation(InstrumentSimulation):
    """How the generator speaks; in the form `scpi99` it is fine and nobody has used it before."""

    speaks: GeneratorForm = Field(default="scpi99", description="its form of remote control")
    left_by_last_user: tuple[LeftBehind, ...] = Field(
        default=(),
        description="what somebody else has left set on it, until it is reset, as far as this form can be left so",
        examples=[["offset", "sweep"]],
    )
    level_step_v: NotNegativeVolts = Field(
        default=0.0, description="steps of the level on its display, Vpp", examples=["10 mV"]
    )


class OscilloscopeSimulation(InstrumentSimulation):
    """How the oscilloscope speaks."""

    speaks: Literal[
        "preambles",
        "binary_descriptor",
        "byte_order_asked",
        "bytes_in_chunks",
        "floats",
        "high_byte_first",
        "low_byte_zero",
        "source_in_question",
        "waits_for_opc",
    ] = Field(
        default="preambles",
        description="its form of remote control; `preambles` knows both commonest forms of preamble and has no limits",
    )


SupplyForm = Literal[
    "scpi99",
    "channel_list",
    "channel_word",
    "chosen_by_word",
    "one_output",
    "apply",
    "two_questions",
    "everything_at_once",
    "coarse",
    "protection_unread",
    "protection_in_steps",
    "limit_only",
    "trip_in_register",
    "trip_unseen",
    "protection_delay",
    "remote_sense",
    "zero_is_on",
    "old_words",
]


class SupplySimulation(InstrumentSimulation):
    """How the supply speaks."""

    speaks: SupplyForm = Field(default="scpi99", description="its form of remote control")


RelayBankForm = Literal["scpi99", "closed_list", "relay_text", "relay_letters", "bit_mask"]
ElectronicLoadForm = Literal["scpi99", "three_ranges"]


class LoadSimulation(InstrumentSimulation):
    """How the load speaks."""

    speaks: Literal[RelayBankForm, ElectronicLoadForm] = Field(
        default="scpi99", description="its form of remote control, which must be one for its kind of load"
    )


class ThermometerSimulation(InstrumentSimulation):
    """How the thermometer speaks."""

    speaks: Literal[
        "scpi99",
        "scan_list",
        "thermocouple_at_multimeter",
        "pt100_at_multimeter",
        "millivolts_at_multimeter",
        "kelvin_by_letter",
        "degrees_as_text",
        "number_unit_type",
        "always_eight",
    ] = Field(default="scpi99", description="its form of remote control")
    step_k: NotNegativeKelvins = Field(
        default=0.0, description="in which steps it shows temperatures", examples=["0.5 K"]
    )
    new_reading_every_s: NotNegativeSeconds = Field(
        default=0.0,
        description="how often there is a new reading, of one that scans by itself (`always_eight`)",
        examples=["4 s"],
    )


class MultimeterSimulation(InstrumentSimulation):
    """How the multimeter speaks."""

    speaks: Literal["measure_and_configure", "function_words"] = Field(
        default="measure_and_configure", description="its form of remote control"
    )


class InstrumentSimulations(Part):
    """The simulated instruments by role."""

    generator: GeneratorSimulation = Field(default_factory=GeneratorSimulation)
    oscilloscope: OscilloscopeSimulation = Field(default_factory=OscilloscopeSimulation)
    load: LoadSimulation = Field(default_factory=LoadSimulation)
    supply: SupplySimulation = Field(default_factory=SupplySimulation)
    thermometer: ThermometerSimulation = Field(default_factory=ThermometerSimulation)
    multimeter: MultimeterSimulation = Field(default_factory=MultimeterSimulation)


def simulated_problems(simulations: InstrumentSimulations, instruments: Instruments) -> Iterator[PathProblem]:
    """What is told of instruments that the bench does not have, or of another kind; paths start from the roles."""
    there_are = [role for role, _ in instruments.items()]
    for role in sorted(simulations.model_fields_set):
        if role not in there_are:
            yield PathProblem((role,), f"there is no {role} under 'instruments'", is_key=True)
    load = instruments.load
    forms = get_args(RelayBankForm if load is not None and load.kind == "relay bank" else ElectronicLoadForm)
    if load is not None and simulations.load.speaks not in forms:
        yield PathProblem(("load", "speaks"), f"no {load.kind} speaks so; there are {', '.join(forms)}")
