"""Whether an output is a line output: the one place that doubts it.

Headphone and loudspeaker outputs are neither measured nor adapted. One that looks like such, by
what its kind or model is called, by its impedance or by its level, and that nobody has declared as
a line output, is asked about again; everything that measures, tells or advises asks here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from probe.numbers import number

POWER_OHM, POWER_VOLTS = 5.0, 8.0
"""Below this impedance, or above this level (rms), an output is built for headphones or more."""

LINE_MOST_VOLTS = 22.0
"""Level (rms) above which there is no line output: those of studios reach +24 to +28 dBu (12.3 to
19.5 V), and lines for loudspeakers, which their makers call lines too, begin at 25 V (then 70 and
100 V), behind amplifiers of many watts. This lies as far from the one as from the other. Common
practice, no source. A maximum before it distorts that is above it is asked about, not refused:
valve stages swing more."""

CALLED = re.compile(
    r"head-?\s?phone|ear-?\s?phone|\bpower[\s-]?amp|\bpower[\s-]stage|\bmono-?\s?block|\bbridged\b"
    r"|speaker (?:amp|output|terminal)|kopfh(?:ö|oe?)rer|\bendstufe|\bendverst|\bcasque|\bcuffi"
    r"|auricular",
    re.IGNORECASE,
)
"""What devices are called whose outputs drive headphones or loudspeakers."""

LEVELS = ("differential_level", "hot_level", "cold_level", "single_ended_level")


MAXIMA = ("differential_maximum", "single_ended_maximum")


def called_so(*texts: str) -> str | None:
    """Return the text that calls the device a headphone or power amplifier, or None."""
    return next((text.strip() for text in texts if CALLED.search(text)), None)


def output_ohm(facts: Mapping[str, Any]) -> float | None:
    """Return the impedance an output is judged by, None where it is not known yet.

    Between the legs where that is known; else that of the leg that holds more, since a pin 3 that
    is tied to ground is no sign of power.

    Parameters
    ----------
    facts
        Of one side, as in a facts document.
    """
    between = _entry(facts, "differential_impedance")
    if between is not None:
        return between
    legs = [_entry(facts, name) for name in ("hot_impedance", "cold_impedance")]
    found = [ohm for ohm in legs if ohm is not None]
    return max(found) if len(found) == len(legs) else None


def looks_like_power(
    impedance_ohm: float | None, full_output_volts: float | None, heard_volts: float
) -> str | None:
    """Return what makes an output look like headphones or power, or None.

    Parameters
    ----------
    impedance_ohm
        Differential or leg impedance found so far.
    full_output_volts
        The most it gives, as its maker says.
    heard_volts
        Loudest differential level heard, rms.
    """
    if impedance_ohm is not None and impedance_ohm < POWER_OHM:
        return f"its impedance is {impedance_ohm:.2g} ohm, as of a headphone or power amplifier"
    volts = max(full_output_volts or 0.0, heard_volts)
    if volts > POWER_VOLTS:
        return f"it gives {volts:.3g} V, more than line outputs usually do"
    return None


def doubts(document: Mapping[str, Any]) -> tuple[str, ...]:
    """Return why the output of a facts document may be none for lines, empty where nothing says so.

    Nothing is doubted of a device without analogue outputs, or declared as what it is; nor for a
    level of one that is declared, which is that of a studio's line outputs (`beyond_line` tells
    what is more); nor for the most it gives, which is 10 V and more of ordinary preamplifiers, up
    to what lines give.
    """
    if not _for_lines(document):
        return ()
    device = _mapping(document.get("device"))
    found = []
    name = called_so(str(device.get("kind") or ""), str(device.get("model") or ""))
    if name is not None:
        found.append(f'it is called "{name}"')
    sides = [_mapping(_mapping(s).get("facts")) for s in _mapping(document.get("sides")).values()]
    ohms = [f(e) for e in (*sides, _stated(document)) for f in (output_ohm, _single_ended_ohm)]
    figures = [looks_like_power(min((o for o in ohms if o is not None), default=None), None, 0.0)]
    if not declared(document):
        figures.append(looks_like_power(None, None, _largest(document, LEVELS)))
    most = _largest(document, MAXIMA)
    if most > LINE_MOST_VOLTS:
        figures.append(f"it gives up to {most:.3g} V, as lines for loudspeakers do")
    return (*found, *(said for said in figures if said is not None))


def beyond_line(document: Mapping[str, Any]) -> float | None:
    """Return the level (V rms) of the output of a facts document, where no line output gives it.

    What its maker calls it changes nothing: a loudspeaker line is one of his lines, too.
    """
    volts = _largest(document, LEVELS)
    return volts if _for_lines(document) and volts > LINE_MOST_VOLTS else None


def _for_lines(document: Mapping[str, Any]) -> bool:
    """Tell whether it has analogue outputs that are, or may be, for lines."""
    device = _mapping(document.get("device"))
    connectors = device.get("connectors")
    said = connectors if isinstance(connectors, list | tuple) and connectors else ("xlr",)
    return (device.get("output") or "line") == "line" and ("xlr" in said or "rca" in said)


def _largest(document: Mapping[str, Any], names: tuple[str, ...]) -> float:
    """Return the largest of some levels, as measured or as a sheet states them, V rms."""
    sides = [_mapping(_mapping(s).get("facts")) for s in _mapping(document.get("sides")).values()]
    levels = [_entry(e, name) for e in (*sides, _stated(document)) for name in names]
    return max((v for v in levels if v is not None), default=0.0)


def declared(document: Mapping[str, Any]) -> bool:
    """Tell whether somebody declared what kind of output it is."""
    return _mapping(document.get("device")).get("output_declared") is True


def _single_ended_ohm(facts: Mapping[str, Any]) -> float | None:
    return _entry(facts, "single_ended_impedance")


def _stated(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return the figures of a data sheet as entries of facts; its legs are alike."""
    stated = _mapping(document.get("stated"))
    found = {
        key.removesuffix("_ohm").removesuffix("_v"): {"value": value}
        for key, value in stated.items()
        if key.endswith(("_ohm", "_v"))
    }
    if "hot_impedance" in found:
        found.setdefault("cold_impedance", found["hot_impedance"])
    return found


def _entry(facts: Mapping[str, Any], name: str) -> float | None:
    return number(_mapping(facts.get(name)))


def _mapping(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}
