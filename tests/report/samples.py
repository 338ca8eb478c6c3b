"""Facts documents of invented devices, one for every kind, to draw and to test pages with.

The numbers are closed-form circuits (build-out resistors, coupling capacitors, winding
capacitance), with made-up intervals; nothing here was measured and nothing is checked for truth.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from typing import Any

HZ = (20.0, 31.0, 47.0, 71.0, 113.0, 173.0, 269.0, 419.0, 647.0, 997.0, 1543.0, 2381.0, 3677.0,
      5683.0, 8779.0, 13567.0, 19997.0)  # fmt: skip
Z2 = tuple[complex, complex, complex, complex]
"""hot-hot, hot-cold, cold-hot, cold-cold"""
TAKES = ("open", "test tone into hot", "test tone into cold", "604 on hot", "604 on cold",
         "1208 across", "hot and single-ended", "open again")  # fmt: skip


def _j(hz: float) -> complex:
    return 2j * math.pi * hz


def _separate(
    hot: float, cold: float, cap_hot: float = 0.0, cap_cold: float = 0.0
) -> Callable[[float], Z2]:
    def z(hz: float) -> Z2:
        series = [1.0 / (_j(hz) * c) if c else 0.0 for c in (cap_hot, cap_cold)]
        return hot + series[0], 0j, 0j, cold + series[1]

    return z


def _floating(
    between: float, together: Callable[[float], complex], tapped: bool = False
) -> Callable[[float], Z2]:
    def z(hz: float) -> Z2:
        common = together(hz)
        own, other = common + between / 4.0, common - between / 4.0
        return own, other, other, own

    return z


def _curve(
    unit: str, values: list[complex | None], relative: float, floor: float
) -> dict[str, Any]:
    return {
        "unit": unit,
        "real": [None if v is None else v.real for v in values],
        "imag": [None if v is None else v.imag for v in values],
        "u95": [None if v is None else abs(v) * relative + floor for v in values],
    }


def side(
    kind: str,
    voc: Callable[[float], tuple[complex, complex]],
    z: Callable[[float], Z2],
    single: float | None,
    name: str = "left",
    **stage: Any,
) -> dict[str, Any]:
    """A side with every take made, of a stage given as open-circuit voltages and impedances."""
    v, m = [voc(f) for f in HZ], [z(f) for f in HZ]
    between = [a + d - b - c for a, b, c, d in m]
    together = [_together(*entries) for entries in m]
    curves: dict[str, Any] = {
        "hz": list(HZ),
        "hot_open_circuit": _curve("V", [x[0] for x in v], 0.004, 2e-5),
        "cold_open_circuit": _curve("V", [x[1] for x in v], 0.004, 2e-5),
        "hot_impedance": _curve("ohm", [x[0] for x in m], 0.004, 0.05),
        "cold_impedance": _curve("ohm", [x[3] for x in m], 0.004, 0.05),
        "cold_into_hot_impedance": _curve("ohm", [x[1] for x in m], 0.004, 0.05),
        "hot_into_cold_impedance": _curve("ohm", [x[2] for x in m], 0.004, 0.05),
        "differential_impedance": _curve("ohm", [complex(x) for x in between], 0.01, 0.2),
        "common_mode_impedance": _curve("ohm", [complex(x) for x in together], 0.03, 0.05),
        "draws": "opaque",
    }
    if single is not None:
        curves["single_ended_open_circuit"] = _curve("V", [complex(single)] * len(HZ), 0.004, 2e-5)
    at = HZ.index(997.0)
    return {
        "stage": {
            "driven_legs": "one-leg" if abs(v[at][1]) < 0.03 * abs(v[at][0]) else "both-legs",
            "kind": kind, "confidence": 0.998, "also_possible": [], "next_take": None,
            "next_take_reason": None, "path": "undetermined", "path_evidence": [],
            "polarity": "pin-2-hot" if single else "undetermined", "faults": [],
            "possible_faults": [], "possible_faults_told_by": [], "reasons": [],
        } | stage,
        "facts": _facts(v[at], m[at], between[at], together[at], single, name),
        "curves": curves,
        "takes": [
            {
                "take": f"{name} {take}", "file": f"{name}-{take.replace(' ', '-')}.wav",
                "used": True,
                "why_not": None, "steady_s": [0.42, 3.91], "delay_s": 0.0021 * i,
                "clock_ppm": 3.2,
                "residual": 0.8 + 0.05 * i,
            }
            for i, take in enumerate(TAKES)
            if single is not None or "single" not in take
        ],
        "conditions": {"volume": "12 o'clock", "state": "play"},
    }  # fmt: skip


def _together(a: complex, b: complex, c: complex, d: complex) -> complex:
    determinant = a * d - b * c
    total = a + d - b - c
    return determinant / total if abs(total) > 1e-12 else (a + b + c + d) / 4.0


def _facts(
    v: tuple[complex, complex],
    m: Z2,
    between: complex,
    together: complex,
    single: float | None,
    name: str,
) -> dict[str, Any]:
    hot, cold = v
    difference, mean = hot - cold, (hot + cold) / 2.0
    files = [f"{name}-open.wav", f"{name}-604-on-hot.wav", f"{name}-604-on-cold.wav"]

    def fact(value: float, unit: str, u95: float, **more: Any) -> dict[str, Any]:
        return {"value": value, "unit": unit, "u95": u95, "at_hz": 997.0, "takes": files} | more

    def db(ratio: float) -> float:
        return 20.0 * math.log10(max(ratio, 1e-7))

    facts = {
        "hot_level": fact(abs(hot), "V", 0.004 * abs(hot) + 2e-5),
        "cold_level": fact(abs(cold), "V", 0.004 * abs(cold) + 2e-5),
        "differential_level": fact(abs(difference), "V", 0.004 * abs(difference)),
        "common_mode_level": fact(abs(mean), "V", 0.004 * abs(hot)),
        "leg_ratio": fact(db(abs(cold) / abs(hot)), "dB", 0.021),
        "leg_phase": fact(math.degrees(cmath.phase(cold / hot)) if cold else 0.0, "deg", 0.06),
        "signal_balance": fact(min(db(abs(difference) / max(abs(mean), 1e-4)), 72.0), "dB", 1.4),
        "hot_impedance": fact(abs(m[0]), "ohm", 0.003 * abs(m[0]) + 0.02),
        "cold_impedance": fact(abs(m[3]), "ohm", 0.003 * abs(m[3]) + 0.02),
        "impedance_mismatch": fact(abs(m[0] - m[3]), "ohm", 0.11),
        "differential_impedance": fact(abs(between), "ohm", 0.004 * abs(between) + 0.05),
        "common_mode_impedance": fact(abs(together), "ohm", 0.03 * abs(together) + 0.05),
        "output_common_mode_rejection": fact(58.4, "dB", 3.0, low=56.1, high=62.9),
        "hot_level_pin_3_tied": fact(
            abs(hot - (m[1] / m[3]) * cold) if abs(m[3]) > 1 else abs(hot), "V", 0.01
        ),
        "pin_3_tie_current": fact(abs(cold / m[3]) / max(abs(difference), 1e-9), "A", 2e-5),
    }
    if abs(m[3]) > 1.0:
        facts["coupling_cold_into_hot"] = fact(
            (m[1] / m[3]).real, "1", 0.0012, imag=(m[1] / m[3]).imag
        )
        facts["coupling_hot_into_cold"] = fact(
            (m[2] / m[0]).real, "1", 0.0012, imag=(m[2] / m[0]).imag
        )
    if single is not None:
        facts["single_ended_level"] = fact(
            single,
            "V",
            0.004 * single,
            limited_by_bench=True,
            note="As recorded; no load was on it.",
        )
        facts["gain_difference"] = fact(db(abs(difference) / single), "dB", 0.03)
    return facts


def document(
    maker: str, model: str, serial: str, warnings: list[dict[str, Any]] | None = None, **sides: Any
) -> dict[str, Any]:
    """A facts document around sides."""
    return {
        "format": "probe-facts/1",
        "device": {"maker": maker, "model": model, "serial": serial},
        "made": {
            "by": "probe 0.1.0", "on": "2026-11-25T10:00:00Z", "session_sha256": "5f0c" * 16,
            "bench": {
                "interface": "two-channel USB interface", "mains_hz": 50.0, "recorded_on": ""
                "2026-03-14",
                "repeatability_db": 0.005,
                "input": [{"volts_full_scale": 8.7, "impedance_ohm": 20000.0}] * 2,
            },
        },
        "sides": sides,
        "warnings": warnings or [],
    }  # fmt: skip


def _opposite(level: float) -> Callable[[float], tuple[complex, complex]]:
    return lambda _: (complex(level), complex(-level))


def _hot_only(level: float, cold: complex = 0j) -> Callable[[float], tuple[complex, complex]]:
    return lambda _: (complex(level), cold)


def differential() -> dict[str, Any]:
    """A healthy stereo pair whose right side has a dried coupling capacitor."""
    reasons = [
        "Both legs carry signal: hot 2.113 V, cold 2.113 V, 180.0° apart.",
        "The legs are separate: what is put on one leg does not appear on the other "
        "(coupling 0.000, limit 0.08).",
    ]
    left = side(
        "differential",
        _opposite(2.113),
        _separate(49.9, 49.9, 100e-6, 100e-6),
        2.109,
        reasons=reasons,
    )
    left["stage"]["confidence"] = 0.9999
    dried = side(
        "differential", _opposite(2.108), _separate(49.9, 79.9, 100e-6, 1e-6), 2.104, "right",
        reasons=[*reasons, "The cold leg's impedance rises 150 times as far toward 20 Hz as the "
        "hot leg's."],
        faults=["coupling-capacitor-cold", "leg-impedances-unequal"],
        also_possible=[{"kind": "faulty", "confidence": 0.0021}],
    )  # fmt: skip
    warnings = [
        {"code": "level-moved", "take": "right-604-on-cold.wav", "message": "The level moved by "
        "0.04 dB within the take; the steady part is shorter for it. Repeat the take after the "
        "device has warmed up."},
        {"code": "uncertainty-assumed", "take": None, "message": "bench.input 1 states no "
        "u95_percent; 1 percent was taken."},
    ]  # fmt: skip
    return document("Larkfield", "LP-2 preamplifier", "LF-00417", warnings, left=left, right=dried)


def floating() -> dict[str, Any]:
    """A cross-coupled stage."""
    found = side(
        "electronically-floating",
        lambda _: (2.42 + 0j, -1.71 + 0j),
        _floating(50.1, lambda f: 3993.0 / (1.0 + 1j * f / 45e3)),
        4.12,
        "mono",
        reasons=[
            "The legs float: a push on one leg appears on the other (coupling 0.994 and 0.994, "
            "limit 0.8)."
        ],
        also_possible=[{"kind": "transformer-coupled", "confidence": 0.0004}],
    )
    return document("Ottermere", "Line Driver 8", "8-221", mono=found)


def transformer(tapped: bool = False) -> dict[str, Any]:
    """A transformer, floating or tapped to pin 1."""
    z = _floating(90.0, lambda f: 1.0 / (_j(f) * 600e-12 + 1e-7))
    if tapped:
        z = lambda _: (32.5 + 0j, -12.5 + 0j, -12.5 + 0j, 32.5 + 0j)  # noqa: E731
    found = side("transformer-coupled", _opposite(1.228), z, None, "mono",
                 reasons=["The legs are coupled as by a winding."])  # fmt: skip
    return document("Hollin & Bray", "Iron Stage", "", mono=found)


def ground_sensing() -> dict[str, Any]:
    """Pin 3 is an ear."""
    z = lambda _: (100.0 + 0j, 99.5 + 0j, 0j, 99.5 + 0j)  # noqa: E731
    found = side("ground-sensing", _hot_only(1.95, 0.01 + 0j), z, 1.95, "mono",
                 reasons=["What is put on pin 3 appears on 2, and not the reverse."])  # fmt: skip
    return document("Tarn Electric", "Desk Ten", "T10-5", mono=found)


def impedance_balanced(live: int = 2) -> dict[str, Any]:
    """One driven leg, like impedances; ``live`` is its pin."""
    voc = _hot_only(2.03, 4e-5 + 0j) if live == 2 else (lambda _: (4e-5 + 0j, 2.03 + 0j))
    found = side(
        "impedance-balanced", voc, _separate(100.2, 99.9, 47e-6, 47e-6), 2.03, "mono",
        reasons=["Only one leg carries signal; the other is 94 dB below it, with a like "
        "impedance."],
        confidence=0.94,
        also_possible=[{"kind": "unbalanced", "confidence": 0.06}],
        possible_faults=["cold-leg-dead"],
        possible_faults_told_by=[{"fault": "cold-leg-dead", "message": "A live amplifier stuck "
        "at zero looks the same. The maker's specification, the other side of the pair, or a "
        "test tone into pin 3 with the device switched off can tell."}],
        next_take="inject-cold-off",
        next_take_reason="It separates a resistor to ground from an amplifier that is at work.",
    )  # fmt: skip
    found["stage"]["polarity"] = f"pin-{live}-hot"
    return document("Fennick Audio", "Model 40 DAC", "40-0093", mono=found)


def unbalanced() -> dict[str, Any]:
    """Pin 3 tied to pin 1."""
    found = side("unbalanced", _hot_only(1.0), _separate(100.0, 0.03), 1.0, "mono",
                 reasons=["Pin 3 is joined to pin 1: 0.03 ohm."])  # fmt: skip
    return document("Wren", "Tuner One", "", mono=found)


def pin_3_unconnected() -> dict[str, Any]:
    """Pin 3 leads nowhere."""
    z = lambda f: (100.0 + 0j, 0j, 0j, 1.0 / (_j(f) * 79e-12))  # noqa: E731
    found = side("pin-3-unconnected", _hot_only(1.0, 0.004 + 0j), z, 1.0, "mono",
                 possible_faults=["cold-leg-dead"],
                 reasons=["Pin 3 shows more than 100 kΩ: strays only."])  # fmt: skip
    facts = found["facts"]
    facts["cold_impedance"] = {"value": 1e5, "unit": "ohm", "bound": "above", "at_hz": 997.0,
                               "limited_by_bench": True, "takes": ["left-open.wav"]}  # fmt: skip
    return document("Wren", "Tuner Two", "", mono=found)


def faulty() -> dict[str, Any]:
    """Legs in phase."""
    found = side("faulty", lambda _: (2.0 + 0j, 2.0 + 0j), _separate(100.0, 100.0), 2.0, "mono",
                 faults=["legs-in-phase"], reasons=["Both legs move together: 0.0°."])  # fmt: skip
    del found["facts"]["gain_difference"]
    return document("Sable Works", "Console Buffer", "SW-1", mono=found)


def open_only() -> dict[str, Any]:
    """Nothing but an open take: levels as recorded and a question."""
    full = side("undetermined", _opposite(1.31), _separate(100.0, 100.0), None, "left")
    curves = {"hz": full["curves"]["hz"],
              "hot_recorded": full["curves"]["hot_open_circuit"],
              "cold_recorded": full["curves"]["cold_open_circuit"]}  # fmt: skip
    facts = {new: full["facts"][old] | {"takes": ["left open"]}
             for new, old in (("hot_recorded", "hot_level"),
                              ("cold_recorded", "cold_level"))}  # fmt: skip
    found = {
        "stage": full["stage"] | {
            "confidence": 1.0,
            "also_possible": [{"kind": k, "confidence": None} for k in
                              ("differential", "electronically-floating", "transformer-coupled")],
            "next_take": "load-cold",
            "next_take_reason": "A floating pair follows such a load, separate legs do not.",
            "reasons": ["Both legs carry signal in opposite directions.",
                        "Whether the legs are coupled was not measured."],
        },
        "facts": facts, "curves": curves, "takes": full["takes"][:1],
    }  # fmt: skip
    return document("Larkfield", "LP-1", "", left=found)


def bare() -> dict[str, Any]:
    """The least a document can hold."""
    return {"format": "probe-facts/1", "sides": {"mono": {}}}


def hostile() -> dict[str, Any]:
    """Names that try to break out of the page or to break its layout."""
    found = differential()
    long = "W" * 10_000
    found["device"] = {
        "maker": "<script>alert(1)</script>\u202e\u0007drawkcab",
        "model": long,
        "serial": '"><img src=x onerror=alert(2)>\x00\x1b[31m' + "\u0301" * 500,
    }
    for held in found["sides"].values():
        for take in held["takes"]:
            take["take"] = take["file"] = "</table></style><svg onload=alert(3)>\u2066" + long
        held["stage"]["reasons"] = ["</ul><script>alert(4)</script>" + long, "\ud800 lone"]
        for fact in held["facts"].values():
            fact["takes"] = ["javascript:alert(5)//" + long] * 3
            fact["note"] = "{{ 7 * 7 }} <b>bold</b> " + long
    found["made"]["bench"] = {"<i>key</i>" + long: {"a<b": [long, "]]>"]}}
    found["made"]["on"] = "<u>today</u>"
    found["warnings"] = [{"code": "x" * 500, "take": None, "message": "</main>" + "\u05d0" * 9000}]
    return found


def advice() -> dict[str, Any]:
    """An advice document with one option of each verdict."""

    def option(code: str, verdict: str, level: float, **more: Any) -> dict[str, Any]:
        return {
            "id": code, "verdict": verdict, "provisional": True,
            "reasons": [f"Because of {verdict}."],
            "hazards": [],
            "loss_db": {"at_20_hz": {"value": 0.02, "unit": "dB", "u95": 0.01}},
            "bandwidth_hz": {"high": {"value": 2e5, "unit": "Hz", "bound": "above"}},
            "level": {"value": level, "unit": "V", "u95": 0.01},
            "level_vs_rca_db": {"value": 20 * math.log10(level / 2.0), "unit": "dB", "u95": 0.03},
        } | more  # fmt: skip

    return {
        "format": "probe-advice/1",
        "chosen": "rca-to-rca",
        "cautions": ["Direct voltage was not metered: meter it before anything is connected."],
        "options": [
            option("xlr-to-rca/pin-3-tied-at-destination", "never", 2.1, hazards=[
                {"code": "tie-current", "message": "42 mA peak in the tied leg."}]),
            option("rca-to-rca", "use", 2.0),
            option("xlr-to-rca/pin-3-open", "works", 2.11),
            option("xlr-to-rca/transformer", "cannot-tell", 4.2),
        ],
    }  # fmt: skip


SAMPLES: dict[str, Callable[[], dict[str, Any]]] = {
    "differential": differential,
    "floating": floating,
    "transformer": transformer,
    "tapped": lambda: transformer(tapped=True),
    "ground-sensing": ground_sensing,
    "impedance-balanced": impedance_balanced,
    "impedance-balanced-on-pin-3": lambda: impedance_balanced(3),
    "unbalanced": unbalanced,
    "pin-3-unconnected": pin_3_unconnected,
    "faulty": faulty,
    "open-only": open_only,
    "bare": bare,
    "hostile": hostile,
}
