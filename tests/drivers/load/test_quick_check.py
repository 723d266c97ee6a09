"""quick_check on benches with other loads, thermometers and multimeters: it finishes, is safe, and no verdict is false.
The command `python -m benchmarks.forms` tries all."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.forms import loads, thermometers
from benchmarks.forms.trials import Form, try_form

FEW = {"relay_text", "bit_mask", "three_ranges", "always_eight", "kelvin_by_letter"}
FORMS: list[Form] = [form for form in (*loads.FORMS, *thermometers.FORMS) if form.speaks in FEW]


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.speaks)
def test_quick_check_finishes(form: Form, tmp_path: Path) -> None:
    done = try_form(form, tmp_path)
    assert done.exit_code == 0
    assert list(done.violations()) == []
    assert done.unmeasured == ()
