"""An option of the advice as it is used: behind its attenuator, where it works only with it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from probe.report.document import listing

BEHIND_PAD = (
    "level",
    "level_vs_rca_db",
    "loudness_vs_rca_db",
    "full_output_margin_db",
    "hum_below_full_output_db",
    "noise_below_full_output_db",
    "headroom_db",
)
"""Figures that an attenuator changes; those of the bare option are not shown beside it."""


def needs_pad(option: Mapping[str, Any]) -> bool:
    """Tell whether the option was chosen only with its attenuator."""
    first = str((listing(option, "reasons") or [""])[0])
    return isinstance(option.get("attenuator"), Mapping) and "attenuator in its plug" in first


def as_used(option: Mapping[str, Any], *, with_pad: bool) -> dict[str, Any]:
    """Return the option with the figures it has behind its attenuator, where it needs one."""
    if not with_pad:
        return dict(option)
    pad = option["attenuator"]
    kept = {k: v for k, v in option.items() if k not in BEHIND_PAD}
    return {**kept, **{k: pad[k] for k in BEHIND_PAD if k in pad}}
