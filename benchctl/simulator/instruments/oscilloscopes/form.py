"""What makes one simulated oscilloscope: a command set, with what the model is limited to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from benchctl.simulator.instruments.oscilloscopes.recording.scope import Scope
from benchctl.simulator.instruments.oscilloscopes.recording.traits import Traits
from benchctl.simulator.instruments.oscilloscopes.words.preamble_fields import FieldWords, Manner
from benchctl.simulator.instruments.oscilloscopes.words.preamble_list import ListWords
from benchctl.simulator.instruments.oscilloscopes.words.waveform import WaveformWords
from benchctl.simulator.instruments.oscilloscopes.words.words import Words


@dataclass(frozen=True)
class Form:
    """One way of speaking, and the limits of a model that speaks so."""

    words: Callable[[Scope], Sequence[Words[Any]]]
    traits: Traits = field(default_factory=Traits)
    shows_run: bool = False
    """bit 3 of the operation condition register is set while a record is under way"""


# Both commonest forms of preamble at once, and no limits.
PREAMBLES = Form(lambda scope: (ListWords(scope), WaveformWords(scope), FieldWords(scope, Manner(forces=False))))
