"""What stands for a measured device on a command line: one mechanism for every command.

A *source* is a session folder or its session.toml (analysed on the spot), a facts.json, or
``archive:ENTRY``, where ENTRY is a number or words that find exactly one entry.
"""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

ARCHIVE = "archive:"

SOURCE_HELP = "session folder, its session.toml, a facts.json, or archive:ENTRY"


def add_archive(parser: argparse.ArgumentParser) -> None:
    """Declare which archive ``archive:ENTRY`` is looked up in."""
    parser.add_argument(
        "--archive",
        metavar="FILE",
        help="archive that archive:ENTRY means (default: the user's own)",
    )


def facts_of(
    source: str | Path, archive: str | None = None, allowed: str = SOURCE_HELP
) -> dict[str, Any]:
    """Return the facts a source stands for; a session is analysed.

    Every command that takes a measured device takes it through here, so that all of them
    understand the same names. ``allowed`` is what a command takes, said where nothing is there.

    Raises
    ------
    BadInput
        As reading the session, the facts file or the archive does.
    """
    from pathlib import Path

    if isinstance(source, str) and source.startswith(ARCHIVE):
        from probe.archive.keep import Archive

        with Archive.open(archive_path(archive), writable=False) as kept:
            return kept.facts(kept.find(source.removeprefix(ARCHIVE)).id)
    path = Path(source)
    if not path.exists():
        from probe.errors import BadInput
        from probe.formats.text import shown_path

        raise BadInput(f"{shown_path(path)}: there is no such file or folder; give a {allowed}")
    if path.is_dir() or path.suffix == ".toml":
        from probe.facts import analyse_session

        return analyse_session(path)
    from probe.facts import read_facts

    return read_facts(path)


def archive_path(given: str | None) -> Path:
    """Return the archive's file: the one named, or the user's own."""
    from pathlib import Path

    from probe.errors import BadInput

    if given == "":
        raise BadInput("--archive: is empty; name a file, or leave --archive away")
    if given is not None:
        return Path(given)
    from probe.archive.place import default_place

    return default_place()


def with_side(facts: dict[str, Any], side: str | None) -> dict[str, Any]:
    """Return the facts as they are, after making sure that the side asked for is in them."""
    from probe.errors import BadInput

    if side is not None and side not in facts["sides"]:
        there = ", ".join(facts["sides"]) or "none"
        raise BadInput(f"--side {side}: not measured; there is {there}")
    return facts


def sources_of(facts: dict[str, Any]) -> dict[str, Any]:
    """Return the identified stage of every side of ``facts`` that has one."""
    from probe.facts import source_from_facts

    sources = {side: source_from_facts(facts, side) for side in facts["sides"]}
    return {side: source for side, source in sources.items() if source is not None}
