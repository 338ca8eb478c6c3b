"""The circuits that come with the program, one TOML file each in ``circuits/``."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import as_file, files

from probe.errors import BadInput
from probe.formats.text import nearest
from probe.formats.toml import read_toml
from probe.simulate.netlist import CircuitFile

_FOLDER = files("probe.simulate") / "circuits"


def names() -> tuple[str, ...]:
    """Return the names of all circuits, sorted."""
    found = (entry.name for entry in _FOLDER.iterdir())
    return tuple(sorted(n.removesuffix(".toml") for n in found if n.endswith(".toml")))


@lru_cache(maxsize=64)
def load(name: str) -> CircuitFile:
    """Return one circuit of the library.

    Raises
    ------
    BadInput
        There is no circuit of that name.
    """
    known = names()
    if name not in known:
        close = nearest(name, known)
        hint = f'did you mean "{close}"? ' if close else ""
        raise BadInput(
            f'circuit = "{name}": there is no such circuit; '
            f'{hint}"probe simulate --list" lists them all'
        )
    with as_file(_FOLDER / f"{name}.toml") as path:
        return read_toml(path, CircuitFile, format_word="probe-circuit/1")


def listing() -> str:
    """Return every circuit with its kind and a sentence, as lines of text."""
    lines = []
    for name in names():
        circuit = load(name)
        what = circuit.kind + (f", {', '.join(circuit.faults)}" if circuit.faults else "")
        lines.append(f"{name}\n    [{what}] {circuit.describes}")
    return "\n".join(lines)
