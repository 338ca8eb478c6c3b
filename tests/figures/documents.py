"""A small facts document by hand: every figure has something to draw."""

from __future__ import annotations

from typing import Any


def _v(value: float, unit: str, u95: float, **more: Any) -> dict[str, Any]:
    return {"value": value, "unit": unit, "u95": u95, "at_hz": 997.0, "takes": ["a.wav"], **more}


DOCUMENT: dict[str, Any] = {
    "format": "probe-facts/1",
    "device": {"maker": "Harrowgate", "model": "Tern", "serial": "HT-0231", "firmware": "2.1"},
    "made": {
        "by": "probe 0.1.0",
        "on": "2026-11-25T10:00:00Z",
        "session_sha256": "0f" * 32,
        "bench": {
            "interface": "two-channel USB interface",
            "mains_hz": 50.0,
            "recorded_on": "2026-03-14",
            "inputs": [
                {"volts_full_scale": 8.7, "u95_percent": 0.5, "impedance_ohm": 20000.0,
                 "capacitance_pf": 150.0},
            ],
        },
    },
    "sides": {
        "left": {
            "stage": {"kind": "differential", "confidence": 1.0},
            "conditions": {"volume": "12 o'clock", "repeatability_db": 0.02, "draws": 2000},
            "facts": {
                "leg_ratio": _v(0.1, "dB", 0.02),
                "hot_impedance": _v(5.0, "ohm", 0.1),
                "differential_thd": _v(0.01, "%", 0.002, at_volts=4.0, band_hz=[20.0, 20000.0]),
            },
            "facts_at": [
                {"condition": {"volume": "9 o'clock"},
                 "facts": {"gain_difference": _v(5.9, "dB", 0.1)}},
                {"condition": {"volume": "3 o'clock"},
                 "facts": {"gain_difference": _v(6.0, "dB", 0.1)}},
            ],
            "curves": {
                "hz": [20.0, 1000.0, 20000.0],
                "hot_open_circuit": {"unit": "V", "real": [1.0, 1.0, 0.9], "imag": [0.0, 0.0, 0.1],
                                     "u95": [0.01, 0.01, 0.01]},
                "cold_open_circuit": {"unit": "V", "real": [-1.0, -1.0, -0.9],
                                      "imag": [0.0, 0.0, 0.1], "u95": [0.01, 0.01, 0.01]},
                "hot_impedance": {"unit": "ohm", "real": [3.0, None, 6.0],
                                  "imag": [4.0, None, 8.0], "u95": [0.1, None, 0.2]},
                "differential_impedance": {"unit": "ohm", "real": [6.0, 6.0, 6.0],
                                           "imag": [0.0, 0.0, 0.0], "u95": [7.0, 0.2, 0.2]},
                "differential_response": {"unit": "dB", "hz": [20.0, 1000.0, 20000.0],
                                          "value": [-0.1, 0.0, -0.9], "u95": [0.01, 0.0, 0.01],
                                          "phase_deg": [170.0, None, -175.0]},
                "output_common_mode_rejection": {"unit": "dB", "value": [60.0, 55.0, 40.0],
                                                 "u95": [0.0, 2.0, 1.0],
                                                 "bound": ["above", None, None]},
                "differential_thd_against_level": {
                    "unit": "%", "volts": [0.1, 0.5, 5.0], "value": [None, 0.01, 0.5],
                    "u95": [None, 0.002, 0.02], "limit": [0.02, 0.004, 0.0004],
                },
                "hot_noise_density": {"unit": "V/√Hz", "hz": [100.0, 1000.0],
                                      "value": [2e-8, 1e-8], "u95": [1e-9, 1e-9],
                                      "limit": [1e-9, None]},
            },
            "harmonics": [
                {"output": "differential", "order": 2, "hz": 1994.0, "value": 0.01, "unit": "%",
                 "u95": 0.001, "limit": 1e-4},
                {"output": "differential", "order": 3, "hz": 2991.0, "value": 2e-4, "unit": "%",
                 "u95": 0.0, "bound": "below", "limited_by_bench": True, "limit": 1e-4},
            ],
            "takes": [{"take": "open", "file": "a.wav", "used": True, "why_not": None},
                      {"take": "spoiled", "file": "b.wav", "used": False, "why_not": "clipped"}],
        }
    },
    "between_sides": {
        "facts": {"channel_balance": _v(0.1, "dB", 0.01)},
        "curves": {
            "hz": [1000.0],
            "channel_balance": {"unit": "dB", "value": [0.1], "u95": [0.01]},
        },
    },
    "warnings": [{"code": "clipped-take", "take": "b.wav", "message": "clipped"}],
}  # fmt: skip
