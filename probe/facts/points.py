"""Each point of a complex curve as the fact of its kind would state it, tone by tone.

A curve is no surer than the fact beside it: an impedance that only the recorder ends is a bound
from below, a level that cannot be told from nothing one from above, what an unmeasured source
impedance may have taken off stands in the interval, and what an open pin may be with nothing
flowing through it is held as well (`probe.facts.both`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from probe.facts.both import one_holding_both
from probe.measures.open_pin import against
from probe.measures.statement import (
    DISTINGUISHED_ALONG,
    Entry,
    at_most,
    impedance_entry,
    level_entry,
    reaching,
)
from probe.stage.as_source import source_of
from probe.stage.identify import Identified
from probe.stage.network import Complex
from probe.stage.quantities import (
    common_mode_impedance,
    open_take,
    recorded,
    recorder_doubt,
    recorder_ohm,
    single_ended_heard,
)
from probe.stage.solve import hopeless
from probe.stage.solved import Solved, functional
from probe.stage.source import Source

Array = NDArray[np.float64]

LEVELS = {
    "hot_open_circuit": ("legs_voc", 0),
    "cold_open_circuit": ("legs_voc", 1),
    "differential_open_circuit": ("voc", 0),
    "mean_open_circuit": ("voc", 1),
    "single_ended_open_circuit": ("voc", 2),
}
"""Where a source keeps them."""

OWN = {
    "hot_impedance": ("legs_z", "hot", "hot"),
    "cold_impedance": ("legs_z", "cold", "cold"),
    "differential_impedance": ("z", "difference", "difference"),
    "mean_impedance": ("z", "mean", "mean"),
}
"""Impedances against which a recorder is held: beyond it only a bound is known."""

BESIDE = {
    "cold_into_hot_impedance": ("legs_z", "hot", "cold"),
    "hot_into_cold_impedance": ("legs_z", "cold", "hot"),
    "mean_into_difference_impedance": ("z", "difference", "mean"),
    "difference_into_mean_impedance": ("z", "mean", "difference"),
}
"""What one entry does to another: may be nothing, and is not known of an open pin."""

PLACE = {"hot": 0, "cold": 1, "difference": 0, "mean": 1}


@dataclass(frozen=True)
class Points:
    """One curve: draws (1 + D, F) and the entry of each tone, None where it is not known."""

    unit: str
    draws: Complex
    entries: tuple[Entry | None, ...]
    more: dict[str, Any]


def points_of(identified: Identified, source: Source, unseen: str = "") -> dict[str, Points]:
    """Return every curve of a source of which any point is known, or bounded.

    ``unseen``: a silent leg whose impedance no take shows ("" for none): it may be open, so what
    it carries without the recorder is not known, nor anything of the pair.
    """
    found = {n: p for n, p in _points(identified, source).items() if _shown(n, unseen)}
    legs = identified.legs
    if legs is not None and legs.nothing_flows is not None:
        bare = replace(legs, theta=legs.nothing_flows, nothing_flows=None)
        alone = replace(identified, legs=bare)
        other = source_of(alone, shown_by=legs)
        found = _held(found, {} if other is None else _points(alone, other))
    _bound_open_pin(identified, found)
    return {name: one for name, one in found.items() if any(e is not None for e in one.entries)}


def _shown(name: str, unseen: str) -> bool:
    """Return whether a curve is known where a leg is not."""
    other = {"hot": "cold", "cold": "hot", "": ""}[unseen]
    kept = (f"{other}_open_circuit", f"{other}_impedance", "common_mode_impedance")
    return not unseen or name.startswith("single_ended") or name in kept


def _held(found: dict[str, Points], others: dict[str, Points]) -> dict[str, Points]:
    """Return the curves widened to hold of the others as well; all but the single-ended ones."""
    held = {}
    for name, one in found.items():
        if name in others and not name.startswith("single_ended"):
            other = others[name]
            pairs = zip(one.entries, other.entries, strict=True)
            entries = tuple(one_holding_both(a, b) for a, b in pairs)
            draws = np.concatenate([one.draws, other.draws[1:]])
            held[name] = replace(one, draws=draws, entries=entries)
        else:
            held[name] = one
    return held


def _bound_open_pin(identified: Identified, found: dict[str, Points]) -> None:
    """Where only a bound of an open leg's impedance is known, so is one of its level, in place."""
    legs, t = identified.legs, open_take(identified)
    if legs is None or legs.open_leg is None:
        return
    index = legs.open_leg
    silent, live = ("cold", "hot") if index == 1 else ("hot", "cold")
    own, level = found.get(f"{silent}_impedance"), found.get(f"{live}_open_circuit")
    named = (f"{silent}_open_circuit", "differential_open_circuit", "mean_open_circuit")
    for k, entry in enumerate(() if own is None else own.entries):
        if entry is not None and "bound" not in entry:
            continue
        most = None
        if level is not None and level.entries[k] is not None and t is not None:
            volts = recorded(identified, t, k)
            if not against(volts[:, index], volts[:, 1 - index]):
                most = at_most(level_entry(level.draws[:, k]))
        for name in named:
            if name in found:
                entries = list(found[name].entries)
                entries[k] = most
                found[name] = replace(found[name], entries=tuple(entries))


def _points(identified: Identified, source: Source) -> dict[str, Points]:
    out = {}
    for name, (array, row) in LEVELS.items():
        draws = _stacked(source, array)[..., row]
        out[name] = Points("V", draws, _entries(draws, level_entry), {})
    _no_less_than_heard(identified, out)
    for name, (array, row_name, column) in OWN.items():
        draws = _stacked(source, array)[..., PLACE[row_name], PLACE[column]]
        draws = _of_open_leg(identified, row_name, draws)
        out[name] = Points("ohm", draws, _own(identified, draws, row_name, column), {})
    legs = identified.legs
    if legs is not None and legs.open_leg is not None:
        _bound_pair(out, ("hot", "cold")[legs.open_leg])
    for name, (array, row_name, column) in BESIDE.items():
        draws = _stacked(source, array)[..., PLACE[row_name], PLACE[column]]
        if legs is not None and legs.open_leg is not None:
            draws = np.full_like(draws, np.nan)
        entries = _beyond(identified, "hot", draws, _entries(draws, _transfer))
        out[name] = Points("ohm", draws, _between_known(out, entries), {})
    together = common_mode_impedance(_stacked(source, "z")[..., :2, :2])
    entries = _beyond(identified, "hot", together, _entries(together, impedance_entry))
    entries = _with_both_legs(out, legs, entries)
    out["common_mode_impedance"] = Points("ohm", together, entries, {})
    alone = _stacked(source, "z")[..., 2, 2]
    out["single_ended_impedance"] = Points("ohm", alone, _entries(alone, impedance_entry), {})
    level = out["single_ended_open_circuit"]
    out["single_ended_open_circuit"] = _single_ended(identified, level, np.isfinite(alone[0]))
    return out


def _no_less_than_heard(identified: Identified, found: dict[str, Points]) -> None:
    """Take out bounds of an open circuit that lie below what the recorder heard, in place.

    There the draws are those of an impedance that is not known, and bound nothing.
    """
    t = open_take(identified)
    for name, of_legs in HEARD.items() if t is not None else ():
        entries = list(found[name].entries)
        for k, entry in enumerate(entries):
            if entry is not None and entry.get("bound") == "below":
                assert t is not None
                size = np.abs(recorded(identified, t, k)[:, :2] @ of_legs)
                least = np.quantile(size[1:], 0.025) if len(size) > 1 else size[0]
                if entry["value"] < least:
                    entries[k] = None
        found[name] = replace(found[name], entries=tuple(entries))


HEARD = {
    "hot_open_circuit": np.array([1.0, 0.0]),
    "cold_open_circuit": np.array([0.0, 1.0]),
    "differential_open_circuit": np.array([1.0, -1.0]),
    "mean_open_circuit": np.array([0.5, 0.5]),
}
"""Levels of the pair, from what the recorder hears of the two legs."""


def _between_known(
    found: dict[str, Points], entries: tuple[Entry | None, ...]
) -> tuple[Entry | None, ...]:
    """Return bounds of what one leg does to the other only where both have an impedance.

    Beside one that is not known, or only by how large it is at least, draws say nothing of it.
    """
    own = [found[f"{leg}_impedance"].entries for leg in ("hot", "cold")]
    return tuple(
        None
        if entry is not None
        and entry.get("bound") == "below"
        and any(e[k] is None or "bound" in (e[k] or {}) for e in own)
        else entry
        for k, entry in enumerate(entries)
    )


def _bound_pair(found: dict[str, Points], open_leg: str) -> None:
    """Bound the pair and the mean no better than the open leg that is in both, in place.

    ``Zd = Zh + Zc`` and ``(Zh + Zc)/4`` but for strays; what a leg is at least, so is the pair.
    """
    own = found[f"{open_leg}_impedance"].entries
    for name, share in (("differential_impedance", 1.0), ("mean_impedance", 0.25)):
        entries = list(found[name].entries)
        for k, entry in enumerate(entries):
            if entry is not None and entry.get("bound") == "above":
                leg = own[k]
                least = None if leg is None else min(entry["value"], share * _least(leg))
                entries[k] = None if least is None else {**entry, "value": least}
        found[name] = replace(found[name], entries=tuple(entries))


def _with_both_legs(
    found: dict[str, Points], legs: Solved | None, entries: tuple[Entry | None, ...]
) -> tuple[Entry | None, ...]:
    """Return the common mode where both legs and the pair are known, as its fact has it.

    Beside a leg beyond the recorder's input it may be a bound; an open leg leaves it to the other.
    """
    open_leg = None if legs is None else legs.open_leg
    own = [found[f"{leg}_impedance"].entries for leg in ("hot", "cold", "differential")]
    out = list(entries)
    for k, entry in enumerate(entries):
        beside = [e[k] for n, e in enumerate(own) if open_leg is None or n != open_leg]
        known = all(e is not None for e in beside)
        only = any(
            e is not None and "bound" in e for e in beside[: 1 if open_leg is not None else 2]
        )
        if not known or (only and entry is not None and "bound" not in entry):
            out[k] = None
    return tuple(out)


def _of_open_leg(identified: Identified, row: str, draws: Complex) -> Complex:
    """Return an impedance with an open leg in it also at tones at which it is hardly known.

    Its inverse is known there: enough for a bound.
    """
    legs = identified.legs
    if legs is None or legs.open_leg is None or not legs.open_known:
        return draws
    if row not in ("difference", "mean", ("hot", "cold")[legs.open_leg]):
        return draws
    wanted = functional(row, row, len(legs.hz))
    values = np.einsum("frj,dfrj->df", wanted, legs.theta[: len(draws)])
    least = np.quantile(np.abs(values[1:]), 0.025, axis=0)
    values[:, hopeless(legs.fit) | (legs.lost(wanted) > 1.0 + 0.05 * least)] = np.nan
    return np.where(np.isfinite(draws), draws, values)


def _stacked(source: Source, array: str) -> Complex:
    return np.concatenate([getattr(source, array)[None], getattr(source, f"{array}_draws")])


def _entries(draws: Complex, rule: Callable[[Complex], Entry | None]) -> tuple[Entry | None, ...]:
    known = np.isfinite(draws[0])
    return tuple(rule(draws[:, k]) if known[k] else None for k in range(draws.shape[1]))


def _transfer(draws: Complex) -> Entry:
    """Return what one entry does to another: a bound from above where it may be nothing."""
    return level_entry(draws, unit="ohm")


def _own(identified: Identified, draws: Complex, row: str, column: str) -> tuple[Entry | None, ...]:
    """Return an impedance at each tone; of a pair with an open pin through its inverse."""
    legs = identified.legs
    assert legs is not None
    wanted = functional(row, column, len(legs.hz))
    # of an entry that was carried on from other tones the weights know nothing: its draws do
    carried = legs.lost(wanted) > 1.0 + 0.05 * np.abs(draws[0])
    sigma = np.where(carried, 0.0, legs.sigma(wanted))
    open_leg = "" if legs.open_leg is None else ("hot", "cold")[legs.open_leg]
    inverse = carried | (bool(open_leg) and row in ("difference", "mean", open_leg))
    known = np.isfinite(draws[0])
    entries = tuple(
        impedance_entry(draws[:, k], sigma=float(sigma[k]), inverse=bool(inverse[k]))
        if known[k]
        else None
        for k in range(draws.shape[1])
    )
    if row == "difference":
        return entries
    return _beyond(identified, "cold" if row == "cold" else "hot", draws, entries)


def _beyond(
    identified: Identified, leg: str, draws: Complex, entries: tuple[Entry | None, ...]
) -> tuple[Entry | None, ...]:
    """Return entries with a bound where an impedance is beyond the recorder's.

    There the takes show its admittance beside that of the inputs, so it is known no better than
    those are declared: how small it may be at most is how large the impedance is at least.
    """
    assert identified.legs is not None
    hz = identified.legs.hz
    with np.errstate(invalid="ignore", divide="ignore"):  # what is not known is NaN
        far = np.abs(draws[0]) > recorder_ohm(identified, hz, leg)
        siemens = 1.0 / np.abs(draws[0])
    doubt = recorder_doubt(identified, hz)
    out = list(entries)
    for k in np.flatnonzero(far):
        entry = entries[k]
        if entry is not None and entry.get("bound") == "below":
            out[k] = None  # anything, down to nothing: its draws say no more
        elif entry is None:
            out[k] = impedance_entry(draws[:, k], inverse=True)
        elif siemens[k] < DISTINGUISHED_ALONG * doubt[k]:
            least = 1.0 / (siemens[k] + 1.96 * doubt[k])
            other = impedance_entry(draws[:, k], inverse=True)
            least = min(least, least if other is None else _least(other))
            out[k] = {"value": float(least), "unit": "ohm", "u95": 0.0, "bound": "above"}
    return tuple(out)


def _least(entry: Entry) -> float:
    value = float(entry["value"])
    return value if "bound" in entry else float(entry.get("low", value - entry["u95"]))


def _single_ended(identified: Identified, level: Points, solved: NDArray[np.bool_]) -> Points:
    """Return the level of the single-ended output, as its fact has it where no load tells.

    What the recorder took off is anywhere between nothing and what the largest source impedance
    of a line output would have lost.
    """
    draws, entries = level.draws.copy(), list(level.entries)
    for k in np.flatnonzero(np.isfinite(draws[0]) & ~solved):
        heard = single_ended_heard(identified, int(k), len(draws))
        entries[k] = None
        if heard is not None:
            draws[:, k] = heard.lifted
            entries[k] = reaching(level_entry(heard.lifted), level_entry(heard.bare))
    limited = {} if solved.any() else {"limited_by_bench": True}
    return Points(level.unit, draws, tuple(entries), limited)
