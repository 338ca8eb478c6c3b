"""Entries from one archive to another: export, import from another shop, saving a damaged one."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from probe.archive import store
from probe.archive.documents import KeptFile, Package, key_of, parsed
from probe.archive.errors import REMEDY
from probe.archive.keep import Archive
from probe.errors import BadInput
from probe.formats.text import shown_path


@dataclass(frozen=True)
class Exchanged:
    """What became of the entries."""

    added: int
    known: int
    left_out: tuple[str, ...]


def export(
    archive: Archive,
    numbers: Sequence[int],
    target: Path,
    progress: Callable[[int, int, str], None] | None = None,
) -> Exchanged:
    """Write entries into a new archive; it appears when it is whole.

    Raises
    ------
    BadInput
        Something is there already, or it cannot be written.
    """
    if target.exists() or store.folder_of(target).exists():
        raise BadInput(f"{shown_path(target)}: is there already; choose another name")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(prefix=".probe-", dir=target.parent))
    except OSError as error:
        raise BadInput(f"{shown_path(target)}: cannot be made ({error.strerror})") from error
    try:
        with Archive.open(aside / target.name, create=True) as made:
            done = _copy(archive, numbers, made, progress)
        files = store.folder_of(aside / target.name)
        if files.exists():
            files.replace(store.folder_of(target))
        (aside / target.name).replace(target)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return done


def import_from(
    other: Path,
    archive: Archive,
    progress: Callable[[int, int, str], None] | None = None,
) -> Exchanged:
    """Add what another archive holds; the other one is only read, and may be damaged.

    What is there already stays as it is. What cannot be read, or is not what was stored, is left
    out and named; everything else is added.
    """
    with Archive.open(other, writable=False) as given:
        if given.path.resolve() == archive.path.resolve():
            raise BadInput(f"{shown_path(other)}: is the archive itself")
        return _copy(given, given.numbers(), archive, progress)


def _copy(
    source: Archive,
    numbers: Sequence[int],
    target: Archive,
    progress: Callable[[int, int, str], None] | None,
) -> Exchanged:
    added, known, left_out = 0, 0, []
    for at, number in enumerate(numbers):
        if progress is not None:
            progress(at, len(numbers), f"entry {number}")
        try:
            found = source.package(number)
        except BadInput as wrong:
            left_out.append(_without_remedy(str(wrong), number))
            continue
        if found is None:
            continue
        package, files = found
        missing = [f.name for f in files if not store.place_of(source.files, f.sha256).is_file()]
        whole = [f for f in files if f.name not in missing]
        if missing:
            left_out.append(f"entry {number}: added without {len(missing)} missing files")
        new = _add(source, target, package, whole, left_out, number)
        added, known = added + new, known + (not new)
    return Exchanged(added, known, tuple(left_out))


def _without_remedy(said: str, number: int) -> str:
    """Return why an entry is left out, without advising what is being done already."""
    if not said.endswith(REMEDY):
        return said
    return f"entry {number}: cannot be read any more, its part of the file is damaged"


def _add(
    source: Archive,
    target: Archive,
    package: Package,
    files: Sequence[KeptFile],
    left_out: list[str],
    number: int,
) -> bool:
    """Add one package with those of its files that are still what they were."""
    if target.known(key_of(parsed(package.facts, "facts"))) is not None:
        return False
    sound = []
    for file in files:
        place = store.place_of(source.files, file.sha256)
        if store.sha256_of(place)[0] == file.sha256:
            sound.append((file.name, place))
        else:
            left_out.append(f"entry {number}: a file is damaged and was left out")
    return target.add(package, sound)[1]


def complaints(archive: Archive) -> list[str]:
    """Return everything wrong with an archive: its file, its documents, its files."""
    found = archive.damage()
    wanted: set[str] = set()
    for number in archive.numbers():
        try:
            entry = archive.package(number)
        except BadInput as wrong:
            found.append(_without_remedy(str(wrong), number))
            continue
        for file in [] if entry is None else entry[1]:
            wanted.add(file.sha256)
            place = store.place_of(archive.files, file.sha256)
            if not place.is_file():
                found.append(f"entry {number}: {file.name} is missing")
            elif store.sha256_of(place)[0] != file.sha256:
                found.append(f"entry {number}: {file.name} is damaged")
    return found
