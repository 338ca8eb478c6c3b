"""Output stages as analytic circuits, for the tests of advice: no measurement behind them."""

from __future__ import annotations

from typing import Any

import numpy as np

from probe.facts.source import FROM_MODAL, Source

TONES = np.array([20.0, 41.0, 71.0, 211.0, 503.0, 997.0, 2011.0, 4999.0, 9973.0, 20000.0])
WIDE = np.concatenate([TONES, [31000.0, 47000.0, 61000.0, 90000.0, 131000.0, 200000.0]])


def source(
    *,
    diff: Any = 2.0,
    common: Any = 0.0,
    z_diff: Any = 200.0,
    z_common: Any = 50.0,
    z_skew: tuple[Any, Any] = (0.0, 0.0),
    single: Any = np.nan,
    z_single: Any = np.nan,
    hz: Any = TONES,
    draws: int = 0,
    spread: float = 0.0,
    skew_noise: float = 0.0,
    seed: int = 1,
) -> Source:
    """A stage from its modal values (numbers, or arrays over hz); ``z_skew`` is (z01, z10).

    ``skew_noise``: rms of each part of what a solve adds to ``z_skew``, ohm, the estimate included.
    """
    hz = np.asarray(hz, dtype=float)
    voc = np.empty((hz.size, 3), complex)
    voc[:, 0], voc[:, 1], voc[:, 2] = diff, common, single
    z = np.full((hz.size, 3, 3), 0j)
    z[:, 0, 0], z[:, 1, 1], z[:, 2, 2] = z_diff, z_common, z_single
    z[:, 0, 1], z[:, 1, 0] = z_skew
    rng = np.random.default_rng(seed)
    gain = 1.0 + spread * rng.standard_normal((draws, 1, 1))
    ohms = 1.0 + spread * rng.standard_normal((draws, 1, 1, 1))
    voc_draws, z_draws = voc[None] * gain, z[None] * ohms
    if skew_noise:
        noise = skew_noise * rng.standard_normal((draws + 1, 1, 2)) @ np.array([[1.0], [1j]])
        for off in ((0, 1), (1, 0)):
            z[(slice(None), *off)] += noise[0, 0]
            z_draws[(..., *off)] += noise[0, 0] + noise[1:, :, 0]
    return Source(
        hz, voc, z, voc_draws, z_draws,
        _legs_v(voc), _legs_z(z), _legs_v(voc_draws), _legs_z(z_draws),
    )  # fmt: skip


def legs(
    *,
    hot: complex,
    cold: complex,
    z: Any,
    single: Any = np.nan,
    z_single: Any = np.nan,
    hz: Any = TONES,
    draws: int = 0,
    spread: float = 0.0,
) -> Source:
    """A stage from its leg values: ``z`` is ((hh, hc), (ch, cc)), numbers or arrays over hz."""
    hz = np.asarray(hz, dtype=float)
    (hh, hc), (ch, cc) = [[np.broadcast_to(e, hz.shape).astype(complex) for e in r] for r in z]
    return source(
        diff=hot - cold,
        common=(hot + cold) / 2,
        z_diff=hh + cc - hc - ch,
        z_common=(hh + cc + hc + ch) / 4,
        z_skew=((hh + hc - ch - cc) / 2, (hh - hc + ch - cc) / 2),
        single=single,
        z_single=z_single,
        hz=hz,
        draws=draws,
        spread=spread,
    )


def _legs_v(voc: Any) -> Any:
    out = np.empty_like(voc)
    out[..., 0] = voc[..., 0] / 2 + voc[..., 1]
    out[..., 1] = -voc[..., 0] / 2 + voc[..., 1]
    out[..., 2] = voc[..., 2]
    return out


def _legs_z(z: Any) -> Any:
    two = FROM_MODAL[:2, :2]
    out = np.zeros_like(z)
    out[..., :2, :2] = np.einsum("ij,...jk,lk->...il", two, z[..., :2, :2], two)
    out[..., 2, 2] = z[..., 2, 2]
    return out


def facts(
    kind: str = "differential",
    *,
    driven: str = "both-legs",
    connectors: tuple[str, ...] = ("xlr", "rca"),
    also: tuple[dict[str, Any], ...] = (),
    next_take: str | None = None,
    values: dict[str, Any] | None = None,
    device: dict[str, Any] | None = None,
    stage: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """A facts document as far as the advice reads it."""
    return {
        "format": "probe-facts/1",
        "device": {"maker": "Harrowgate", "model": "Tern", "serial": "HT-0231",
                   "connectors": list(connectors), "output": "line", "output_declared": True,
                   **(device or {})},
        "sides": {"left": {
            "stage": {"kind": kind, "driven_legs": driven, "also_possible": list(also),
                      "next_take": next_take, "polarity": "pin-2-hot", "faults": [],
                      **(stage or {})},
            "facts": values or {},
        }},
        "warnings": [],
    }  # fmt: skip


def symmetrical(**more: Any) -> Source:
    return source(diff=2.0, z_diff=100.0, z_common=25.0, single=1.0, z_single=50.0, **more)


def transformer(**more: Any) -> Source:
    hz = np.asarray(more.get("hz", TONES))
    zcm = 1.0 / (2j * np.pi * hz * 600e-12)
    return source(diff=2.0, z_diff=100.0, z_common=zcm, single=2.0, z_single=50.0, **more)


def cross_coupled(**more: Any) -> Source:
    return source(diff=2.0, z_diff=50.0, z_common=4000.0, single=1.0, z_single=50.0, **more)


def impedance_balanced(**more: Any) -> Source:
    return source(
        diff=2.0, common=1.0, z_diff=200.0, z_common=50.0, single=2.0, z_single=100.0, **more
    )


def ground_sensing(**more: Any) -> Source:
    return legs(
        hot=2.0, cold=0.0, z=((100.0, 99.5), (0.0, 99.5)), single=2.0, z_single=100.0, **more
    )
