"""quick_check on benches with other supplies: it finishes, is safe, and no verdict is false."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.forms.supplies import FORMS, Form
from benchmarks.forms.trials import try_form

FEW = [form for form in FORMS if form.speaks in {"apply", "zero_is_on", "limit_only"}]
"""The command `python -m benchmarks.forms` tries all."""


@pytest.mark.parametrize("form", FEW, ids=lambda form: form.speaks)
def test_quick_check_finishes_with_this_supply(form: Form, tmp_path: Path) -> None:
    done = try_form(form, tmp_path)
    assert list(done.violations()) == []
    assert done.unmeasured == ()
