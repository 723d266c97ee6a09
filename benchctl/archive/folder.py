"""The run folder: its name, the places in it, and how files are written into it."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

from benchctl.archive.files import PART, disk_errors, sync_folder, write_whole
from benchctl.clock import Clock
from benchctl.errors import ArchiveError, UsageError, quote

INPUTS = "inputs"
DRIVERS = "drivers"  # in inputs/
CAPTURES = "captures"
CAPTURE_SUFFIX = ".npz"
PHOTOS = "photos"
PHOTO_SUFFIX = ".jpg"

# Two slugs, a date and a capture's name still fit in the 260 characters of a Windows path.
_LONGEST_SLUG = 48


@dataclass(frozen=True)
class RunFolder:
    """Everything that one run writes."""

    path: Path

    @classmethod
    def create(cls, root: Path, title: str, amplifier: str, clock: Clock) -> RunFolder:
        """Make `YYYYMMDD-HHMMSS-<title>-<amplifier>` (UTC) in `root`; a taken name gets -2, -3 and so on.

        Raises:
            ArchiveError: it cannot be made there.
        """
        stem = f"{clock.wall():%Y%m%d-%H%M%S}-{slug(title)}-{slug(amplifier)}"
        with disk_errors("create", root / stem):
            root.mkdir(parents=True, exist_ok=True)
            folder = cls(_first_free(root, stem))
            (folder.inputs / DRIVERS).mkdir(parents=True)
            folder.captures.mkdir()
            sync_folder(root)
        return folder

    @classmethod
    def open(cls, path: Path) -> RunFolder:
        """An existing run folder.

        Raises:
            UsageError: there is none at `path`.
        """
        folder = cls(path)
        if not folder.journal.is_file():
            raise UsageError(
                f"{path} is not a run folder: it holds no journal.jsonl",
                advice="Name a folder that benchctl run made, such as one in runs/.",
            )
        return folder

    @property
    def name(self) -> str:
        return self.path.name

    @property
    def inputs(self) -> Path:
        return self.path / INPUTS

    def kept_input(self, name: str) -> Path:
        """A file that the run kept as it was used.

        Raises:
            ArchiveError: it is not there.
        """
        file = self.inputs / name
        if not file.is_file():
            raise ArchiveError(
                f"{self.path} is not a whole run folder: it holds no {INPUTS}/{name}",
                advice="Take the folder as benchctl run left it, with all that is in it.",
            )
        return file

    @property
    def kept_drivers(self) -> dict[str, Path]:
        """Role -> driver file, as the run kept them; empty in a folder of an earlier version, which kept none."""
        return {path.stem: path for path in sorted((self.inputs / DRIVERS).glob("*.yaml"))}

    @property
    def captures(self) -> Path:
        return self.path / CAPTURES

    @property
    def journal(self) -> Path:
        return self.path / "journal.jsonl"

    @property
    def photos(self) -> Path:
        """Photographs of notes; there only where a note has one."""
        return self.path / PHOTOS

    @property
    def figures(self) -> Path:
        return self.path / "figures.csv"

    @property
    def trend(self) -> Path:
        return self.path / "trend.csv"

    @property
    def guardian(self) -> Path:
        """What the guardian of a real run did, if it had to do anything."""
        return self.path / "guardian.jsonl"

    @property
    def traffic(self) -> Path:
        """All that was said to the instruments, where the run was recorded."""
        return self.path / "traffic.jsonl.gz"

    @property
    def report(self) -> Path:
        return self.path / "report.html"

    @property
    def report_with_owner(self) -> Path:
        """The page that names the owner, which is not for everybody."""
        return self.path / "report-with-owner.html"

    @property
    def sheet(self) -> Path:
        """The owner's sheet; it names the owner."""
        return self.path / "sheet.html"

    @property
    def is_closed(self) -> bool:
        """Whether tables and trend have their final names, as at the end of a run."""
        return self.figures.is_file() and not self.is_cut_off

    @property
    def is_cut_off(self) -> bool:
        """Whether the run was killed or is still running: its trend does not have its final name."""
        unfinished = self.trend.with_name(self.trend.name + PART)
        return unfinished.exists() or not self.trend.is_file()

    def save_input(self, name: str, content: str | bytes) -> Path:
        """Keep a document or a picture as it was used, under inputs/."""
        return self.write_atomically(f"{INPUTS}/{name}", content)

    def write_atomically(self, name: str, content: str | bytes) -> Path:
        """Write a file of this folder, either completely or not at all.

        Args:
            name: the file's name relative to this folder, with forward slashes.
            content: text is stored as UTF-8 with its line ends as they are.

        Raises:
            ArchiveError: it cannot be written, or `name` leads out of the folder.
        """
        path = self.inside(name)
        write_whole(path, content.encode("utf-8") if isinstance(content, str) else content)
        return path

    def inside(self, name: str) -> Path:
        """The path of a file of this folder; a name in a journal must not lead to a file elsewhere.

        Raises:
            ArchiveError: `name` leads out of the folder.
        """
        path = self.path / name
        try:
            is_inside = path.resolve().is_relative_to(self.path.resolve())
        except (OSError, RuntimeError, ValueError) as error:  # a null byte, links in a circle, a name that is too long
            raise ArchiveError(f"{quote(name)} is not a file name: {error}") from error
        if not is_inside:
            raise ArchiveError(f"{quote(name)} leads out of the run folder {self.path}")
        return path

    def capture_files(self) -> list[str]:
        """The whole captures in this folder, as 'captures/0007-burst.npz', by number."""
        with disk_errors("read", self.captures):
            return sorted(f"{CAPTURES}/{path.name}" for path in self.captures.glob(f"*{CAPTURE_SUFFIX}"))

    def next_capture_file(self, name: str) -> str:
        """The relative name of the next capture: one number above the highest there is."""
        taken = [int(match[1]) for file in self.capture_files() if (match := re.match(rf"{CAPTURES}/(\d+)-", file))]
        return f"{CAPTURES}/{max(taken, default=0) + 1:04d}-{slug(name)}{CAPTURE_SUFFIX}"

    def photo_files(self) -> list[str]:
        """The whole photographs in this folder, as 'photos/0001.jpg', by number."""
        with disk_errors("read", self.photos):
            return sorted(f"{PHOTOS}/{path.name}" for path in self.photos.glob(f"*{PHOTO_SUFFIX}"))

    def next_photo_file(self) -> str:
        """The relative name of the next photograph: one number above the highest there is."""
        taken = [int(match[1]) for file in self.photo_files() if (match := re.match(rf"{PHOTOS}/(\d+)\.", file))]
        return f"{PHOTOS}/{max(taken, default=0) + 1:04d}{PHOTO_SUFFIX}"


def made_at(name: str) -> datetime | None:
    """When a run folder of this name was made; None of a name that does not begin with a date and a time."""
    made = re.match(r"(\d{4})(\d\d)(\d\d)-(\d\d)(\d\d)(\d\d)-", name, re.ASCII)
    if made is None:
        return None
    year, month, day, hour, minute, second = map(int, made.groups())
    try:
        return datetime(year, month, day, hour, minute, second, tzinfo=UTC)
    except ValueError:  # digits that are no date
        return None


def slug(text: str) -> str:
    """`text` as a part of a file name: letters and digits in lower case, accents taken off, the rest as hyphens."""
    bare = "".join(part for part in unicodedata.normalize("NFKD", text) if not unicodedata.combining(part))
    return re.sub(r"[\W_]+", "-", bare.lower())[:_LONGEST_SLUG].strip("-") or "untitled"


def _first_free(root: Path, stem: str) -> Path:
    for number in count(1):
        path = root / (stem if number == 1 else f"{stem}-{number}")
        try:
            path.mkdir()
        except FileExistsError:
            continue
        return path
    raise AssertionError("count() does not end")
