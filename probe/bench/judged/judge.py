"""Judgement of a take just made: what was seen, what it means, what to do. Pure functions.

A judgement is an alarm: the take should be made again, or somebody should look. Clean takes raise
none (at most one in a hundred does); what is only of interest stays with the analysis.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from probe.bench.judged.judgement import (
    DISTORTED_PERCENT,
    HUM_RATIO,
    INPUT_CLIPS,
    WEAK_SHARE,
    Heard,
    Judgement,
)
from probe.bench.judged.legs import against, first_take, open_take
from probe.bench.judged.rising import NAMES, main_output
from probe.numbers import write_number
from probe.phasors import TakePhasors

TORN_RATIO = 0.3
"""What no steady tones explain, over the tones, from which together with a disturbed fit the
recording is torn: hum alone disturbs neither the clock nor the strong tones."""

LOOPED = 0.7
"""Share of the peak that an input of known gain hears of output 1 where its lead is in: 3 dB cover
what two inputs together take from an output of 600 ohm and a gain nobody metered."""

AGAIN_ALONE = "make the take again; close other programs if it happens often"

EARLY = 0.9
"""Share of a take in which the tones must stand still: the bench plays them from before its first
sample to after its last, so a shorter part means that something came loose."""


def judge(
    heard: Heard, earlier: Sequence[TakePhasors], other_side: Sequence[TakePhasors] = ()
) -> tuple[Judgement, ...]:
    """Return what is wrong with a take; empty: nothing was seen.

    Parameters
    ----------
    heard
        The take.
    earlier
        Good takes of the same side and volume, in order.
    other_side
        Good takes of the other side, at the same volume.
    """
    opened = open_take(earlier)
    single = _recording(heard) or _hum_beside_tone(heard, opened)
    if single:
        return tuple(single)
    if opened is None or heard.step.plugged.state != "play":
        return tuple(first_take(heard) or _distorted(heard))
    return tuple(against(heard, opened, other_side) or _distorted(heard))


def judge_loop_back(
    peaks: Sequence[float], wanted: Sequence[float], *, lost: bool
) -> tuple[Judgement, ...]:
    """Return what is wrong with a take in which the interface hears itself.

    Parameters
    ----------
    peaks
        Of the two inputs, shares of full scale.
    wanted
        What they should be.
    lost
        Whether samples were lost.
    """
    if lost:
        return (Judgement("samples-lost", "the interface lost samples", AGAIN_ALONE),)
    deaf = [k for k, (p, w) in enumerate(zip(peaks, wanted, strict=False), 1) if p < LOOPED * w]
    if not deaf:
        return ()
    which = " and ".join(f"input {k}" for k in deaf)
    do = "output 1 goes to both inputs, by one lead with two ends; the gains stay as they are"
    return (Judgement("nothing-heard", f"{which} does not hear output 1 as it should", do),)


# -- what the recording itself shows


def _recording(heard: Heard) -> list[Judgement]:
    """Judge what makes a recording useless whatever was plugged."""
    phasors = heard.phasors
    codes = {r.code: r.message for r in phasors.remarks}
    found = []
    if "clipped-take" in codes:
        found.append(_clipped(heard, codes["clipped-take"]))
    if heard.lost or "dropout" in codes:
        found.append(
            Judgement(
                "samples-lost",
                "the interface lost samples" if heard.lost else codes["dropout"],
                AGAIN_ALONE,
            )
        )
    if found:
        return found
    if "nothing-heard" in codes or "clock-unknown" in codes:
        return [
            Judgement(
                "nothing-heard",
                "no input hears the tones",
                "check that the device plays (source, volume, mute), the leads from the "
                "interface's output and to its inputs, and the input gain",
            )
        ]
    moved = codes.get("level-moved") or _broken_off(heard)
    if moved is not None:
        return [
            Judgement(
                "level-moved",
                moved,
                "a mute relay, somebody at the volume, or a lead that came loose: wait until "
                "the device has settled and make the take again",
            )
        ]
    loudest = max(_leg_values(heard, heard.peaks), default=0.0)
    if loudest < WEAK_SHARE and heard.step.plays:
        return [
            Judgement(
                "too-weak",
                f"the loudest leg reaches {20 * np.log10(max(loudest, 1e-9)):.0f} dB FS",
                "turn the device's volume up, or the input gain, and begin with the open take",
            )
        ]
    hum = _hum_ratio(heard)
    if hum > TORN_RATIO and ({"weak-tone", "clock-foreign"} & codes.keys()):
        return [
            Judgement(
                "samples-lost",
                "the tones do not keep their phase through the take: samples were lost",
                AGAIN_ALONE,
            )
        ]
    if hum > HUM_RATIO and heard.step.signal == "multitone":
        return [_hum_words(f"what is not the tones is {100 * hum:.0f} % of them: hum")]
    return []


def _clipped(heard: Heard, seen: str) -> Judgement:
    """Tell an input that clips from an output that does, by how far off full scale was."""
    peak = max(_leg_values(heard, heard.peaks), default=1.0)
    if peak >= INPUT_CLIPS:
        do = "turn the input gain down (or the level, 6 dB) and make the take again"
        return Judgement("clipped", seen, do)
    below = f"{-20.0 * np.log10(max(peak, 1e-9)):.0f} dB"
    return Judgement(
        "device-clips",
        f"{seen}; no input came nearer than {below} to its full scale: it is the device",
        f"make the take again at a lower level ({LOWER}); less input gain does not help",
    )


LOWER = "where the device plays files itself turn its volume down, and begin with the open take"


def _distorted(heard: Heard) -> list[Judgement]:
    """Say that an output distorts more in a take of one tone than any rated maximum allows."""
    main = main_output(heard.phasors.take)
    percent = heard.percent.get(main, 0.0)
    if percent <= DISTORTED_PERCENT:
        return []
    return [
        Judgement(
            "distorted",
            f"{NAMES[main]} distorts by {percent:.2g} %: the device clips or is overdriven",
            f"take a lower level ({LOWER}), or keep it where it distorts as much at any level",
            again=False,
        )
    ]


def _hum_beside_tone(heard: Heard, opened: TakePhasors | None) -> list[Judgement]:
    """Judge the hum of a take of one tone by what it is to the tones of the open take.

    Hum is as strong whatever is played; what else stands beside one tone is distortion.
    """
    if not heard.hum:
        return []
    of = _tones_volts(heard.phasors if opened is None else opened)
    volts = max(_leg_values(heard, heard.hum), default=0.0)
    if volts <= HUM_RATIO * of:
        return []
    return [_hum_words(f"{write_number(volts, 'V')} of mains hum stand beside the tone")]


def _hum_words(seen: str) -> Judgement:
    return Judgement(
        "hum",
        seen,
        "a lead not fully in, or a loop: laptop on battery, nothing else connected; "
        "never lift a protective earth",
    )


def _tones_volts(phasors: TakePhasors) -> float:
    """Return V rms of all tones on the loudest leg."""
    roles = phasors.take.channels
    legs = [c for c, role in enumerate(roles) if role not in ("reference", "unused")]
    power = np.sum(np.abs(phasors.volts) ** 2, axis=0)
    return float(np.sqrt(max((power[c] for c in legs), default=0.0)))


def _broken_off(heard: Heard) -> str | None:
    """Return what to say where the tones stood still in a part of the take only."""
    first, last = heard.phasors.steady_s
    whole = heard.phasors.take.frames / heard.phasors.take.sample_rate
    if last - first >= EARLY * whole:
        return None
    return f"the tones were there from {first:.2f} to {last:.2f} s of {whole:.2f} s only"


def _leg_values(heard: Heard, values: Sequence[float]) -> list[float]:
    roles = heard.phasors.take.channels
    return [
        v for v, role in zip(values, roles, strict=False) if role not in ("reference", "unused")
    ]


def _hum_ratio(heard: Heard) -> float:
    """Return what is left of the loudest leg beside its tones, over its tones."""
    take = heard.phasors.take
    scale = np.array([i.volts_full_scale for i in take.inputs])
    tones = np.sum(np.abs(heard.phasors.volts) ** 2, axis=0) / scale**2
    whole = np.array(heard.rms[: len(scale)]) ** 2
    legs = [c for c, role in enumerate(take.channels) if role not in ("reference", "unused")]
    loudest = max(legs, key=lambda c: tones[c])
    rest = max(whole[loudest] - tones[loudest], 0.0)
    return float(np.sqrt(rest / max(tones[loudest], 1e-30)))
