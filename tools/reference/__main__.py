"""Write the pages of docs/reference/."""

from __future__ import annotations

from tools.reference.pages import FOLDER, PAGES

if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, text_of in PAGES.items():
        (FOLDER / name).write_text(text_of(), encoding="utf-8", newline="\n")
