"""Files that every user of the computer can open, and that nobody can turn against another."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchctl.guard.shared_folder import is_still_there, open_shared, shared_folder


@contextmanager
def umask(mask: int) -> Iterator[None]:
    before = os.umask(mask)
    try:
        yield
    finally:
        os.umask(before)


def test_a_file_and_its_folder_are_open_to_every_user_whatever_the_umask(tmp_path: Path) -> None:
    path = tmp_path / "shared" / "file"
    with umask(0o077), open_shared(path):
        pass
    assert stat.S_IMODE(path.stat().st_mode) == 0o666
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o1777


def test_a_file_that_is_there_is_opened_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"what it holds")
    with open_shared(tmp_path / "file") as file:
        assert file.read() == b"what it holds"


def test_no_users_settings_change_the_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    before = shared_folder()
    for name in ("HOME", "TMPDIR", "TMP", "TEMP", "XDG_STATE_HOME", "XDG_RUNTIME_DIR"):
        monkeypatch.setenv(name, str(tmp_path))
    assert shared_folder() == before


def test_links_that_others_have_left_are_not_followed(tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.write_text("precious")
    (tmp_path / "soft").symlink_to(victim)
    (tmp_path / "hard").hardlink_to(victim)
    (tmp_path / "folder").symlink_to(tmp_path)
    for planted in ("soft", "hard", "folder/victim"):
        with pytest.raises(OSError, match=r"Too many levels|something else|Not a directory"):
            open_shared(tmp_path / planted)
    assert victim.read_text() == "precious"


def test_a_pipe_or_a_folder_in_the_place_of_a_file_is_refused_without_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    for planted in ("pipe", "folder"):
        with pytest.raises(OSError, match=r"something else|Is a directory"):
            open_shared(tmp_path / planted)


def test_a_file_that_was_removed_and_made_anew_is_another(tmp_path: Path) -> None:
    path = tmp_path / "file"
    with open_shared(path) as old:
        assert is_still_there(path, old)
        path.unlink()
        assert not is_still_there(path, old)
        with open_shared(path) as new:
            assert is_still_there(path, new)
            assert not is_still_there(path, old)
