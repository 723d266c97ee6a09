"""A short check on benches with other instruments: it finishes, is safe, no verdict is false, and its figures fit their
uncertainty. The command `python -m benchmarks.forms` tries every form by itself, with the whole quick_check."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.forms import generators, loads, oscilloscopes, supplies, thermometers
from benchmarks.forms.together import Together
from benchmarks.forms.trials import Form, try_form
from tests.short_check import short_check

FORMS: dict[str, Form] = {
    form.speaks: form
    for form in (*generators.FORMS, *loads.FORMS, *thermometers.FORMS, *supplies.FORMS, *oscilloscopes.FORMS)
}
BENCHES = (
    ("relay_text", "kelvin_by_letter", "apply", "byte_order_asked"),
    ("key_value_list", "bit_mask", "always_eight", "zero_is_on"),
    ("limit_only", "floats"),
    ("three_ranges",),
)


@pytest.mark.parametrize("forms", BENCHES, ids=" and ".join)
def test_a_short_check_finishes(forms: tuple[str, ...], tmp_path: Path) -> None:
    several = tuple(FORMS[name] for name in forms)
    form = Together(several) if several[1:] else several[0]
    done = try_form(form, tmp_path, sequence=str(short_check(tmp_path)))
    assert done.exit_code == 0
    assert list(done.violations()) == []
    assert done.unmeasured == ()
    # Nineteen of twenty true values lie inside an uncertainty with k = 2 (GUM, 6.3.3).
    assert done.held.known.total() > 20
    assert done.held.missed.total() <= 0.05 * done.held.known.total()
