"""A faulty output is not used while the sound one beside it was not judged: repair goes first."""

from __future__ import annotations

from collections.abc import Sequence

from probe.advice.candidate import NOT_SAFE, Candidate

FAULTY = "stage-fault"
"""The hazard of what comes from an output found faulty."""


def repaired_first(
    working: Sequence[Candidate], candidates: Sequence[Candidate]
) -> tuple[str, ...]:
    """Return why nothing is used out of a faulty output while a sound one may do, or nothing.

    What is bought or soldered for the faulty one is of no use once it is repaired.
    """
    if not working or not all(FAULTY in c.spoils for c in working):
        return ()
    sound = [
        c for c in candidates
        if not c.hazards & NOT_SAFE and c.worst_side.verdict == "cannot-tell"
    ]  # fmt: skip
    best = min(sound, key=lambda c: (c.transformer, not c.option.native), default=None)
    if best is None:
        return ()
    return (
        "what works comes from the output that has a fault: have it repaired first, and buy "
        "nothing for it",
        f"{best.option.id} comes from the sound output, and cannot be judged yet: "
        f"{(best.worst_side.reasons or ('',))[0]}",
    )
