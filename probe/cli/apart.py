"""No file that a command reads is written over by it, and no two outputs are one file.

One place for every command, asked before anything is done: `COMMANDS` says which arguments name
what is read and what is written.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator

    from probe.errors import BadInput


@dataclass(frozen=True)
class Files:
    """What the arguments of one command name.

    ``measured``: a session, facts or an archive's entry; of a session every recording is read.
    ``read`` and ``written``: files. ``into``: folders, with the names of the files written there
    (``beside``: where no folder is given, the session's own). ``below``: folders of sessions.
    """

    measured: tuple[str, ...] = ()
    read: tuple[str, ...] = ()
    written: tuple[str, ...] = ()
    into: dict[str, tuple[str, ...]] = field(default_factory=dict)
    beside: str = ""
    below: str = ""
    archive: bool = False


RESULTS = ("facts.json", "report.html")

COMMANDS = {
    "analyse": Files(
        ("session",),
        into={"out": RESULTS, "csv": ("facts.csv", "curves.csv")},
        beside="out",
    ),
    "advise": Files(("subject",), ("destination", "to", "shelf", "transformer"), ("html", "page")),
    "figures": Files(("source",), into={"out": ("captions.txt", "methods.txt", "*")}),
    "shelf": Files(),
    "compare": Files(("sources",), written=("html",)),
    "batch": Files(below="folders", written=("csv",), into={"out": RESULTS}, beside="out"),
    "archive": Files(("sources",), ("other",), ("html", "facts", "report", "target"), archive=True),
    "verify": Files(("source", "before"), ("specification",), ("html",)),
    "measure": Files(
        read=("kit", "bench", "answers", "virtual"),
        into={"folder": ("session.toml", "guide.json", "follow.html")},
    ),
    "kit": Files(),
    "devices": Files(),
    "simulate": Files(),
    "calibrate": Files(read=("kit",), written=("out",)),
    "check": Files(),
    "draft": Files(),
    "takes": Files(read=("kit",), written=("out",)),
    "tones": Files(),
}
"""Those without an entry write nothing that was named, or into a new folder or file only."""


Key = tuple[int, int] | str


@dataclass(frozen=True)
class Named:
    """A file, and how it came to be named."""

    path: Path
    how: str
    what: str = "is read by this command"


def check_apart(command: str, args: argparse.Namespace) -> None:
    """Refuse an output that is a file the command reads, or that is another output as well.

    Raises
    ------
    BadInput
        There is one.
    """
    files = COMMANDS.get(command)
    if files is None:  # a command that is added by whoever imports this one
        return
    taken: dict[Key, Named] = {}
    for one in _written(files, args):
        key = _key(one.path)
        if key in taken:
            raise _refused(one, f"is where {taken[key].how or 'a result'} is written, too")
        if key is not None:
            taken[key] = one
    if not taken:
        return
    for read in _read(files, args):
        key = _key(read.path)
        if key in taken:
            raise _refused(taken[key], f"{read.what}, and would be lost")


def _refused(one: Named, why: str) -> BadInput:
    from probe.errors import BadInput
    from probe.formats.text import shown_path

    head = f"{one.how}: " if one.how else ""
    return BadInput(f"{head}{shown_path(one.path)} {why}; nothing was done, choose another name")


def _written(files: Files, args: argparse.Namespace) -> Iterator[Named]:
    for key in files.written:
        for text in _texts(args, key):
            yield Named(Path(text), "" if key == "target" else f"--{key}")
    for key, names in files.into.items():
        for folder, how in _folders(files, args, key):
            for name in names:
                yield from (
                    (Named(folder / n, how) for n in _figure_names()) if name == "*"
                    else [Named(folder / name, how)]
                )  # fmt: skip


def _folders(files: Files, args: argparse.Namespace, key: str) -> Iterator[tuple[Path, str]]:
    """Return the folders that results go to, with what named them."""
    given = _texts(args, key)
    if key == files.beside and getattr(args, "json", False):
        return
    if files.below:
        from probe.cli.batch import targets

        sessions = _below(files, args)
        places = targets(sessions, given[0] if given else None)
        yield from ((places.get(s, s), f"--{key}" if given else "") for s in sessions)
    elif given:
        yield Path(given[0]), "" if key == "folder" else f"--{key}"
    elif key == files.beside:
        for text in _texts(args, files.measured[0]):
            yield (Path(text) if os.path.isdir(text) else Path(text).parent), ""  # noqa: PTH112


def _figure_names() -> Iterator[str]:
    from probe.figures import FIGURES, FORMATS

    sides = ("left", "right", "mono")
    yield from (f"{name}-{s}.{kind}" for name in FIGURES for s in sides for kind in FORMATS)


def _read(files: Files, args: argparse.Namespace) -> Iterator[Named]:
    sources = [text for key in files.measured for text in _texts(args, key)]
    for text in sources:
        if not text.startswith("archive:"):
            yield from _of_source(Path(text))
    for key in files.read:
        for text in _texts(args, key):
            yield Named(Path(text), key)
            if key in ("destination", "to"):
                yield from _at_hand(Path(text))
    for folder in _below(files, args):
        yield from _of_source(folder)
    if files.archive or any(text.startswith("archive:") for text in sources):
        from probe.cli.source import archive_path

        place = archive_path(getattr(args, "archive", None))
        yield Named(place, "archive", "is the archive")


def _below(files: Files, args: argparse.Namespace) -> list[Path]:
    from probe.batch.batch import find_sessions
    from probe.errors import BadInput

    if not files.below:
        return []
    try:
        return find_sessions([Path(text) for text in _texts(args, files.below)])
    except BadInput:  # said by the command itself
        return []


def _of_source(path: Path) -> Iterator[Named]:
    """Return the file that stands for a device; of a session its description and recordings."""
    toml = path / "session.toml" if os.path.isdir(path) else path  # noqa: PTH112
    yield Named(toml, "source")
    if toml.suffix.lower() != ".toml":
        return
    takes = _tables(toml).get("take")
    for take in takes if isinstance(takes, list) else []:
        file = take.get("file") if isinstance(take, dict) else None
        if isinstance(file, str) and "\0" not in file:
            yield Named(toml.parent / file, "take", "is a recording of the session")


def _at_hand(path: Path) -> Iterator[Named]:
    """Return the file of a transformer that a destination file names."""
    parts = _tables(path).get("parts")
    named = parts.get("transformer") if isinstance(parts, dict) else None
    if isinstance(named, str) and named.endswith(".toml"):
        yield Named(path.parent / named, "transformer")


def _tables(path: Path) -> dict[str, object]:
    """Return what a file of TOML holds; nothing where it cannot be read, which is said later."""
    import tomllib

    from probe.errors import BadInput
    from probe.formats.toml import read_bytes

    try:
        return tomllib.loads(read_bytes(path).decode("utf-8"))
    except (BadInput, OSError, ValueError, RecursionError):
        return {}


def _texts(args: argparse.Namespace, key: str) -> list[str]:
    value = getattr(args, key, None)
    found = value if isinstance(value, list) else [value]
    return [one for one in found if isinstance(one, str) and one and "\0" not in one]


def _key(path: Path) -> Key | None:
    """Return what two names of one file have in common, by links and where case does not count.

    None: nobody's file, such as a terminal or a pipe, which only passes on what is written.
    """
    try:
        if path.exists():
            status = path.stat()
            return (status.st_dev, status.st_ino) if path.is_file() else None
        place = path.resolve()
        return str(place).casefold() if _knows_no_case(place.parent) else str(place)
    except (OSError, RuntimeError, ValueError):  # too long, a ring of links: said later
        return None


def _knows_no_case(folder: Path) -> bool:
    swapped = Path(str(folder).swapcase())
    return swapped != folder and swapped.exists() and swapped.samefile(folder)
