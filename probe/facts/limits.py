"""The bench's own limit beside every fact: the best these takes, so calibrated, could have seen.

``limit`` is the least that would have been told from nothing (``limit_is`` absent), or the most
that could have been seen (``limit_is`` ``most``: rejections, ratios to noise, maxima). A fact
within twice its limit carries ``near_limit``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from probe.measures.statement import DISTINGUISHED, Entry, unseen
from probe.stage.identify import Identified
from probe.stage.network import Complex
from probe.stage.quantities import nearest, open_take, single_ended_take

NEAR = 2.0
"""A fact within this factor of its limit is marked."""

METER_VOLT = 0.001
"""An ordinary meter's last digit."""

Facts = dict[str, Entry]


@dataclass(frozen=True)
class _Bench:
    """What the takes of one side could see at the tone nearest 1 kHz.

    ``noise``: V, standard deviation at hot, cold and the single-ended output, crosstalk between
    channels included; ``size``: V there; ``gain``: relative standard uncertainty of each scale;
    ``repeat``: relative level between takes; ``hz``: lowest and highest tone.
    """

    noise: tuple[float, float, float]
    size: tuple[float, float, float]
    gain: tuple[float, float, float]
    repeat: float
    ohm: tuple[float, float, float]
    hz: tuple[float, float]


def with_limits(facts: Facts, identified: Identified, around: Facts | None = None) -> Facts:
    """Return the facts, each with its limit where one can be told, and marked if near it.

    ``around``: the facts of the side, where these stand under another condition; what they lack (an
    impedance, a level) is taken from there.
    """
    bench = _bench(identified)
    every = {**(around or {}), **facts}
    out = {}
    for name, entry in facts.items():
        limit = None if "limit" in entry else _limit(name, entry, every, bench)
        out[name] = marked(_no_worse(entry if limit is None else {**entry, **limit}))
    return out


def least_seen(draws: Complex) -> Entry:
    """Return the limit of a size that may be nothing: what its scatter leaves, draws (1 + D,)."""
    least = unseen(draws)
    return {"limit": least} if least > 0.0 else {}


def most_seen(whole: float, small: Complex) -> Entry:
    """Return the limit of ``whole`` over something that may be nothing, dB."""
    least = unseen(small)
    if whole <= 0.0 or least <= 0.0:
        return {}
    # one by one: the quotient of a tiny level would be 0
    return {"limit": 20.0 * (math.log10(whole) - math.log10(least)), "limit_is": "most"}


def _no_worse(entry: Entry) -> Entry:
    """Return a bound with a limit no worse than itself: what was stated could be seen."""
    limit, value, bound = entry.get("limit"), entry.get("value"), entry.get("bound")
    if limit is None or bound is None:
        return entry
    most = entry.get("limit_is") == "most"
    if bound == "above" and most:
        return {**entry, "limit": max(limit, value)}
    return {**entry, "limit": min(limit, value)} if bound == "below" and not most else entry


def marked(entry: Entry) -> Entry:
    """Return a fact with ``near_limit`` where its value is within twice its limit."""
    limit = entry.get("limit")
    if limit is None:
        return entry
    value, most = abs(entry["value"]), entry.get("limit_is") == "most"
    if entry["unit"] == "dB" and most:
        near = entry["value"] > limit - 20.0 * math.log10(NEAR)
    elif most:
        near = value > limit / NEAR
    else:
        near = value < NEAR * limit
    return {**entry, "near_limit": True} if near else entry


def _bench(identified: Identified) -> _Bench | None:
    group = identified.group
    if group is None or not group.takes or not len(group.hz):
        return None
    noise, size, gain = [math.inf] * 3, [0.0] * 3, [0.0] * 3
    for take_index in (open_take(identified), single_ended_take(identified)):
        if take_index is None:
            continue
        observed = group.takes[take_index]
        hz = group.hz[observed.tones]
        k = nearest(hz)
        take = observed.phasors.take
        for channel, role in enumerate(take.channels):
            terminal = {"hot": 0, "cold": 1, "single-ended": 2}.get(role)
            if terminal is None:
                continue
            own = math.sqrt(abs(float(observed.noise[k, terminal, terminal].real)))
            noise[terminal] = min(noise[terminal], own)
            size[terminal] = float(abs(observed.volts[k, terminal]))
            gain[terminal] = take.inputs[channel].u95_relative / 2.0
    repeat = identified.repeatability.level
    ohm = tuple(_least_ohm(identified, t, repeat) for t in range(3))
    ends = float(group.hz.min()), float(group.hz.max())
    return _Bench(_three(noise), _three(size), _three(gain), repeat, _three(ohm), ends)


def _three(values: list[float] | tuple[float, ...]) -> tuple[float, float, float]:
    return values[0], values[1], values[2]


def _least_ohm(identified: Identified, terminal: int, repeat: float) -> float:
    """Return the least impedance of a terminal that any of the takes tells from nothing, ohm.

    A load R: the level falls by Z/R, told from the repeatability of two takes. An injection
    through R of U: Z U/R stands above the noise.
    """
    names = ("hot", "cold", "single-ended")
    found = [math.inf]
    for p in identified.takes:
        take = p.take
        if names[terminal] not in take.channels:
            continue
        channel = take.channels.index(names[terminal])
        for load in take.loads:
            if names[terminal] in (load.from_, load.to) and p.played.any():
                k = nearest(p.hz[p.played])
                level = float(abs(p.volts[p.played][k, channel]))
                own = math.sqrt(float(p.noise[p.played][k, channel, channel].real))
                if level > 30.0 * own:
                    found.append(load.ohm * math.sqrt(2.0) * math.hypot(repeat, own / level))
        for j, injection in enumerate(take.injections):
            carried = p.injected[:, j]
            if injection.into == names[terminal] and injection.volts > 0.0 and carried.any():
                k = nearest(p.hz[carried])
                own = math.sqrt(float(p.noise[carried][k, channel, channel].real))
                found.append(injection.through_ohm * own / injection.volts)
    return DISTINGUISHED * min(found)


def _limit(name: str, entry: Entry, facts: Facts, bench: _Bench | None) -> Entry | None:
    if name.endswith("_direct_voltage"):
        return {"limit": METER_VOLT}
    value = None if bench is None else _known(name, facts, bench)
    if value is not None and math.isfinite(value[0]):
        return {"limit": value[0], **({"limit_is": "most"} if value[1] else {})}
    if entry["unit"] in ("dB", "1") and entry.get("u95"):
        return {"limit": entry["u95"]}
    return None


def _known(name: str, facts: Facts, bench: _Bench) -> tuple[float, bool] | None:
    """Return the limit of a fact of the stage, and whether it is the most."""
    rule = _RULES.get(name)
    found = None if rule is None else rule(facts, bench)
    if found is None or not math.isfinite(found) or found <= 0.0:
        return None
    return found, name in _MOST


def _level(*terminals: int) -> Callable[[Facts, _Bench], float]:
    def rule(_: Facts, bench: _Bench) -> float:
        return DISTINGUISHED * math.hypot(*(bench.noise[t] for t in terminals))

    return rule


def _mean(_: Facts, bench: _Bench) -> float:
    """Return the least mean of the legs: half of what their scales' errors leave of the legs."""
    parts = [bench.gain[t] * bench.size[t] for t in (0, 1)] + [bench.noise[t] for t in (0, 1)]
    return DISTINGUISHED * 0.5 * math.hypot(*parts)


def _ratio(a: int, b: int) -> Callable[[Facts, _Bench], float]:
    """Return the least difference from 0 dB that two scales allow."""

    def rule(_: Facts, bench: _Bench) -> float:
        relative = 1.96 * math.hypot(bench.gain[a], bench.gain[b], bench.repeat)
        return 20.0 * math.log10(1.0 + relative)

    return rule


def _phase(_: Facts, bench: _Bench) -> float:
    if min(bench.size[:2]) <= 0.0:
        return math.inf
    return math.degrees(
        DISTINGUISHED * math.hypot(*(bench.noise[t] / bench.size[t] for t in (0, 1)))
    )


def _ohm(*terminals: int) -> Callable[[Facts, _Bench], float]:
    def rule(_: Facts, bench: _Bench) -> float:
        return math.hypot(*(bench.ohm[t] for t in terminals))

    return rule


def _coupling(own: str, terminal: int) -> Callable[[Facts, _Bench], float]:
    def rule(facts: Facts, bench: _Bench) -> float:
        ohm = facts.get(own, {"value": 0.0})["value"]
        return bench.ohm[terminal] / ohm if ohm > 0.0 else math.inf

    return rule


def _tie(facts: Facts, bench: _Bench) -> float:
    ohm = facts.get("cold_impedance", {"value": 0.0})["value"]
    level = facts.get("differential_level", {"value": 0.0})["value"]
    if ohm <= 0.0 or level <= 0.0:
        return math.inf
    return float(DISTINGUISHED * bench.noise[1] / ohm / level)


_RULES: dict[str, Callable[[Facts, _Bench], float]] = {
    "hot_recorded": _level(0),
    "cold_recorded": _level(1),
    "hot_level": _level(0),
    "cold_level": _level(1),
    "hot_level_pin_3_tied": _level(0),
    "single_ended_level": _level(2),
    "differential_level": _level(0, 1),
    "common_mode_level": _mean,
    "leg_ratio": _ratio(0, 1),
    "leg_phase": _phase,
    "gain_difference": _ratio(0, 2),
    "hot_impedance": _ohm(0),
    "cold_impedance": _ohm(1),
    "hot_impedance_off": _ohm(0),
    "cold_impedance_off": _ohm(1),
    "single_ended_impedance": _ohm(2),
    "differential_impedance": _ohm(0, 1),
    "common_mode_impedance": lambda facts, bench: 0.5 * _ohm(0, 1)(facts, bench),
    "coupling_cold_into_hot": _coupling("cold_impedance", 1),
    "coupling_hot_into_cold": _coupling("hot_impedance", 0),
    "pin_3_tie_current": _tie,
    **{f"{o}_low_corner": lambda _, bench: bench.hz[0] for o in ("differential", "single_ended")},
    **{f"{o}_high_corner": lambda _, bench: bench.hz[1] for o in ("differential", "single_ended")},
}

_MOST = frozenset(
    {
        "differential_high_corner",
        "single_ended_high_corner",
    }
)
