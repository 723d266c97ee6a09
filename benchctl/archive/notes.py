"""Notes that a person adds to a run, with photographs: a line of the journal, and files in photos/."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from hashlib import sha256
from pathlib import Path

from benchctl.archive.files import disk_errors, read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import locked
from benchctl.archive.journal.events import BY_A_PERSON, NOTE
from benchctl.archive.journal.journal import Event, Journal, read_journal
from benchctl.clock import RealClock
from benchctl.errors import ArchiveError, UsageError, quote
from benchctl.photograph import MOST_BYTES, as_photograph

# Several pages of text; a report of that length is a file of its own.
LONGEST_TEXT = 10_000


class _AfterTheRun(RealClock):
    """The date of today, at the time at which the run ended: a note takes none of the run's time."""

    def __init__(self, ended_s: float) -> None:
        super().__init__(ended_s)
        self._ended_s = ended_s

    def now(self) -> float:
        return self._ended_s


def add_note(path: Path, text: str, photos: Sequence[Path] = ()) -> Event:
    """Add a note to the run in the folder at `path`; returns the event of its journal.

    Args:
        path: the run folder.
        text: what is to be kept, in Markdown.
        photos: files of photographs; their pixels are kept, and nothing else of them.

    Raises:
        UsageError: there is no run folder, the run still goes on, there is no text, or a photograph cannot be read.
        ArchiveError: the journal was changed, or the folder cannot be written; it is as it was before.
    """
    folder = RunFolder.open(path)
    words = _text(text)
    pictures = [as_photograph(_content(photo), photo.name) for photo in photos]
    with locked(folder) as is_ours:
        if not is_ours:
            raise UsageError(
                f"the run in {folder.path} still goes on, or another program writes into its folder",
                advice="Add the note when the run has ended. In 'benchctl manual', the key n writes a note at once.",
            )
        return _added(folder, words, pictures)


def _text(text: str) -> str:
    """The note without what no terminal should show, and without half characters, which no file can hold.

    Raises:
        UsageError: nothing is written in it, or too much.
    """
    whole = text.encode("utf-8", errors="replace").decode("utf-8").replace("\r\n", "\n")
    words = "".join(each for each in whole if each.isprintable() or each in "\n\t").strip()
    if not any(map(str.isalnum, words)):
        raise UsageError("the note has no text; write what was found or done")
    if len(words) > LONGEST_TEXT:
        raise UsageError(f"the note has {len(words)} characters; at most {LONGEST_TEXT} can be kept in one note")
    return words


def _content(photo: Path) -> bytes:
    try:
        return read_bytes(photo, MOST_BYTES + 1)
    except ArchiveError as error:
        raise UsageError(error.message, advice="No note was added.") from error


def _added(folder: RunFolder, text: str, pictures: Sequence[bytes]) -> Event:
    """Photographs first and the journal's line last: what no line names was never kept."""
    events = read_journal(folder.journal).unbroken().events
    ended_s = float(events[-1]["time_s"]) if events else 0.0
    with _no_traces_of_failure(folder) as undo:
        photos = [_kept(folder, picture, undo) for picture in pictures]
        journal = Journal(folder.journal, _AfterTheRun(ended_s))
        undo.callback(journal.close)
        event = journal.append(NOTE, text=text, written_by=BY_A_PERSON, photos=photos)
        journal.close()
    return event


def _kept(folder: RunFolder, picture: bytes, undo: ExitStack) -> Mapping[str, str]:
    with disk_errors("write", folder.photos):
        if not folder.photos.exists():
            folder.photos.mkdir()
            undo.callback(_take_away, folder.photos.rmdir)
    name = folder.next_photo_file()
    undo.callback(_take_away, folder.inside(name).unlink)
    folder.write_atomically(name, picture)
    return {"file": name, "sha256": sha256(picture).hexdigest()}


@contextmanager
def _no_traces_of_failure(folder: RunFolder) -> Iterator[ExitStack]:
    """Take back what the block has written, if it fails: its stack, and whatever was added to the journal."""
    with disk_errors("read", folder.journal):
        length = folder.journal.stat().st_size
    with ExitStack() as undo:
        undo.callback(_shorten, folder.journal, length)
        try:
            yield undo
        except ArchiveError as error:
            raise ArchiveError(
                error.message, advice=f"No note was added; {quote(folder.name)} is as it was. Then add it again."
            ) from error
        undo.pop_all()


def _shorten(journal: Path, length: int) -> None:
    with suppress(OSError):  # a piece of a line that is left is no event: the next writer tells of it
        os.truncate(journal, length)


def _take_away(remove: Callable[[], None]) -> None:
    with suppress(OSError):  # it was never written, or is not ours
        remove()
