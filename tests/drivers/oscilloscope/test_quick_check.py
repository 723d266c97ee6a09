"""quick_check on benches with other oscilloscopes: it finishes, is safe, and its figures fit their uncertainty."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.forms.oscilloscopes import FORMS, Form
from benchmarks.forms.trials import try_form

FEW = [form for form in FORMS if form.speaks in {"byte_order_asked", "floats"}]
"""The command `python -m benchmarks.forms` tries all."""


@pytest.mark.parametrize("form", FEW, ids=lambda form: form.speaks)
def test_quick_check_finishes_with_this_oscilloscope(form: Form, tmp_path: Path) -> None:
    done = try_form(form, tmp_path)
    assert list(done.violations()) == []
    assert done.unmeasured == ()
    # Nineteen of twenty true values lie inside an uncertainty with k = 2 (GUM, 6.3.3).
    assert done.held.known.total() > 50
    assert done.held.missed.total() <= 0.05 * done.held.known.total()
