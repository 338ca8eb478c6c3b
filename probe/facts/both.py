"""Facts that hold of two stages, either of which the takes may have come from."""

from __future__ import annotations

from probe.measures.statement import Entry, reaching

Facts = dict[str, Entry]


def holding_both(facts: Facts, others: Facts) -> Facts:
    """Return facts widened to hold of the others too, without those of which no interval can."""
    kept: Facts = {}
    for name, entry in facts.items():
        held = one_holding_both(entry, others.get(name))
        if held is not None:
            kept[name] = held
    return kept


def one_holding_both(entry: Entry | None, other: Entry | None) -> Entry | None:
    """Return one fact widened to hold of the other too; None where no interval can."""
    if entry is None or other is None:
        return None
    if "bound" not in entry and "bound" not in other:
        return reaching(entry, _same_turn(entry, other))
    sides = {e["bound"] for e in (entry, other) if "bound" in e}
    if len(sides) > 1:
        return None
    side = sides.pop()
    low, high = zip(*(_ends(e) for e in (entry, other)), strict=True)
    kept = {k: v for k, v in entry.items() if k not in ("low", "high", "imag")}
    end = max(high) if side == "below" else min(low)
    return {**kept, "value": end, "u95": 0.0, "bound": side}


def _ends(entry: Entry) -> tuple[float, float]:
    """Return the ends of an interval; of a bound its one end, twice."""
    value, half = float(entry["value"]), float(entry["u95"])
    return float(entry.get("low", value - half)), float(entry.get("high", value + half))


def _same_turn(entry: Entry, other: Entry) -> Entry:
    """Return an angle within half a turn of the entry's."""
    if entry["unit"] != "deg":
        return other
    turn = 360.0 * round((entry["value"] - other["value"]) / 360.0)
    return {**other, **{k: other[k] + turn for k in ("value", "low", "high") if k in other}}
