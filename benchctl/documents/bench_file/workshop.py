"""Whose bench it is, and who tests there."""

from __future__ import annotations

from pydantic import Field

from benchctl.documents.model.fields import Line, PictureName, YesNo
from benchctl.documents.model.model_base import Part


class Workshop(Part):
    """Who tests. What names a person is not on the page unless the file or `--with-owner` says so."""

    name: Line = Field(description="name of the workshop; it is on the page and on the owner's sheet")
    contact: Line | None = Field(
        default=None,
        description="address or telephone of the workshop; on the owner's sheet only",
        examples=["Quay 7, Eastharbour"],
    )
    logo: PictureName | None = Field(
        default=None, description="a picture beside this file, of any form but SVG; on the page and on the sheet"
    )
    tester: Line | None = Field(
        default=None,
        description="who tests; on the owner's sheet, and on the page only if `tester_is_public`",
        examples=["J. Okafor"],
    )
    tester_is_public: YesNo = Field(default=False, description="whether the page names the tester too")
