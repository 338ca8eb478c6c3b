"""What stands for a measured device on the command line, as facts."""

from __future__ import annotations

from pathlib import Path

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any


def facts_of(named: str | Path) -> dict[str, Any]:
    """Return the facts of a facts file, or of a session after analysing it.

    Every command that takes a measured device takes it through here, so that all of them
    understand the same names.

    Raises
    ------
    BadInput
        Nothing of the kind is there, or it cannot be used.
    """
    path = Path(named)
    if path.is_dir() or path.suffix == ".toml":
        from probe.facts import analyse_session

        return analyse_session(path)
    from probe.facts import read_facts

    return read_facts(path)


def sources_of(facts: dict[str, Any]) -> dict[str, Any]:
    """Return the identified stage of every side of ``facts`` that has one."""
    from probe.facts import source_from_facts

    sources = {side: source_from_facts(facts, side) for side in facts["sides"]}
    return {side: source for side, source in sources.items() if source is not None}
