"""The summary of a batch on a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

from probe.batch.batch import Outcome
from probe.formats.text import counted
from probe.report.names import fault, kind_name
from probe.report.text import clean, columns, hanging
from probe.simulated import SIMULATED

MOST_ROWS = 400
"""Rows printed; all of them are in the CSV."""


def summary(outcomes: Sequence[Outcome]) -> str:
    """Return one line a side and what failed, at most 80 columns."""
    lines: list[str] = []
    mixed = len({_simulated(o) for o in outcomes if o.rows}) > 1
    for outcome in outcomes[:MOST_ROWS]:
        name = clean(PurePath(outcome.session).name, 30)
        for row in outcome.rows:
            kind = kind_name(str(row.get("kind"))).split(" (")[0]
            faults = ", ".join(fault(code).name for code in str(row.get("faults") or "").split())
            faults = clean(faults, 120)
            side = clean(row.get("side"), 5)
            pad = " " * max(1, 31 - columns(name))
            text = f"{name}{pad}{side:<6} {kind}{': ' * bool(faults)}{faults}"
            text += "; simulated" if mixed and _simulated(outcome) else ""
            lines += hanging("", text, indent=0)
        if outcome.status == "failed":
            lines += hanging("", f"{name}: FAILED: {clean(outcome.message, 300)}", indent=0)
    if len(outcomes) > MOST_ROWS:
        lines.append(f"... and {len(outcomes) - MOST_ROWS} more, in the CSV")
    simulated = sum(_simulated(o) for o in outcomes)
    if simulated:
        which = f"{counted(simulated, 'session')}" if mixed else "all sessions"
        lines += ["", *hanging("", f"Simulated: {which}: {SIMULATED}.", indent=0)]
    counts = {s: sum(o.status == s for o in outcomes) for s in ("done", "kept", "failed")}
    lines += [
        "",
        f"{counted(len(outcomes), 'session')}: {counts['done']} analysed, {counts['kept']} as they "
        f"were, {counts['failed']} failed",
    ]
    return "\n".join(lines) + "\n"


def _simulated(outcome: Outcome) -> bool:
    return any(row.get("simulated") == "yes" for row in outcome.rows)


def time_left(seconds: float | None) -> str:
    """Return how long it may still take, as people say it."""
    if seconds is None:
        return ""
    if seconds >= 3600.0:
        return f"{seconds / 3600.0:.1f} h left"
    return f"{seconds / 60.0:.0f} min left" if seconds >= 90.0 else f"{seconds:.0f} s left"
