"""The stages the round trips go over, by name, with the kind and the faults that are right."""

from __future__ import annotations

from .forward import (
    Stage,
    exchanged,
    floating,
    ground_sensing,
    separate,
    sharing,
    strays,
    tapped,
)


def _winding(farad: float):
    """Mean impedance of a floating winding: its capacitance to pin 1 behind a few ohm."""
    return lambda f: 5.0 + 1.0 / (2j * 3.141592653589793 * f * farad)


def _with_capacitor(ohm: float, farad: float):
    return lambda f: ohm + 1.0 / (2j * 3.141592653589793 * f * farad)


STAGES: dict[str, Stage] = {
    "separate": separate(),
    "separate-unequal": separate(2.0, -1.8, 100.0, 130.0),
    "floating-1k": floating(zcm=1e3, zd=51.0),
    "floating-4k-leaning": floating(zcm=4e3, lean=0.15),
    "floating-20k": floating(zcm=2e4, zd=100.0),
    "transformer": floating(zd=90.0, zcm=_winding(6e-10)),
    "tapped": tapped(),
    "ground-sensing": ground_sensing(),
    "silent": separate(2.0, 0.0, 100.0, 100.0),
    "tied": separate(2.0, 0.0, 100.0, 0.05),
    "open": separate(2.0, 0.0, 100.0, strays(3e-11)),
    "sharing": sharing(),
    "coupled-capacitors": separate(
        2.0, -2.0, _with_capacitor(100.0, 1e-4), _with_capacitor(100.0, 1e-4)
    ),
    "dried-cold": separate(2.0, -2.0, _with_capacitor(100.0, 1e-4), _with_capacitor(130.0, 1e-6)),
    "in-phase": separate(2.0, 2.0),
    "silent-exchanged": exchanged(separate(2.0, 0.0, 100.0, 100.0)),
}

KIND = {
    "separate": "differential",
    "separate-unequal": "differential",
    "floating-1k": "electronically-floating",
    "floating-4k-leaning": "electronically-floating",
    "floating-20k": "electronically-floating",
    "transformer": "transformer-coupled",
    "tapped": "transformer-coupled",
    "ground-sensing": "ground-sensing",
    "silent": "impedance-balanced",
    "tied": "unbalanced",
    "open": "pin-3-unconnected",
    "sharing": "differential",
    "coupled-capacitors": "differential",
    "dried-cold": "differential",
    "in-phase": "faulty",
    "silent-exchanged": "impedance-balanced",
}
