"""A source that holds whichever declaration of the recorder's inputs is right.

Facts that the inputs decide are stated so that they hold either way (`probe.facts.other_inputs`).
What reads the curves or solves connections takes the source, so its draws are of all the answers
in equal shares: any interval read from them reaches over all of them, and an entry that only one
of them knows is known to none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from probe.stage.network import Complex
from probe.stage.source import Source

ENTRIES = ("voc", "z", "legs_voc", "legs_z")


def source_holding(source: Source | None, others: Sequence[Source | None]) -> Source | None:
    """Return ``source`` with its draws from itself and ``others`` in equal shares.

    Its values stay: they are those with the inputs as declared. At a tone that one of the others
    lacks its own draws stand. None where there is no source.
    """
    known = [one for one in others if one is not None]
    if source is None or not known:
        return source
    held = source
    for name in ENTRIES:
        value, own = getattr(source, name), getattr(source, f"{name}_draws")
        parts = [own, *(_on_tones(source, one, name) for one in known)]
        mixed = _in_turn(parts)
        unknown = np.isnan(mixed).any(axis=0)
        held = replace(
            held,
            **{
                name: np.where(unknown, np.nan, value),
                f"{name}_draws": np.where(unknown, np.nan, mixed),
            },
        )
    return held


def _on_tones(source: Source, other: Source, name: str) -> Complex:
    """Return draws of ``other`` on the tones of ``source``; those of ``source`` where it lacks one.

    Shape (D', F, ...); no more draws than both have.
    """
    own, theirs = getattr(source, f"{name}_draws"), getattr(other, f"{name}_draws")
    count = min(len(own), len(theirs))
    out = own[:count].copy()
    at = {float(f): k for k, f in enumerate(other.hz)}
    for k, f in enumerate(source.hz):
        if float(f) in at:
            out[:, k] = theirs[:count, at[float(f)]]
    return np.asarray(out)


def _in_turn(parts: Sequence[Complex]) -> Complex:
    """Return as many draws as the first part has, one of each part in turn."""
    out = parts[0].copy()
    for k, part in enumerate(parts[1:], start=1):
        places = np.arange(k, len(out), len(parts))
        out[places] = part[np.arange(len(places)) % len(part)]
    return out
