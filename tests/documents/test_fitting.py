"""A driver file that does not fit what the bench file says of its instrument is refused where it is named."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.bench import Bench
from benchctl.errors import DocumentError
from benchmarks.forms import loads, thermometers
from benchmarks.forms.trials import bench_text
from tests.runner.rig import Edits, bench_file, document

BANK = {form.speaks: form.edits() for form in loads.FORMS if form.kind == "relay bank"}
(RANGES,) = (form for form in loads.FORMS if form.speaks == "three_ranges")
(LETTERS,) = (form for form in thermometers.FORMS if form.speaks == "kelvin_by_letter")


def with_relay(edits: Edits, number: int) -> Edits:
    """The first resistor behind another relay."""
    return {**edits, "relay: 101": f"relay: {number}"}


@pytest.mark.parametrize(
    ("edits", "words"),
    [
        (
            with_relay(BANK["bit_mask"], 70),
            "relay 70 has no bit in the masks of this driver, whose lowest",
        ),
        (with_relay(BANK["relay_letters"], 27), "relay 27 has no letter, which this driver wants; A is relay 1"),
        (
            {**LETTERS.edits(), "channels: {heatsink: 101, ambient: 102, load: 103}": "channels: {heatsink: 101}"},
            "channel 101 has no letter, which this driver wants; A is channel 1",
        ),
    ],
)
def test_a_number_that_the_words_cannot_say_is_refused(edits: Edits, words: str) -> None:
    with pytest.raises(DocumentError, match=words):
        bench_file(edits)


def test_a_load_that_is_rated_beyond_the_ranges_of_its_driver_is_refused() -> None:
    text = bench_text(RANGES).replace("maximum: 1 kohm", "maximum: 10 kohm")
    with pytest.raises(DocumentError, match="its ranges reach 4 kohm, and the load is rated to 10 kohm"):
        document(text, "bench", Bench)


def test_relays_that_any_word_can_say_are_accepted() -> None:
    assert bench_file(with_relay(BANK["closed_list"], 70)).load is not None
