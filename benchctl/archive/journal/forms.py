"""What each kind of event must hold for whoever reads it again. Any other field is free, and so is any other kind.

A journal may have been changed by hand, by another program, or by a disk. Whatever is read of it passes here first, so
that no reader of an event needs to doubt a field that its form names.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from benchctl.archive.journal import events
from benchctl.measure.conditions import Drive
from benchctl.measure.method import FIRST_METHOD

# Thirty years; far more than any run takes, and little enough to reckon with.
LONGEST_RUN_S = 1e9

_Index = Annotated[int, Field(ge=0, le=1_000_000)]
_Time = Annotated[float, Field(ge=0.0, le=LONGEST_RUN_S)]
_Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
_CaptureFile = Annotated[str, StringConstraints(pattern=r"^captures/[\w-]{1,200}\.npz$")]
_PhotoFile = Annotated[str, StringConstraints(pattern=r"^photos/[0-9]{4,9}\.jpg$")]
_Texts = dict[str, str]


class _Form(BaseModel):
    model_config = ConfigDict(extra="ignore", strict=True, allow_inf_nan=False, defer_build=True)


class _OfStep(_Form):
    index: _Index
    step: str


class _RunPart(_OfStep):
    simulated: list[str] = []


class _Conditions(_Form):
    load_ohm: float | None = None
    frequency_hz: float | None = None
    level_v: float | None = None
    drive: Drive = ""
    supply_set_v: float | None = None
    driven: list[str] = []
    bursts: str = ""
    supply_at: str = ""
    thd_limit: float | None = None


class _StepStarted(_OfStep):
    settings: dict[str, Any] = {}
    conditions: _Conditions = _Conditions()


class _StepFinished(_OfStep):
    conditions: _Conditions = _Conditions()
    left_out: str = ""
    no_figures: str = ""
    ended_early: str = ""


class _StepGivenUp(_OfStep):
    no_results: list[int]
    lost_power: list[str] = []


class _RunStarted(_Form):
    run: str = ""
    amplifier: str = ""
    serial: str = ""
    dry_run: bool
    seed: int | None = None
    settings: _Texts
    instruments: _Texts
    simulated: list[str] = []
    versions: _Texts = {}
    bench_folder: str = ""
    inputs: dict[str, _Sha256] = {}


class _SafePart(_Form):
    instrument: str = ""
    part: str = ""
    confirmed: bool
    detail: str = ""
    by_hand: str = ""


class _SafeState(_Form):
    instruments: list[_SafePart] = []


class _RunEnded(_SafeState):
    reason: str
    exit_code: int
    safe: bool
    trend_sha256: _Sha256 | None = None


class _Capture(_Form):
    file: _CaptureFile
    conditions: _Conditions = _Conditions()
    load_c: float | None = None
    sha256: _Sha256 = "0" * 64


class _Accuracy(_Form):
    reading: float = 0.0
    range: float = 0.0
    fixed: float = 0.0


class _Zeros(_Form):
    file: _CaptureFile
    bits: Annotated[int, Field(ge=1, le=32)]
    accuracy: dict[str, list[_Accuracy]]
    step: str = ""
    method: int = FIRST_METHOD


class _CleanLevel(_Form):
    load_ohm: float
    frequency_hz: float
    level_v: float
    thd_n: float
    supply_set_v: float | None = None
    level_u: Annotated[float, Field(ge=0.0, le=1.0)] = 0.0


class _Exposure(_Form):
    level_v: float
    distortion: float
    is_bound: bool
    says: str = ""
    channel: str = ""
    output_v: float | None = None


class _Search(_Form):
    step: str = ""
    what: str = ""
    exposures: list[_Exposure] = []
    remarks: list[str] = []


class _Hands(_Form):
    request: str = ""
    answers: dict[str, Any] | None = None


class _Photo(_Form):
    file: _PhotoFile
    sha256: _Sha256


class _Note(_Form):
    text: str
    step: str = ""
    written_by: Literal["program", "person"] = "program"
    photos: list[_Photo] = []


class _Trip(_Form):
    limit: str
    value: float | None
    unit: str
    reason: str = ""
    at_s: _Time = 0.0


class _SupplyTripped(_Form):
    outputs: list[str] = []


class _WarningsAccepted(_Form):
    reason: str = ""
    warnings: list[str] = []


class _GuardianActed(_Form):
    line: Annotated[int, Field(ge=1)]


class _HeldRow(_Form):
    name: str
    channel: str = ""
    cycles: Annotated[int, Field(ge=0)] = 0
    unit: str
    measured: float
    measured_u: Annotated[float, Field(ge=0.0)]
    predicted: float
    predicted_u: Annotated[float, Field(ge=0.0)]


class _HeldAgainstFit(_Form):
    step: str = ""
    conditions: _Conditions = _Conditions()
    rows: list[_HeldRow] = []
    not_predicted: list[str] = []
    told: list[str] = []


class _InputsKept(_Form):
    texts: _Texts
    inputs: dict[str, _Sha256] = {}


class _InputsAccepted(_InputsKept):
    reason: str
    changed: list[str]


_FORMS: Mapping[str, type[_Form]] = {
    events.RUN_STARTED: _RunStarted,
    events.RUN_RESUMED: _RunPart,
    events.RUN_ENDED: _RunEnded,
    events.STEP_STARTED: _StepStarted,
    events.STEP_FINISHED: _StepFinished,
    events.STEP_GIVEN_UP: _StepGivenUp,
    events.STEP_BEGINS_ANEW: _RunPart,
    events.CAPTURE: _Capture,
    events.ZEROS: _Zeros,
    events.CLEAN_LEVEL: _CleanLevel,
    events.SEARCH: _Search,
    events.HANDS: _Hands,
    events.NOTE: _Note,
    events.TRIP: _Trip,
    events.SAFE_STATE: _SafeState,
    events.SUPPLY_TRIPPED: _SupplyTripped,
    events.WARNINGS_ACCEPTED: _WarningsAccepted,
    events.GUARDIAN_ACTED: _GuardianActed,
    events.INPUTS_KEPT: _InputsKept,
    events.INPUTS_ACCEPTED: _InputsAccepted,
    events.HELD_AGAINST_FIT: _HeldAgainstFit,
}


def problem_of(event: Mapping[str, Any]) -> str:
    """Why this is not an event that a run writes, '' where it is one."""
    if type(event["number"]) is not int:
        return "its number is not a whole number"
    time_s = event["time_s"]
    if type(time_s) not in (int, float) or not (math.isfinite(time_s) and 0 <= time_s <= LONGEST_RUN_S):
        return "its time_s is not a time of a run"
    if not (isinstance(event["wall"], str) and isinstance(event["event"], str)):
        return "its wall or its event is not text"
    return _problem_of_kind(event)


def _problem_of_kind(event: Mapping[str, Any]) -> str:
    form = _FORMS.get(event["event"])
    if form is None:
        return ""
    try:
        form.model_validate(event)
    except (ValidationError, RecursionError) as error:
        return f"as '{event['event']}' it is not what a run writes: {_first(error)}"
    return ""


def _first(error: ValidationError | RecursionError) -> str:
    if isinstance(error, RecursionError):
        return "it is nested too deeply"
    first = error.errors(include_input=False, include_url=False)[0]
    return f"{'.'.join(str(part) for part in first['loc'])}: {first['msg']}"
