"""Whose unit is on the bench, and why. Who owns it is for the owner's sheet, and not for a page that is published."""

from __future__ import annotations

from pydantic import Field

from benchctl.documents.model.fields import Line
from benchctl.documents.model.model_base import Part

_PRIVATE = "; personal: on the owner's sheet only, and not on the page unless `--with-owner` is given"


class Unit(Part):
    """The unit under test: its owner, and what is wrong with it. Its serial number is `serial`."""

    owner: Line | None = Field(default=None, description=f"who owns it{_PRIVATE}", examples=["M. Lindqvist"])
    contact: Line | None = Field(
        default=None, description=f"how to reach the owner{_PRIVATE}", examples=["lindqvist@ferry.example"]
    )
    reference: Line | None = Field(
        default=None, description=f"the owner's own reference, such as an order number{_PRIVATE}", examples=["2026-118"]
    )
    complaint: Line | None = Field(
        default=None,
        description="what the owner complains of; it is on the page too, so name nobody in it",
        examples=["Left channel cuts out when warm"],
    )
