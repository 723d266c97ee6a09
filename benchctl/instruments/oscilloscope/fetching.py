"""Fetches the record of one channel: what its samples stand for, the samples, and both as a trace."""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping

from benchctl.documents.driver_file.language.query import BinaryPlace, Query
from benchctl.documents.driver_file.language.questions import Asked
from benchctl.documents.driver_file.records import Choice, Samples
from benchctl.instruments.oscilloscope.ranges import Ranges
from benchctl.instruments.oscilloscope.record import Input
from benchctl.instruments.oscilloscope.samples import Coded, Form, from_codes, from_volts, in_numbers, pieces_of
from benchctl.instruments.oscilloscope.scale import Scale, points_told, scale_of
from benchctl.instruments.oscilloscope.timing import Setup
from benchctl.measure.signal.record import Trace
from benchctl.measure.signal.sample_codes import BYTE_ORDER, is_inside, misreading

# A block may be long, and its instrument slow to make it.
BLOCK_TIMEOUT_S = 20.0
# Two converters' worth of the range: no voltage on the screen lies beyond.
_FAR_BEYOND = 4.0
_LETTERS = {
    "int8": "b",
    "uint8": "B",
    "int16": "h",
    "uint16": "H",
    "int32": "i",
    "uint32": "I",
    "float32": "f",
    "float64": "d",
}
_CHECK_CODES = (
    "In the oscilloscope's driver file, 'samples' must say what the instrument sends after 'prepare', and what "
    "'get_scale' asks must belong to such samples; look in its programming manual for the width of the data and the "
    "order of its bytes. In the bench file, 'bits' must be those of its converter."
)


class Fetching(Ranges):
    """Asks for scale and samples of a finished record."""

    def _fetch(self, source: Input, setup: Setup) -> tuple[Scale, Trace]:
        data, told, form = self._raw(source, setup)
        scale, coded = self._coded(source, data, told, form, setup)
        trace = self._trace(source, coded)
        if wrong := self._misread(source, data, form, scale, trace):
            raise self._garbled(f"sends a record of {source.signal} that cannot be: {wrong}", advice=_CHECK_CODES)
        return scale, trace

    def _raw(self, source: Input, setup: Setup) -> tuple[bytes, Mapping[str, float], Form]:
        """The bytes of a channel's record, what the instrument tells of them, and how they are written."""
        self._say(self._words.choose_source, channel=source.channel)
        told = self._ask_scale(source)
        points = points_told(told) or setup.samples
        data = self._ask_samples(source, points)
        return data, told, self._form_of(source, data, points)

    def _coded(
        self, source: Input, data: bytes, told: Mapping[str, float], form: Form, setup: Setup
    ) -> tuple[Scale, Coded]:
        try:
            numbers = in_numbers(data, form)
        except ValueError as error:
            raise self._garbled(str(error), advice=_CHECK_CODES) from error
        scale = scale_of(told, len(numbers), setup.pretrigger_s)
        if not scale.is_usable:
            raise self._garbled(f"gives {scale.volts_per_code:g} V a code and {scale.interval_s:g} s a sample")
        if not form.is_volts:
            return scale, from_codes(numbers, scale.volts_per_code, scale.volts_at_zero)
        try:
            return scale, from_volts(numbers, self._half_range_shown_v(source))
        except ValueError as error:
            raise self._garbled(str(error), advice=_CHECK_CODES) from error

    def _half_range_shown_v(self, source: Input) -> float:
        """Half of the screen, in the volts that the instrument tells."""
        return self._half_range[source.signal] / source.per_volt * self.probe_ratio(source)

    def _trace(self, source: Input, coded: Coded) -> Trace:
        """Codes with their scale at the probe's tip, and the codes at which the converter ends."""
        low_code, high_code = self._ends(source, coded)
        per_shown_volt = source.per_volt / self.probe_ratio(source)
        return Trace(
            codes=coded.codes,
            scale=coded.volts_per_code * per_shown_volt,
            offset=coded.volts_at_zero * per_shown_volt,
            unit="A" if source.unit == "A" else "V",
            low_code=low_code,
            high_code=high_code,
        )

    def _ends(self, source: Input, coded: Coded) -> tuple[int, int]:
        half_range_v = self._half_range_shown_v(source)
        # One converter step inside the screen's edge counts as clipped: a code at the end may hide anything.
        edge_v = half_range_v - 1.5 * (2 * half_range_v / 2**self.bits)
        low = (-edge_v - coded.volts_at_zero) / coded.volts_per_code
        high = (edge_v - coded.volts_at_zero) / coded.volts_per_code
        return math.ceil(low), math.floor(high)

    def _misread(self, source: Input, data: bytes, form: Form, scale: Scale, trace: Trace) -> str:
        """What is probably wrong with a record, or nothing."""
        if form.bytes < 2:
            return ""
        pieces = pieces_of(data, form)
        if form.is_volts:
            return self._misread_volts(source, pieces, form, trace)
        codes, swapped = (
            from_codes(in_numbers(pieces, each), scale.volts_per_code, scale.volts_at_zero).codes
            for each in (form, form.swapped)
        )
        return misreading(codes, swapped, (trace.low_code, trace.high_code), self.bits)

    def _misread_volts(self, source: Input, data: bytes, form: Form, trace: Trace) -> str:
        if is_inside(trace.codes, trace.low_code, trace.high_code):
            return ""
        far_v = _FAR_BEYOND * self._half_range_shown_v(source)
        as_sent, swapped = (abs(in_numbers(data, each).astype(float)) < far_v for each in (form, form.swapped))
        return f"its volts lie far beyond the range; {BYTE_ORDER}" if swapped.all() and not as_sent.all() else ""

    # -- scale -------------------------------------------------------------------------------------------------

    def _ask_scale(self, source: Input) -> dict[str, float]:
        """The numbers of `get_scale` by name."""
        words = self._words.get_scale
        told = words.constants
        for asked in words.asked(channel=source.channel):
            if any(query.place for query in asked.values.values()):
                told |= self._ask_descriptor(asked)
            else:
                takers = [query.form_for(channel=source.channel).number for query in asked.values.values()]
                with self._prepared(asked.messages) as question:
                    numbers = self.session.ask_readings(question, takers)
                told |= dict(zip(asked.values, numbers, strict=True))
        return told

    def _ask_descriptor(self, asked: Asked) -> dict[str, float]:
        """Numbers at fixed places of one binary block."""
        first = next(iter(asked.values.values()))
        with self._prepared(asked.messages) as question:
            block = self.session.ask_block(question, first.timeout_s or BLOCK_TIMEOUT_S, header=first.form.header)
        return {name: self._at_place(block, query) for name, query in asked.values.items()}

    def _at_place(self, block: bytes, query: Query) -> float:
        place = query.place or BinaryPlace(0)
        letter = _LETTERS[place.type]
        order = "<" if place.order == "low_first" else ">"
        try:
            (value,) = struct.unpack_from(f"{order}{letter}", block, place.byte)
        except struct.error:
            raise self._garbled(f"answers a block of {len(block)} bytes, which has no byte {place.byte}") from None
        return float(value) * query.form.times + query.form.plus

    # -- samples -----------------------------------------------------------------------------------------------

    @property
    def _samples(self) -> Samples:
        return self._oscilloscope.samples

    def _ask_samples(self, source: Input, points: int) -> bytes:
        """All samples, in as many pieces as the instrument wants."""
        chunk = self._samples.chunk or points
        pieces = [
            self._ask_piece(source, offset, min(chunk, points - offset)) for offset in range(0, max(points, 1), chunk)
        ]
        return pieces[0] if len(pieces) == 1 else b"".join(pieces)

    def _ask_piece(self, source: Input, offset: int, count: int) -> bytes:
        words = self._words.get_samples
        place = {"first": offset + 1, "last": offset + count, "offset": offset, "count": count}
        with self._prepared(words.messages(channel=source.channel, **place)) as question:
            if self._samples.type.told == ("text",):
                return self.session.ask_for(question, str, words.timeout_s or BLOCK_TIMEOUT_S).encode()
            data = self.session.ask_block(question, words.timeout_s or BLOCK_TIMEOUT_S, header=words.form.header)
        return data[self._samples.skip :] if self._samples.skip else data

    def _form_of(self, source: Input, data: bytes, points: int) -> Form:
        """How the samples are written: as the driver file says, as the instrument says, or as fits their length."""
        order = self._chosen(self._samples.order, source)
        types = self._samples.type
        if types.query:
            return Form(self._chosen(types, source), order)
        forms = [Form(each, order) for each in types.told]
        if len(forms) == 1:
            return forms[0]
        for form in forms:
            if form.bytes * points == len(data):
                return form
        raise self._garbled(
            f"sends {len(data)} bytes for {points} samples, and none of {', '.join(types.told)} fits",
            advice=_CHECK_CODES,
        )

    def _chosen(self, choice: Choice, source: Input) -> str:
        if not choice.query:
            return choice.told[0]
        return self._ask_for(choice.query, choice.meaning, channel=source.channel)
