"""Files beside the archive, by their content: the takes of a session, each kept once.

A file is copied under a passing name, written through to the disk, and only then given its name
of content; the archive's entry is made after that. Whatever stops the program in between leaves
at most a copy that nothing refers to, never an entry without its file.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import uuid
from pathlib import Path

from probe.errors import BadInput
from probe.formats.text import shown_path

BLOCK = 1 << 20
PASSING = "passing-"


def folder_of(archive: Path) -> Path:
    """Return the folder of files that belongs to an archive file."""
    return archive.with_name(f"{archive.name}.files")


def place_of(folder: Path, sha256: str) -> Path:
    """Return where the content of this hash lies."""
    return folder / sha256[:2] / sha256[2:]


def sha256_of(path: Path) -> tuple[str, int]:
    """Return hash and size of a file."""
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            digest.update(block)
            size += len(block)
    return digest.hexdigest(), size


def copy_aside(source: Path, folder: Path) -> tuple[Path, str, int]:
    """Copy a file into the folder under a passing name; return it with hash and size.

    Raises
    ------
    BadInput
        The source is not an ordinary file.
    """
    if not source.is_file():
        raise BadInput(f"{shown_path(source)}: is not an ordinary file")
    folder.mkdir(parents=True, exist_ok=True)
    aside = folder / f"{PASSING}{uuid.uuid4().hex}"
    digest, size = hashlib.sha256(), 0
    try:
        with source.open("rb") as given, aside.open("xb") as kept:
            while block := given.read(BLOCK):
                digest.update(block)
                size += len(block)
                kept.write(block)
            kept.flush()
            os.fsync(kept.fileno())
    except BaseException:
        aside.unlink(missing_ok=True)
        raise
    return aside, digest.hexdigest(), size


def settle(aside: Path, folder: Path, sha256: str) -> None:
    """Give a copied file its name of content; one that is there already is kept."""
    place = place_of(folder, sha256)
    if place.exists():
        aside.unlink()
        return
    place.parent.mkdir(exist_ok=True)
    aside.replace(place)


def discard(folder: Path, sha256: str) -> None:
    """Remove a content that nothing refers to any more."""
    place = place_of(folder, sha256)
    place.unlink(missing_ok=True)
    if place.parent.is_dir() and not any(place.parent.iterdir()):
        place.parent.rmdir()


def restore(folder: Path, sha256: str, target: Path) -> None:
    """Copy a content to ``target`` after checking that it is still what it was.

    Raises
    ------
    BadInput
        The content is missing or damaged.
    """
    place = place_of(folder, sha256)
    if not place.is_file():
        raise BadInput(f"{shown_path(place)}: is missing; the entry's figures are still there")
    if sha256_of(place)[0] != sha256:
        raise BadInput(f"{shown_path(place)}: is damaged; the entry's figures are still there")
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(place, target)
