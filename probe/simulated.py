"""Whether a measurement is one: the one place that tells simulated sessions from real ones.

A simulated session names its recorder as simulated; the name stands in ``made.bench.interface`` of
the facts. Everything that shows measured devices asks here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

SIMULATED = "calculated from a circuit, nothing was measured on a real device"


def is_simulated(made: object) -> bool:
    """Return whether ``made`` of a facts document tells of a simulated session."""
    bench = made.get("bench") if isinstance(made, Mapping) else None
    interface = bench.get("interface") if isinstance(bench, Mapping) else None
    return "simulated" in str(interface or "").casefold()


def told_of_several(named: Sequence[tuple[str, bool]]) -> str:
    """Return one sentence about several measurements, nothing where all are real.

    ``named``: what each is called, and whether it is simulated.
    """
    invented = [name for name, simulated in named if simulated]
    if not invented:
        return ""
    which = "" if len(invented) == len(named) else f" ({', '.join(dict.fromkeys(invented))})"
    return f"Simulated{which}: {SIMULATED}."
