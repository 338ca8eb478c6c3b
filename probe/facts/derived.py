"""Facts made of other facts: signal to noise, against the level and against the maximum."""

from __future__ import annotations

import math

from probe.measures.statement import Entry

RATIOS = tuple(
    (f"{output}_{word}_to_noise{suffix}", f"{output}_{above}", f"{output}_noise{suffix}")
    for output in ("differential", "single_ended")
    for word, above in (("signal", "level"), ("maximum", "maximum"))
    for suffix in ("", "_a")
)
"""Name, numerator, denominator."""


def ratios(facts: dict[str, Entry]) -> dict[str, Entry]:
    """Return the ratios that these facts allow, dB; a bound in either makes a bound."""
    out = {}
    for name, above, below in RATIOS:
        if above in facts and below in facts:
            entry = _ratio(facts[above], facts[below])
            if entry is not None:
                out[name] = entry
    return out


def _shared(above: Entry, below: Entry) -> float:
    """Return the relative doubt of the scale where both rest on one: a ratio is free of it."""
    a, b = above.get("scale"), below.get("scale")
    if a is None or b is None or a["volts_full_scale"] != b["volts_full_scale"]:
        return 0.0
    return 0.01 * float(min(a["u95_percent"], b["u95_percent"]))


def _ratio(above: Entry, below: Entry) -> Entry | None:
    """Return one over the other in dB.

    A noise below something is a ratio above something, and so is a maximum that was not reached;
    both together still are. A level known from above only says nothing.
    """
    if above.get("bound") == "below" or min(above["value"], below["value"]) <= 0.0:
        return None
    bounded = "bound" in above or "bound" in below
    low = above.get("low", above["value"] - above["u95"]) if bounded else above["value"]
    high = below.get("high", below["value"] + below["u95"]) if bounded else below["value"]
    if low <= 0.0:
        return None
    entry: Entry = {"value": 20.0 * math.log10(low / high), "unit": "dB"}
    if bounded:
        entry |= {"u95": 0.0, "bound": "above"}
    else:
        relative = math.hypot(above["u95"] / above["value"], below["u95"] / below["value"])
        relative = math.sqrt(max(relative**2 - 2.0 * _shared(above, below) ** 2, 0.0))
        entry["u95"] = 20.0 * math.log10(1.0 + relative)
    if below.get("limited_by_bench") or above.get("limited_by_bench"):
        entry["limited_by_bench"] = True
    if below.get("limit"):
        entry["limit"] = 20.0 * math.log10(above["value"] / below["limit"])
        entry["limit_is"] = "most"
    for key in ("band_hz", "weighting"):
        if key in below:
            entry[key] = below[key]
    entry["takes"] = list(dict.fromkeys([*above.get("takes", ()), *below.get("takes", ())]))
    return entry
