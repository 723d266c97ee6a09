"""The words around a picture that stands alone: what it shows, the headline, where it is from, that it is simulated."""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Rectangle

from benchctl.report.frames.fitting import GAP_PT, LEADING, Box, set_column, set_words, whole_sentences
from benchctl.report.frames.sheets import Form
from benchctl.report.pictures.canvas import INK, PAPER, SOFT, WARNING


@dataclass(frozen=True)
class Said:
    """What is said around every picture of one run, or of several: the headline, with the value that it leads with and
    what belongs to it; the source; `mark` where it is no measurement; and the headline as one sentence."""

    value: str
    headline: str
    more: str
    source: str
    mark: str = ""
    sentence: str = ""


def letter(figure: Drawing, form: Form, title: str, note: str, said: Said) -> None:
    """Write the words onto a drawing that has room for them; `note` says what its marks mean."""
    figure.set_dpi(form.width_px / figure.get_figwidth())  # letters are measured as they are drawn
    FigureCanvasAgg(figure)
    lettering = _Lettering(figure, form)
    lettering.head(title, said.mark)
    lettering.side(said)
    lettering.foot(note, said.source)


class _Lettering:
    """Words at the edges of one drawing; lengths in points."""

    def __init__(self, figure: Drawing, form: Form) -> None:
        self.figure, self.form = figure, form
        self.width_pt, self.height_pt = (72.0 * float(inches) for inches in figure.get_size_inches())
        self.margin_pt = 72.0 * form.sheet.margin_in
        self.across_pt = self.width_pt - 2.0 * self.margin_pt
        self.head_pt, self.foot_pt = 72.0 * form.sheet.head_in, 72.0 * form.sheet.foot_in

    def head(self, title: str, mark: str) -> None:
        """The title, below a strip with the mark if there is one."""
        top_pt = GAP_PT
        if mark:
            strip_pt = LEADING * self.form.mark.size_pt + GAP_PT
            self._strip(strip_pt / self.height_pt)
            set_words(self.figure, mark, self.form.mark, self._across(GAP_PT / 2.0, strip_pt), PAPER)
            top_pt += strip_pt
        set_words(self.figure, title, self.form.title, self._across(top_pt, self.head_pt - top_pt), INK)

    def _strip(self, share: float) -> None:
        """Across the whole width: nobody crops it without noticing."""
        self.figure.add_artist(Rectangle((0.0, 1.0 - share), 1.0, share, facecolor=WARNING, edgecolor="none"))

    def side(self, said: Said) -> None:
        """The headline in the column at the right, down to the names of the series: its value large, the rest below."""
        wide_pt, top_pt = 72.0 * self.form.sheet.side_in, self.head_pt + GAP_PT
        tops = [legend.get_window_extent().y1 * 72.0 / self.figure.dpi for legend in self.figure.legends]
        end_pt = self.height_pt - max([self.foot_pt, *tops]) - GAP_PT
        box = Box(self.width_pt - self.margin_pt - wide_pt, top_pt, wide_pt, end_pt - top_pt)
        texts = zip((said.value, said.headline, said.more), self.form.headline, strict=False)
        set_column(self.figure, list(texts), box, INK)

    def foot(self, note: str, source: str) -> None:
        """What the marks mean, and where it is from."""
        line_pt = self.foot_pt / 2.0
        upper, lower = (self._across(self.height_pt - lines * line_pt, line_pt) for lines in (2, 1))
        kept = whole_sentences(self.figure, note, self.form.note, upper)
        set_words(self.figure, kept, self.form.note, upper, SOFT)
        set_words(self.figure, source, self.form.source, lower, SOFT)

    def _across(self, top_pt: float, high_pt: float) -> Box:
        return Box(self.margin_pt, top_pt, self.across_pt, high_pt)
