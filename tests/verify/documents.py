"""A facts document of a stage given in closed form: levels, resistive legs, a chosen doubt."""

from __future__ import annotations

from typing import Any

import numpy as np

from probe.facts.curves import curve, encode
from probe.stage.source import TO_MODAL, Source

HZ = np.array([20.0, 1000.0, 20000.0])
DRAWS = 400


def source(hot: float = 1.0, cold: float = -1.0, ohm: float = 100.0, doubt: float = 0.0) -> Source:
    """Two separate legs of ``ohm`` each, a single-ended output of 1 V behind 50 ohm."""
    rng = np.random.default_rng(5)
    voc = np.tile(np.array([hot, cold, 1.0], dtype=complex), (len(HZ), 1))
    z = np.tile(np.diag([ohm, ohm, 50.0]).astype(complex), (len(HZ), 1, 1))
    scale = 1.0 + doubt / 1.96 * rng.standard_normal(DRAWS)
    voc_draws = scale[:, None, None] * voc
    z_draws = np.tile(z, (DRAWS, 1, 1, 1))
    return Source(
        hz=HZ,
        voc=voc @ TO_MODAL.T,
        z=TO_MODAL @ z @ TO_MODAL.T,
        voc_draws=voc_draws @ TO_MODAL.T,
        z_draws=TO_MODAL @ z_draws @ TO_MODAL.T,
        legs_voc=voc,
        legs_z=z,
        legs_voc_draws=voc_draws,
        legs_z_draws=z_draws,
    )


def entry(value: float, unit: str, u95: float, **more: Any) -> dict[str, Any]:
    return {"value": value, "unit": unit, "u95": u95, "at_hz": 1000.0, "takes": ["o.wav"]} | more


def side(ohm: float = 100.0, **stage: Any) -> dict[str, Any]:
    """One side: 2 V between legs of ``ohm`` each."""
    found = source(ohm=ohm, doubt=0.005)
    curves: dict[str, Any] = {"hz": HZ.tolist(), "draws": encode(found)}
    z = np.concatenate([found.z[None], found.z_draws])
    curves["differential_impedance"] = curve(z[..., 0, 0], "ohm")
    return {
        "stage": {
            "driven_legs": "both-legs", "kind": "differential", "confidence": 0.999,
            "also_possible": [], "next_take": None, "polarity": "pin-2-hot",
            "polarity_against": "the single-ended output", "faults": [], "possible_faults": [],
        } | stage,
        "conditions": {"volume": "noon", "drive_volts": 0.5, "drive_dbfs": None},
        "facts": {
            "hot_level": entry(1.0, "V", 0.005),
            "cold_level": entry(1.0, "V", 0.005),
            "differential_level": entry(2.0, "V", 0.01),
            "single_ended_level": entry(1.0, "V", 0.005),
            "hot_impedance": entry(ohm, "ohm", 0.01 * ohm),
            "cold_impedance": entry(ohm, "ohm", 0.01 * ohm),
            "differential_impedance": entry(2 * ohm, "ohm", 0.02 * ohm),
            "differential_gain": entry(12.04, "dB", 0.05),
            "gain_difference": entry(6.02, "dB", 0.03),
            "differential_maximum": entry(10.0, "V", 0.05),
        },
        "facts_at": [],
        "curves": curves,
    }  # fmt: skip


def document(**sides: Any) -> dict[str, Any]:
    return {
        "format": "probe-facts/1",
        "device": {"maker": "Larkfield", "model": "LP-2", "serial": "LF-00417"},
        "made": {
            "by": "probe 0.1.0", "on": "2026-11-25T10:00:00Z", "session_sha256": "5f0c" * 16,
            "bench": {"interface": "two inputs", "recorded_on": "2026-11-24", "inputs": []},
        },
        "sides": sides or {"mono": side()},
        "warnings": [],
    }  # fmt: skip
