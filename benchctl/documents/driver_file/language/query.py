"""One question of a driver file: what is sent, and how the answer is taken."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from benchctl.documents.driver_file.language.commands import Command
from benchctl.documents.driver_file.language.templates import Value
from benchctl.scpi.answer_form import AnswerForm

NumberType = Literal["int8", "uint8", "int16", "uint16", "int32", "uint32", "float32", "float64"]
Order = Literal["low_first", "high_first"]


@dataclass(frozen=True)
class BinaryPlace:
    """Where a value stands in a binary block."""

    byte: int
    type: NumberType = "float32"
    order: Order = "low_first"


@dataclass(frozen=True)
class Query(Command):
    """A command whose last message, and only that one, is answered; and how the answer is taken.

    Attributes:
        form: how the value is taken out of the answer.
        field_of: the name of the value that says which field counts, or ''.
        place: where the value stands, if the answer is a binary block.
        constant: the value, where nothing is asked.
        waits: whether the answer comes only when the instrument is done.
        timeout_s: how long the answer may take; None: as the link says.
    """

    form: AnswerForm = field(default_factory=AnswerForm)
    field_of: str = ""
    place: BinaryPlace | None = None
    constant: float | None = None
    waits: bool = False
    timeout_s: float | None = None

    def form_for(self, **values: Value) -> AnswerForm:
        """How the answer is taken for these values."""
        number = values.get(self.field_of)
        return replace(self.form, field=number) if isinstance(number, int) else self.form

    def __bool__(self) -> bool:
        return bool(self.templates) or self.constant is not None
