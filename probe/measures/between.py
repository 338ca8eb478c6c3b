"""Left against right: channel balance and crosstalk, as they stand beside ``sides``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from probe.measures.crosstalk import crosstalk
from probe.measures.model import Subject
from probe.measures.volume import balance
from probe.session.model import Side


def between_sides(subjects: Mapping[Side, Subject]) -> dict[str, Any]:
    """Return ``facts``, ``curves`` and ``facts_at`` of the sides together; empty without any."""
    one, other = balance(subjects), crosstalk(subjects)
    merged = {k: {**one.get(k, {}), **other.get(k, {})} for k in ("facts", "curves")}
    found = {k: v for k, v in merged.items() if v}
    return found | {k: one[k] for k in ("facts_at",) if k in one}
