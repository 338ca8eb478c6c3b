"""Drafting: look through, listen, reason, write; an existing session is never touched."""

from __future__ import annotations

import os
from pathlib import Path

from probe.bench.draft.files import look_through
from probe.bench.draft.hear import Told, hear
from probe.bench.draft.reason import reason
from probe.bench.draft.text import Questions, Said, draft_text
from probe.errors import BadInput
from probe.formats.text import shown_path

NAME = "session.toml"


def draft(
    folder: Path, said: Said, *, hot: int | None = None, told: Told | None = None
) -> tuple[str, Questions]:
    """Return the drafted text of session.toml and the questions it leaves.

    Raises
    ------
    BadInput
        No folder, or no recording in it that can be used.
    """
    found = look_through(folder)
    ohms = {place: part.ohm for place, part in said.loads.items()}
    return draft_text(reason(hear(folder, found, told), hot, ohms), found, said)


def check_free(folder: Path) -> None:
    """Refuse where a session.toml is already there."""
    place = folder / NAME
    if place.exists() or place.is_symlink():
        raise BadInput(
            f"{shown_path(place)}: is there already and is never written over; move it away, or "
            "print the draft with --print"
        )


def write_draft(text: str, folder: Path) -> Path:
    """Write the draft; whatever came to be there meanwhile stays.

    Raises
    ------
    BadInput
        A session.toml is there, or the folder cannot be written to.
    """
    place = folder / NAME
    aside = folder / f".{NAME}.{os.getpid()}"
    try:
        aside.write_text(text, encoding="utf-8", newline="\n")
        try:
            os.link(aside, place)  # fails where something is there, unlike a replacement
        except FileExistsError:
            check_free(folder)
        except OSError:  # a file system without links: the least that can be done
            check_free(folder)
            aside.replace(place)
    except OSError as error:
        raise BadInput(
            f"{shown_path(folder)}: cannot be written to: {error.strerror or error}"
        ) from error
    finally:
        aside.unlink(missing_ok=True)
    return place
