"""From a session folder or a facts file to what the archive keeps of it."""

from __future__ import annotations

from pathlib import Path

from probe.archive.documents import Package
from probe.errors import BadInput
from probe.facts import analyse_session, read_facts, to_json
from probe.facts.beside import facts_beside
from probe.formats.text import shown_path
from probe.report import render_html
from probe.session.read import read_session

Files = list[tuple[str, Path]]


def check_source(path: Path) -> None:
    """Read a session's description or a facts file without keeping anything.

    Raises
    ------
    BadInput
        It cannot be read.
    """
    if not path.exists():
        raise BadInput(
            f"{shown_path(path)}: there is no such file or folder; give a session folder, its "
            "session.toml, a facts.json or a report.html"
        )
    if path.is_dir() or path.suffix == ".toml":
        read_session(path)
    else:
        read_facts(path)


def package_of(path: Path, *, note: str = "", takes: bool = True) -> tuple[Package, Files]:
    """Return what is kept of a session folder, a session.toml or a facts file.

    A session that was analysed by this version already is not analysed again.

    Parameters
    ----------
    path
        What to keep.
    note
        A sentence to go with it.
    takes
        False leaves session.toml and the recordings out.

    Raises
    ------
    BadInput
        It cannot be read.
    """
    if not path.is_dir() and path.suffix != ".toml":
        facts = read_facts(path)
        return Package(to_json(facts), render_html(facts), note), []
    session = read_session(path)
    found = facts_beside(session) or analyse_session(path)
    files: Files = []
    if takes:
        named = {take.file: take.path for take in session.takes}
        files = [("session.toml", session.toml_path), *sorted(named.items())]
    return Package(to_json(found), render_html(found), note), files
