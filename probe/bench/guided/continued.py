"""Whether a session may go on with what is on the table now: the same device, the same figures.

A session file has one device and one bench. Takes of another device or at other figures among
its own would be taken for the same, and no analysis could tell.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from probe.bench.guided.equipment import Equipment
from probe.bench.stored.storage import SessionFolder
from probe.bench.stored.tables import bench_table
from probe.errors import BadInput
from probe.formats.text import quoted, shown_path

SIMULATED = "# SIMULATED"
"""How the comment of a session begins whose device does not exist."""

IDENTITY = (SIMULATED, "# Circuit: ", "# Device: ")
"""Beginnings of the comment lines by which one simulated device is told from another."""

FIGURES = ("input", "output")


def refuse_another(store: SessionFolder, equipment: Equipment) -> None:
    """Refuse to go on with another device, or at other figures, than the session began with.

    Raises
    ------
    BadInput
        What differs, and what to do. Nothing in the folder was changed.
    """
    before, now = _identity(store.head), _identity(equipment.head)
    if before != now:
        raise BadInput(
            f"{shown_path(store.folder)}: this session was begun with {_spoken(before)}, not "
            f"with {_spoken(now)}; go on with what it was begun with, or name a new folder"
        )
    figures = bench_table(equipment.bench)
    if store.bench.get("interface") != figures.get("interface"):
        raise BadInput(
            f"{shown_path(store.folder)}: this session was begun with the interface "
            f"{quoted(str(store.bench.get('interface')))}, not with "
            f"{quoted(str(figures.get('interface')))}; go on with that one, or name a new folder"
        )
    for name in FIGURES:
        if [_plain(one) for one in store.bench.get(name, ())] != figures.get(name, []):
            raise BadInput(
                f"{shown_path(store.folder)}: the figures of the interface's {name}s are not "
                "those this session was begun with, and it can have only one set; go on with the "
                "same number of them and the same bench.toml (--bench FILE), or name a new folder"
            )


def _identity(head: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(line for line in head if line.startswith(IDENTITY))


def _spoken(identity: tuple[str, ...]) -> str:
    """Return which device comment lines speak of."""
    if not identity:
        return "a real device"
    said = [line.split(": ", 1)[1].split(". ")[0].rstrip(".") for line in identity[1:]]
    return f"the simulated device {', '.join(said)}"


def _plain(said: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in said.items() if value is not None}
