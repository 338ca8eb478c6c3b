"""Leg ratio against volume: one attenuator ahead of both legs cannot move it, two can."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from probe.measures.path import limits
from probe.measures.path.model import Indication, silent

NAME = "ratio-against-volume"


@dataclass(frozen=True)
class Reading:
    """Cold over hot in one take, dB; ``exchanged``: with the leads the other way round.

    ``sd`` is its standard deviation from noise, dB.
    """

    volume: str
    exchanged: bool
    db: float
    sd: float
    file: str = ""


def judge(readings: Sequence[Reading], impedance_ohm: float, recorder_ohm: float) -> Indication:
    """Return what the spread of the leg ratio says.

    Parameters
    ----------
    readings
        Of all open takes, in the order they were made; several volume settings.
    impedance_ohm
        Larger impedance of the legs; NaN where not known.
    recorder_ohm
        Input impedance of the recorder.
    """
    files = tuple(dict.fromkeys(r.file for r in readings if r.file))
    both = all(
        {r.exchanged for r in readings if r.volume == v} == {False, True}
        for v in _volumes(readings)
    )
    orders = (False, True) if both else (readings[0].exchanged,) if readings else ()
    kept = [r for r in readings if r.exchanged in orders]
    settings = _volumes(kept)
    if len(settings) < limits.FEWEST_SETTINGS:
        return silent(NAME, f"fewer than {limits.FEWEST_SETTINGS} volume settings were recorded",
                      takes=files)  # fmt: skip
    means = {
        v: float(np.mean([np.mean([r.db for r in kept if r.volume == v and r.exchanged == o])
                          for o in orders]))
        for v in settings
    }  # fmt: skip
    spread = max(means.values()) - min(means.values())
    repeat, freedom = _repeat(kept)
    noise = float(np.sqrt(np.mean([r.sd**2 for r in kept]) / len(orders)))
    sd = _doubt(
        float(np.hypot(noise, limits.RATIO_DOUBT_DB)), repeat / np.sqrt(len(orders)), freedom
    )
    moves = 0.0 if np.isnan(impedance_ohm) else _moved_db(impedance_ohm, recorder_ohm)
    known: dict[str, Any] = {
        "value": spread,
        "unit": "dB",
        "u95": float(1.96 * np.sqrt(2.0) * sd),
        "more": {"settings": float(len(settings)), "ratio_sd_db": sd},
        "takes": files,
    }
    if np.isnan(impedance_ohm):
        return silent(NAME, "the impedance of the legs is not known: it might follow the volume",
                      **known)  # fmt: skip
    if spread <= max(limits.SPREAD_DB, limits.SPREAD_SIGMAS * sd, 2.0 * moves):
        return silent(NAME, "the legs keep their ratio: digital, fixed or accurate volume controls "
                      "do that on one path as on two", **known)  # fmt: skip
    if not freedom:
        return silent(NAME, "no setting was recorded twice: the spread may be drift", **known)
    return Indication(
        NAME,
        says="two-paths",
        strength="strong",
        weight=1.0 / limits.RATIO_CAP,
        meaning="each leg has an attenuator of its own; what lies before the volume control it "
        "does not show",
        **known,
    )


def _volumes(readings: Sequence[Reading]) -> list[str]:
    return list(dict.fromkeys(r.volume for r in readings))


def _doubt(usual: float, repeat: float, freedom: int) -> float:
    """Return the standard deviation of a ratio: the usual one, unless the repeats are worse.

    A few repeats scatter widely by themselves; they count where chance explains them in under one
    case of a hundred.
    """
    from scipy.special import chdtri

    if freedom and repeat > usual * np.sqrt(chdtri(freedom, 0.01) / freedom):
        return repeat
    return usual


def _repeat(readings: Sequence[Reading]) -> tuple[float, int]:
    """Return the scatter of one reading where a setting was recorded again, and its freedom."""
    squares, freedom = 0.0, 0
    for volume in _volumes(readings):
        for order in (False, True):
            same = [r.db for r in readings if r.volume == volume and r.exchanged == order]
            if len(same) > 1:
                squares += float(np.sum((np.array(same) - np.mean(same)) ** 2))
                freedom += len(same) - 1
    return (float(np.sqrt(squares / freedom)) if freedom else 0.0), freedom


def _moved_db(impedance_ohm: float, recorder_ohm: float) -> float:
    """Return by how much the ratio may move because the impedances follow the volume."""
    moved = limits.IMPEDANCE_MOVES * impedance_ohm / (recorder_ohm + impedance_ohm)
    return float(20.0 * np.log10(1.0 + moved))
