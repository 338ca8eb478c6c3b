"""An output whose pin 3 is connected to nothing, with pins 1 and 3 joined in the plug at it.

That is the same circuit as an output whose pin 3 stands at its ground inside, and no amplifier
works into that joint: the facts and the source of a measured one are restated as of such an output,
of a described one its kind. What strays couple into pin 2 is nothing beside its own impedance.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from probe.advice.source_file import possible_kinds, restated
from probe.advice.subject import Facts, side_of
from probe.facts.source import TO_MODAL, Source

UNCONNECTED = "pin-3-unconnected"
GROUNDED = "unbalanced"

COLD = 1
"""Place of pin 3 among the legs."""


def unconnected(facts: Facts) -> bool:
    """Tell whether pin 3 is connected to nothing for certain, and pin 2 is the driven one.

    On a driven pin 3 a joint would be a short circuit: no other kind may be possible, on any side.
    """
    if isinstance(facts.get("stated"), Mapping):
        return possible_kinds(facts) == (UNCONNECTED,)
    sides = facts.get("sides") or {}
    return bool(sides) and all(_open(facts, name) for name in sides)


def _open(facts: Facts, name: str) -> bool:
    stage = side_of(facts, name).stage
    values = facts["sides"][name].get("facts", {})
    hot, cold = (values.get(f"{leg}_recorded", {}).get("value") for leg in ("hot", "cold"))
    heard = hot is not None and cold is not None and hot > cold
    return stage.possible == (UNCONNECTED,) and stage.polarity != "pin-3-hot" and heard


def joined(facts: Facts, sources: Mapping[str, Any]) -> tuple[dict[str, Any], Mapping[str, Any]]:
    """Return the facts and the sources with pins 1 and 3 joined in the plug."""
    if isinstance(facts.get("stated"), Mapping):
        return restated(facts, "kinds", (GROUNDED,))
    sides = {name: _grounded(side) for name, side in facts["sides"].items()}
    return {**facts, "sides": sides}, {name: _joined(s) for name, s in sources.items()}


def _grounded(side: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is told of a side with its pin 3 at ground: the pair is pin 2 alone."""
    values = {
        name: value
        for name, value in side.get("facts", {}).items()
        if not name.startswith(("cold_", "differential_", "common_", "coupling_", "leg_"))
        or name.endswith(("_maximum", "_direct_voltage"))
    }
    for what in ("level", "noise_a"):
        if f"hot_{what}" in values:
            values[f"differential_{what}"] = values[f"hot_{what}"]
    stage = {
        **side["stage"], "kind": GROUNDED, "also_possible": [], "driven_legs": "one-leg",
        "faults": [], "possible_faults": [],
    }  # fmt: skip
    curves = dict(side.get("curves") or {})
    if "hot_recorded" in curves:
        silent = {k: [0.0] * len(v) for k, v in curves["hot_recorded"].items()
                  if isinstance(v, list)}  # fmt: skip
        curves["cold_recorded"] = silent
    return {**side, "stage": stage, "facts": values, "curves": curves}


def _joined(source: Source) -> Source:
    """Return the source with its pin 3 at ground; what the joint itself has is left open."""
    voc, z = _voltages(source.legs_voc), _impedances(source.legs_z)
    voc_draws, z_draws = _voltages(source.legs_voc_draws), _impedances(source.legs_z_draws)
    return replace(
        source, legs_voc=voc, legs_z=z, legs_voc_draws=voc_draws, legs_z_draws=z_draws,
        voc=_between(voc), voc_draws=_between(voc_draws),
        z=_modal(z), z_draws=_modal(z_draws),
    )  # fmt: skip


def _voltages(legs: Any) -> Any:
    found = legs.copy()
    found[..., COLD] = 0.0
    return found


def _between(legs: Any) -> Any:
    found = legs.copy()
    found[..., :2] = legs[..., :2] @ TO_MODAL[:2, :2].T
    return found


def _impedances(legs: Any) -> Any:
    found = legs.copy()
    found[..., COLD, :2] = found[..., :2, COLD] = np.nan
    return found


def _modal(legs: Any) -> Any:
    """Return what is known of it between the legs: nothing before the joint is filled in."""
    found = legs.copy()
    found[..., :2, :2] = np.nan
    return found
