"""The folder of a site, and which files in it were made here: only those are written over or removed."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from pydantic import TypeAdapter, ValidationError

from benchctl.archive.files import PART, disk_errors, read_bytes, write_whole
from benchctl.errors import ArchiveError, UsageError

MANIFEST = "benchctl-site.json"
_FORM = 1
# So many files are written before the list of them is: a publication that is stopped goes on near there.
_BETWEEN_SAVES = 20


class Made(NamedTuple):
    """A file that was made here: the hash of its content, and of all that it was made from where that is known. Both
    are empty of one that was begun and perhaps never written."""

    content: str = ""
    source: str = ""


@dataclass
class SiteFolder:
    """A folder to publish. `made`: the files that it has from here; `left`: those that are not removed, since somebody
    has changed them."""

    path: Path
    made: dict[str, Made] = field(default_factory=dict)
    left: list[str] = field(default_factory=list)
    written: int = 0
    removed: int = 0

    @classmethod
    def open(cls, path: Path, runs: Path) -> SiteFolder:
        """A new or empty folder, or one that an earlier publication has left.

        Raises:
            UsageError: it lies in the folder of runs or around it, or holds something that was not made here.
            ArchiveError: its list of files cannot be read.
        """
        _refuse_beside_runs(path, runs)
        if not path.exists() or (path.is_dir() and not any(path.iterdir())):
            return cls(path)
        if not path.is_dir() or not (path / MANIFEST).is_file():
            raise UsageError(
                f"{path} is there already and is no site that benchctl made, so nothing is written into it",
                advice="Give another folder with --out; it need not exist yet.",
            )
        return cls(path, _read(path / MANIFEST))

    def claim(self, names: Collection[str]) -> None:
        """Note that these files will be made, before any of them is.

        Raises:
            UsageError: one of them is there and was not made here, or would be written elsewhere.
            ArchiveError: the list of files cannot be written.
        """
        foreign = [name for name in sorted(names) if name not in self.made and (self.path / name).exists()]
        if foreign:
            raise UsageError(
                f"{self.path} holds files that benchctl did not make and would write over: {few(foreign)}",
                advice="Move them elsewhere, or give another folder with --out.",
            )
        with disk_errors("create", self.path):
            self.path.mkdir(parents=True, exist_ok=True)
        self.made |= {name: Made() for name in names if name not in self.made}
        self._save()

    def is_current(self, name: str, source: str) -> bool:
        """Whether a file is there and was made from just this."""
        return self.made.get(name, Made()).source == source and (self.path / name).is_file()

    def write(self, name: str, content: bytes, source: str = "") -> None:
        """Make a file that was claimed; one that already has this content is left as it is.

        Raises:
            ArchiveError: it cannot be written, or its folder leads elsewhere.
        """
        path, made = self.path / name, Made(sha256(content).hexdigest(), source)
        is_same = self.made[name].content == made.content and path.is_file() and read_bytes(path) == content
        if not is_same:
            with disk_errors("create", path.parent):
                path.parent.mkdir(parents=True, exist_ok=True)
                if not path.parent.resolve().is_relative_to(self.path.resolve()):
                    raise ArchiveError(f"{path.parent} leads out of {self.path}, so nothing is written there")
            write_whole(path, content)
            self.written += 1
        self.made[name] = made
        if not is_same and self.written % _BETWEEN_SAVES == 0:
            self._save()

    @contextmanager
    def keeping_the_list(self) -> Iterator[None]:
        """However the block ends, the list says what was made in it."""
        try:
            yield
        finally:
            self._save()

    def finish(self, names: Collection[str]) -> None:
        """Remove what was made here earlier and is none of these files.

        Raises:
            ArchiveError: a file cannot be removed, or the list of files cannot be written.
        """
        for name in sorted(set(self.made) - set(names)):
            self._remove(name)
            del self.made[name]
        self._save()

    def _remove(self, name: str) -> None:
        path, made = self.path / name, self.made[name]
        if not path.is_file() or not path.parent.resolve().is_relative_to(self.path.resolve()):
            return
        if made.content and sha256(read_bytes(path)).hexdigest() != made.content:
            self.left.append(name)
            return
        with disk_errors("remove", path):
            path.unlink()
            self.removed += 1
            for folder in path.parents:
                if folder == self.path or any(folder.iterdir()):
                    return
                folder.rmdir()

    def _save(self) -> None:
        files = {name: list(made) for name, made in sorted(self.made.items())}
        lines = ",\n".join(f"{json.dumps(name)}: {json.dumps(made)}" for name, made in files.items())
        text = f'{{"benchctl_site": {_FORM}, "files": {{\n{lines}\n}}}}\n'
        write_whole(self.path / MANIFEST, text.encode("ascii"))

    def foreign(self) -> Iterator[str]:
        """What else is in the folder."""
        for path in sorted(self.path.rglob("*")):
            name = path.relative_to(self.path).as_posix()
            if path.is_file() and name not in self.made and name not in (MANIFEST, MANIFEST + PART):
                yield name


def _read(manifest: Path) -> dict[str, Made]:
    try:
        told = json.loads(read_bytes(manifest))
        made = TypeAdapter(dict[str, Made]).validate_python(told["files"])
    except (ValueError, KeyError, TypeError, ValidationError) as error:
        raise ArchiveError(
            f"{manifest} is not the list of files that benchctl wrote, so it is not known which files of "
            f"{manifest.parent} were made here",
            advice="Give another folder with --out, or remove this one and publish anew.",
        ) from error
    return {name: entry for name, entry in made.items() if _stays_inside(name)}


def _stays_inside(name: str) -> bool:
    """Whether a name of the list may be one of the site's own; one that leads elsewhere is nobody's to remove."""
    return not name.startswith("/") and "\\" not in name and ":" not in name and ".." not in name.split("/")


def _refuse_beside_runs(path: Path, runs: Path) -> None:
    out, own = path.resolve(), runs.resolve()
    if out == own or out.is_relative_to(own):
        raise UsageError(
            f"{path} lies in the folder of runs, {runs}; a site there would stand among what was measured",
            advice="Give a folder elsewhere with --out.",
        )
    if own.is_relative_to(out):
        raise UsageError(
            f"the folder of runs, {runs}, lies in {path}; the runs would be published with the site",
            advice="Give a folder elsewhere with --out.",
        )


def few(names: list[str]) -> str:
    """The first three names, and how many more there are."""
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return ", ".join(names[:3]) + more
