"""Where the archive lies when nobody says otherwise."""

from __future__ import annotations

from pathlib import Path


def default_place() -> Path:
    """Return the user's own archive file, where each system wants such data to lie."""
    import platformdirs

    return Path(platformdirs.user_data_dir("probe", appauthor=False)) / "archive.sqlite"
