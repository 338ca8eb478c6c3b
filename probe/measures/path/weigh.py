"""From the indications to a verdict, as careful as they are.

One indication alone never decides, and indications that contradict each other decide nothing.

*Separate from the input on* needs the one-leg drive and one more indication that agrees: nothing
else looks behind the input. *Separate from the volume control on* needs a leg ratio that moves with
the volume, idle noise that is not shared and a second harmonic made in each leg, all three; a core
and a splitter ahead of two volume controls gives the same, so no more is said. *One path* needs two
indications that agree whose likelihood ratios multiply to a hundred, at least one of them such
that two paths behind a shared stage do not give it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from probe.measures.path import harmonic, idle, limits, one_leg, ratio
from probe.measures.path.model import Indication, Verdict

WORDS = {
    "input": "behaves as two paths, separate from the input on",
    "volume-control": "behaves as two paths, separate from the volume control on; what lies before "
    "it was not seen",
    "split": "behaves as one path and an inverter",
}


def weigh(indications: Sequence[Indication], legs_coupled: str = "") -> Verdict:
    """Return the verdict.

    Parameters
    ----------
    indications
        All of them, those that say nothing too.
    legs_coupled
        Why the legs cannot be taken as separate; empty where they can. Coupled legs share their
        noise and turn against each other by themselves, so nothing is said then.
    """
    if legs_coupled:
        return Verdict("undetermined", None, (legs_coupled,))
    two = [i for i in indications if i.says == "two-paths"]
    one = [i for i in indications if i.says == "one-path"]
    if two and one:
        return Verdict("undetermined", None, ("the indications contradict each other",))
    if one:
        return _one_path(one)
    if two:
        return _two_paths({i.name: i for i in two})
    return Verdict("undetermined", None, ("no indication says anything",))


def _one_path(one: Sequence[Indication]) -> Verdict:
    if len(one) < 2:
        return Verdict("undetermined", None, ("one indication alone decides nothing",))
    together = float(np.prod([i.weight for i in one]))
    if not any(i.specific for i in one):
        return Verdict(
            "undetermined",
            None,
            ("two paths behind a shared stage would give the same indications",),
        )
    if together < limits.AGREEING:
        return Verdict("undetermined", None, ("the indications agree, but weigh too little",))
    return Verdict("split", None, (WORDS["split"], *(i.meaning for i in one)))


def _two_paths(two: dict[str, Indication]) -> Verdict:
    if one_leg.NAME in two and len(two) > 1:
        return _dual("input", two)
    harmonics = two.get(harmonic.NAME)
    sure = harmonics is not None and (harmonics.value or 0.0) > limits.KAPPA_SURE
    if ratio.NAME in two and idle.NAME in two and sure:
        return _dual("volume-control", two)
    if len(two) == 1:
        return Verdict("undetermined", None, ("one indication alone decides nothing",))
    return Verdict(
        "undetermined",
        None,
        ("the indications agree, but a quiet core with a splitter could give them too",),
    )


def _dual(where: str, two: dict[str, Indication]) -> Verdict:
    return Verdict("dual", where, (WORDS[where], *(i.meaning for i in two.values())))
