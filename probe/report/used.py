"""An option of the advice as it is used: behind its attenuator, where that is fitted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

BEHIND_PAD = (
    "level",
    "level_vs_rca_db",
    "loudness_vs_rca_db",
    "full_output_margin_db",
    "hum_below_full_output_db",
    "noise_below_full_output_db",
    "headroom_db",
    "hazards",
)
"""Figures that an attenuator changes; those of the bare option are not shown beside it."""


def needs_pad(option: Mapping[str, Any]) -> bool:
    """Tell whether the attenuator is in the plug, rather than an offer."""
    pad = option.get("attenuator")
    return isinstance(pad, Mapping) and pad.get("fitted") is True


def as_used(option: Mapping[str, Any], *, with_pad: bool) -> dict[str, Any]:
    """Return the option with the figures it has behind its attenuator, where it needs one."""
    if not with_pad:
        return dict(option)
    pad = option["attenuator"]
    kept = {k: v for k, v in option.items() if k not in BEHIND_PAD}
    return {**kept, **{k: pad[k] for k in BEHIND_PAD if k in pad}}
