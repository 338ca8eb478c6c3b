"""A paragraph on how the figures came about, for a reviewer to edit: every condition, no praise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import PurePath
from typing import Any

from probe.compare.taken_beside import taken_beside
from probe.numbers import number, write_hz, write_number
from probe.simulated import SIMULATED, is_simulated


def methods_paragraph(facts: Mapping[str, Any]) -> str:
    """Return how a facts document was measured, as plain sentences.

    Parameters
    ----------
    facts
        A facts document (``probe-facts/1``). What it does not say is left out.
    """
    sides: Mapping[str, Any] = facts.get("sides") or {}
    sentences = [
        _simulated(facts.get("made")),
        _device(_table(facts, "device"), sides),
        _bench(_table(_table(facts, "made"), "bench")),
        *(_takes(key, side) for key, side in sides.items()),
        *filter(None, (_conditions(key, side) for key, side in sides.items())),
        *_solving(sides),
        _draws(sides.values()),
        "Single figures are those of the tone nearest 1 kHz unless another frequency stands "
        "beside them; levels are rms; 0 dBu is 0.775 V.",
        _warned(facts),
        _made(_table(facts, "made")),
    ]
    return " ".join(s for s in sentences if s)


def _table(parent: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    found = parent.get(key)
    return found if isinstance(found, Mapping) else {}


def _device(device: Mapping[str, Any], sides: Iterable[str]) -> str:
    name = " ".join(str(device[k]) for k in ("maker", "model") if device.get(k)) or "The device"
    serial = f" (serial {device['serial']})" if device.get("serial") else ""
    firmware = f", firmware {device['firmware']}" if device.get("firmware") else ""
    channels = " and ".join(sides) or "no channel"
    return f"{name}{serial}{firmware}: {channels} measured at the balanced line output."


def _simulated(made: object) -> str:
    return f"Simulated: {SIMULATED}." if is_simulated(made) else ""


def _bench(bench: Mapping[str, Any]) -> str:
    parts = []
    if bench.get("interface"):
        parts.append(f"Recorded with: {bench['interface']}")
    inputs = [i for i in bench.get("inputs") or () if isinstance(i, Mapping)]
    for i, one in enumerate(inputs, 1):
        volts, ohm = number(one, "volts_full_scale"), number(one, "impedance_ohm")
        doubt, farad = number(one, "u95_percent"), number(one, "capacitance_pf")
        if volts is None or ohm is None:
            continue
        said = f"input {i}: {write_number(volts, 'V')} peak at full scale"
        said += f" (±{doubt:.2g} %)" if doubt is not None else ""
        said += f", {write_number(ohm, 'ohm')}"
        said += f" with {write_number(farad * 1e-12, 'F')} to pin 1" if farad else " to pin 1"
        parts.append(said)
    text = "; ".join(parts)
    if bench.get("recorded_on"):
        text += f"{'; r' if text else 'R'}ecorded on {bench['recorded_on']}"
    mains = number(bench, "mains_hz")
    if mains:
        text += f"{'; m' if text else 'M'}ains {mains:g} Hz"
    return f"{text}." if text else ""


def _takes(key: str, side: Mapping[str, Any]) -> str:
    takes = [t for t in side.get("takes") or () if isinstance(t, Mapping)]
    used = [str(t.get("take")) for t in takes if t.get("used")]
    if not used:
        return ""
    beside = _beside(side, takes)
    left_out = [
        f"{t.get('take')} ({t.get('why_not')})"
        for t in takes
        if not t.get("used") and t.get("why_not") and str(t.get("take")) not in beside
    ]
    hz = [f for f in _table(side, "curves").get("hz") or () if isinstance(f, int | float)]
    tones = f", at {len(hz)} tones from {write_hz(min(hz))} to {write_hz(max(hz))}" if hz else ""
    out = f" Not used: {'; '.join(left_out)}." if left_out else ""
    more = f" For noise, distortion and the like also: {', '.join(beside)}." if beside else ""
    return f"Takes used, {key}: {', '.join(used)}{tones}.{more}{out}"


def _beside(side: Mapping[str, Any], takes: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return takes that were not solved with the others and that facts rest on."""
    tables = [_table(side, "facts"), *(_table(row, "facts") for row in side.get("facts_at") or ())]
    named = taken_beside((entry for table in tables for entry in table.values()), takes)
    known = {str(t.get(name)): str(t.get("take")) for t in takes for name in ("file", "take")}
    return list(dict.fromkeys(known.get(file, _name(file)) for file in named))


def _name(file: str) -> str:
    """Return a take by its file, in the form of the names of takes."""
    return PurePath(file).stem.replace("-", " ")


IMPEDANCES = ("hot_impedance", "cold_impedance", "differential_impedance",
              "single_ended_impedance")  # fmt: skip

SOLVED = (
    "At each tone the takes were solved together, weighted by their noise and repeatability, "
    "for the open-circuit voltages and the impedance matrix of the output; the recorder's own "
    "input impedance was taken out{where}."
)

AS_RECORDED = (
    "No take loads the output or injects into it, so that its impedance is not known: voltages are "
    "those at the recorder's own input, and where a level of the output by itself is stated its "
    "interval holds what that input may take from it."
)


def _solving(sides: Mapping[str, Any]) -> Iterable[str]:
    """Yield how levels came about: sides of which an impedance is known, and the others."""
    known = [key for key, side in sides.items() if set(IMPEDANCES) & set(_table(side, "facts"))]
    bare = [key for key in sides if key not in known]
    if known:
        facts = [_table(sides[key], "facts") for key in known]
        part = any(
            _table(held, f"{leg}_level").get("limited_by_bench") or f"{leg}_level" not in held
            for held in facts
            for leg in ("hot", "cold", "single_ended")
            if f"{leg}_level" in held or f"{leg}_recorded" in held
        )
        where = " where the impedance it hangs on is known" if part else ""
        yield _of(known if bare else (), SOLVED.format(where=where))
    if bare:
        yield _of(bare if known else (), AS_RECORDED)


def _of(sides: Sequence[str], says: str) -> str:
    """Return a sentence with the sides that it is about, where it is not about all."""
    return f"{', '.join(sides).capitalize()}: {says[0].lower()}{says[1:]}" if sides else says


def _conditions(key: str, side: Mapping[str, Any]) -> str:
    found = _table(side, "conditions")
    parts = []
    if found.get("volume"):
        parts.append(f"volume {found['volume']}")
    repeat = number(found, "repeatability_db")
    if repeat is not None:
        parts.append(
            f"level between takes repeatable within {repeat:.2g} dB (one standard deviation)"
        )
    return f"Conditions, {key}: {'; '.join(parts)}." if parts else ""


def _draws(sides: Iterable[Any]) -> str:
    draws = [number(_table(side, "conditions"), "draws") for side in sides]
    known = [int(d) for d in draws if d]
    if not known:
        return ""
    return (
        f"Intervals hold 95 % of {known[0]} versions of the measurement drawn from all declared "
        "and observed uncertainties (propagation of distributions after JCGM 101)."
    )


def _warned(facts: Mapping[str, Any]) -> str:
    codes = dict.fromkeys(
        str(w.get("code")) for w in facts.get("warnings") or () if isinstance(w, Mapping)
    )
    return f"The analysis warned of: {', '.join(codes)}." if codes else ""


def _made(made: Mapping[str, Any]) -> str:
    if not made.get("by"):
        return ""
    sha = made.get("session_sha256")
    of = f", session {str(sha)[:12]}" if sha else ""
    return f"Analysed with {made['by']}{of}."
