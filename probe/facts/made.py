"""What a facts document tells of its making."""

from __future__ import annotations

from collections.abc import Mapping

NO_DAY = "no date"


def measured_on(facts: Mapping[str, object]) -> str:
    """Return the day of the recording as its session states it, "" where it states none.

    The day of the analysis is not that day: an old recording may be analysed again.
    """
    made = facts.get("made")
    bench = made.get("bench") if isinstance(made, Mapping) else None
    stated = bench.get("recorded_on") if isinstance(bench, Mapping) else None
    return str(stated or "")
