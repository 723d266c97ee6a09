"""What was found and done: the notes that a person wrote, with their photographs.

A note is Markdown. Its HTML is made here and nowhere else: tags that a note contains come out as text, a link leads to
a page or a mail address, and a picture is never fetched from anywhere.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from urllib.parse import urlsplit

from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token
from markdown_it.utils import EnvType, OptionsDict
from markupsafe import Markup
from PIL import Image

from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.notes import Note, notes_of
from benchctl.errors import ArchiveError
from benchctl.quantity import clock_face
from benchctl.report.reading.run_record import RunRecord

_LINKS = ("http", "https", "mailto")


@dataclass(frozen=True)
class PhotoShown:
    """A photograph as the page carries it. `missing` says why it is not shown; the rest is then empty."""

    alt: str
    data: str = ""
    width: int = 0
    height: int = 0
    missing: str = ""


@dataclass(frozen=True)
class NoteShown:
    """A note as a page shows it: when it was written, its text as HTML, its photographs."""

    when: str
    html: Markup
    photos: tuple[PhotoShown, ...]


def notes_shown(run_record: RunRecord) -> list[NoteShown]:
    """Every note of the run, in order."""
    return [_shown(note, run_record.folder) for note in notes_of(run_record.events)]


def _shown(note: Note, folder: RunFolder) -> NoteShown:
    photos = tuple(
        _photo(folder, file, hashed, caption_of(note, place))
        for place, (file, hashed) in enumerate(note.photos.items(), start=1)
    )
    return NoteShown(when_of(note), as_html(note.text), photos)


def caption_of(note: Note, place: int) -> str:
    """What a photograph of a note is called, by its place among them."""
    return f"Photograph {place} of the note of {when_of(note)}"


def when_of(note: Note) -> str:
    """When a note was written: at which time of the run, or on which day after it."""
    if note.step:
        return f"{clock_face(note.time_s)} of the run"
    return f"{note.wall[:16].replace('T', ' ')} UTC"


def _photo(folder: RunFolder, file: str, hashed: str, alt: str) -> PhotoShown:
    """Only the file that was kept: another one in its place may show where it was taken."""
    try:
        content = read_bytes(folder.inside(file))
    except ArchiveError as error:
        return PhotoShown(alt, missing=f"{file} cannot be shown: {error.message}")
    if sha256(content).hexdigest() != hashed:
        return PhotoShown(alt, missing=f"{file} is not shown: it is not the file that its note kept")
    try:
        with Image.open(io.BytesIO(content), formats=["JPEG"]) as picture:
            width, height = picture.size
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:  # of a journal written by hand
        return PhotoShown(alt, missing=f"{file} is not shown: {error}")
    return PhotoShown(alt, as_data(content, "image/jpeg"), width, height)


def as_data(content: bytes, kind: str) -> str:
    """A picture as the address of itself, so that a page needs no other file."""
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"


def as_html(text: str) -> Markup:
    """The HTML of a note."""
    return Markup(_MARKDOWN.render(text))


class _Renderer(RendererHTML):
    """A note stands below a heading of its page, so what is a heading in it becomes a line in bold type."""

    def heading_open(self, _tokens: Sequence[Token], _index: int, _options: OptionsDict, _env: EnvType) -> str:
        return "<p><strong>"

    def heading_close(self, _tokens: Sequence[Token], _index: int, _options: OptionsDict, _env: EnvType) -> str:
        return "</strong></p>\n"


class _Markdown(MarkdownIt):
    """Links lead to pages and mail addresses only."""

    def validateLink(self, url: str) -> bool:  # noqa: N802 - the library's name
        try:
            return urlsplit(url).scheme.lower() in _LINKS
        except ValueError:  # no address at all
            return False


# "js-default" takes no HTML; the plain constructor would let it through.
_MARKDOWN = _Markdown("js-default", renderer_cls=_Renderer).disable("image")
