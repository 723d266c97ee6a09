"""A folder of pictures to publish, each in every form as SVG and as PNG, with a text that describes them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from matplotlib import rc_context
from matplotlib.figure import Figure as Drawing

from benchctl.archive.files import disk_errors, write_whole
from benchctl.errors import UsageError
from benchctl.report.frames.lettering import Said, letter
from benchctl.report.frames.sheets import FRAME, PLAIN, Form
from benchctl.report.pictures.canvas import STYLE, Picture, drawn_on, png_file_of, svg_file_of

DESCRIPTION = "pictures.txt"
_FIRST_LINE = "Pictures made by benchctl. Each has its title, what it shows in words, and how it was made."

Draw = Callable[[], Sequence[Picture]]


def write_bundle(folder: Path, draw: Draw, said: Said) -> Path:
    """Write the pictures that `draw` makes into `folder`, in place of those of an earlier time; returns the folder.

    Raises:
        UsageError: something else is there.
        ArchiveError: it cannot be written.
    """
    files = dict(_files(draw, said))
    with disk_errors("write", folder):
        _clear(folder)
        folder.mkdir(exist_ok=True)
    for name, content in files.items():
        write_whole(folder / name, content)
    return folder


def refuse_other_folders(folder: Path) -> None:
    """A folder of pictures may take the place of an earlier one, and of nothing else.

    Raises:
        UsageError: something else is there.
    """
    if (folder.exists() or folder.is_symlink()) and not _is_ours(folder):
        raise UsageError(
            f"{folder} is there already and is not a folder of pictures from benchctl, so nothing is written into it; "
            "move it or give another name"
        )


def _is_ours(folder: Path) -> bool:
    if folder.is_symlink() or not folder.is_dir():
        return False
    description = folder / DESCRIPTION
    if not description.is_file():
        return not any(folder.iterdir())
    return description.read_text(encoding="utf-8", errors="replace").startswith(_FIRST_LINE)


def _clear(folder: Path) -> None:
    """Take away the pictures of an earlier time; a run that was gone on with may have fewer of a kind."""
    refuse_other_folders(folder)
    for file in [*folder.glob("*.svg"), *folder.glob("*.png")] if folder.is_dir() else ():
        file.unlink()


def _files(draw: Draw, said: Said) -> Iterator[tuple[str, bytes]]:
    for form in (PLAIN, FRAME):
        with drawn_on(form.sheet) as drawings:
            pictures = draw()
        for picture in pictures:
            yield from _pair(picture, drawings[picture.name], form, said)
    yield DESCRIPTION, _description(pictures, said).encode("utf-8")


def _pair(picture: Picture, figure: Drawing, form: Form, said: Said) -> Iterator[tuple[str, bytes]]:
    name = picture.name + form.ending
    with rc_context(STYLE):
        letter(figure, form, picture.title, picture.caption.partition("From ")[0], said)
    words = ". ".join(filter(None, [said.mark, picture.title, picture.alt, said.source]))
    yield f"{name}.svg", svg_file_of(figure, name, words, form.width_px)
    yield f"{name}.png", png_file_of(figure, form.width_px)


def _description(pictures: Sequence[Picture], said: Said) -> str:
    head = "\n".join(filter(None, [_FIRST_LINE, said.mark, said.sentence, said.source]))
    each = (f"{p.name}\n{p.title}\n{p.alt}\n{p.caption}" for p in pictures)
    return "\n\n".join([head, *each]) + "\n"
