"""The models of simulated oscilloscope: how each speaks, and what it is limited to."""

from __future__ import annotations

from collections.abc import Mapping

from benchctl.simulator.instruments.oscilloscopes.form import PREAMBLES, Form
from benchctl.simulator.instruments.oscilloscopes.recording.traits import Lengths, Snap, Traits
from benchctl.simulator.instruments.oscilloscopes.words.descriptor import DescriptorWords
from benchctl.simulator.instruments.oscilloscopes.words.floats import FloatWords
from benchctl.simulator.instruments.oscilloscopes.words.main_time_base import MainTimeBaseWords, RangeWords
from benchctl.simulator.instruments.oscilloscopes.words.preamble_fields import FieldWords, Manner
from benchctl.simulator.instruments.oscilloscopes.words.preamble_list import ListWords
from benchctl.simulator.instruments.oscilloscopes.words.waveform import Transfer, WaveformWords

CHUNK = 250_000
_DECADES = (1_200, 12_000, 120_000, 1_200_000)
_THOUSANDS = (1_000, 10_000, 100_000, 1_000_000)
_SEVENS = (7_000, 70_000, 700_000, 7_000_000)


MODELS: Mapping[str, Form] = {
    "preambles": PREAMBLES,
    "bytes_in_chunks": Form(
        lambda scope: (MainTimeBaseWords(scope), WaveformWords(scope, Transfer(chunk=CHUNK, width_by_depth=True))),
        Traits(Lengths(_DECADES), time_base=Snap.UP, scale=Snap.UP, roll_from_s=0.05, state_after_s=0.05),
    ),
    "high_byte_first": Form(
        lambda scope: (
            FieldWords(scope, Manner(headed=True, gain=True, tells_finished=False, per_cent=True, in_part=True)),
        ),
        Traits(Lengths(_THOUSANDS, Snap.UP), time_base=Snap.UP),
    ),
    "byte_order_asked": Form(
        lambda scope: (FieldWords(scope, Manner(per_cent=True, tells_finished=False, chooses_code=False)),),
        Traits(Lengths(_THOUSANDS, Snap.DOWN), time_base=Snap.DOWN, scale=Snap.UP),
    ),
    "waits_for_opc": Form(lambda scope: (RangeWords(scope), WaveformWords(scope, Transfer(width_by_depth=True))),
                          Traits(Lengths(_THOUSANDS, automatic=True))),
    "low_byte_zero": Form(
        lambda scope: (RangeWords(scope), WaveformWords(scope, Transfer(from_above=True))),
        Traits(Lengths(_DECADES, automatic=True), time_base=Snap.DOWN, probe_ratios=(1.0, 10.0, 100.0)),
        shows_run=True,
    ),
    "floats": Form(lambda scope: (FloatWords(scope),), Traits(scale=Snap.UP)),
    "source_in_question": Form(
        lambda scope: (ListWords(scope), WaveformWords(scope, Transfer(source_in_question=True))),
        Traits(Lengths(_THOUSANDS, Snap.DOWN), time_base=Snap.UP, roll_from_s=0.1, probe_ratios=(1.0, 10.0, 100.0)),
    ),
    "binary_descriptor": Form(
        lambda scope: (DescriptorWords(scope),), Traits(Lengths(_SEVENS), time_base=Snap.UP, roll_from_s=0.1)
    ),
}  # fmt: skip
