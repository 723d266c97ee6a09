"""`python -m benchctl` is the command `benchctl`."""

from __future__ import annotations

from benchctl.cli.main import main

if __name__ == "__main__":
    main()
