"""The two forms that a picture is published in, and where their words stand."""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.report.pictures.canvas import PAGE, Sheet


@dataclass(frozen=True)
class Words:
    """Words of one kind: how large their letters are, in points, and how small they may get so that all fits."""

    size_pt: float
    smallest_pt: float
    is_bold: bool = False


@dataclass(frozen=True)
class Form:
    """A form of a picture: the sheet, its width as an image, and its words. The headline has three kinds: its
    value, the rest of its lead, and what belongs to it; a form without a headline has none."""

    ending: str
    sheet: Sheet
    width_px: int
    mark: Words
    title: Words
    headline: tuple[Words, ...]
    note: Words
    source: Words

    @property
    def px_per_pt(self) -> float:
        """Dots of the image for a point."""
        return self.width_px / (72.0 * self.sheet.width_in)


# As on a page, with a title and the source, for an article: 300 dots for an inch.
PLAIN = Form(
    ending="",
    sheet=Sheet(PAGE.width_in, head_in=0.48, foot_in=0.34, margin_in=0.05),
    width_px=1500,
    mark=Words(9.0, 9.0, is_bold=True),
    title=Words(10.5, 7.0, is_bold=True),
    headline=(),
    note=Words(7.0, 5.5),
    source=Words(7.0, 5.5),
)

# 16:9 with 400 dots for an inch of the drawing: its letters of 7 to 9 points are 39 to 50 of 1080 dots high, which can
# be read where the frame is as narrow as a phone.
FRAME = Form(
    ending="-frame",
    sheet=Sheet(4.8, height_in=2.7, head_in=0.48, foot_in=0.28, margin_in=0.1, side_in=1.6),
    width_px=1920,
    mark=Words(8.0, 8.0, is_bold=True),
    title=Words(11.0, 7.0, is_bold=True),
    headline=(Words(22.0, 10.0, is_bold=True), Words(10.0, 6.5, is_bold=True), Words(9.0, 6.5)),
    note=Words(6.5, 6.5),
    source=Words(6.5, 6.5),
)

# Of a frame of 1080 dots: no letter is smaller.
SMALLEST_PX = 36.0
