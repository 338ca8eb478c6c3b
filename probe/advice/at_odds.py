"""Figures of a typed output that cannot all be true: a question each, no refusal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from probe.advice.source_file import LEVEL_U95, ONE_LEG_KINDS
from probe.numbers import plain, write_number

UNLIKE_LEGS = 2.0
"""Level of one leg over that of the other from which both are asked about: the legs of a stage that
drives both carry the same within some parts in a hundred. [judgement]"""

MOST_NOISE = 0.01
"""Noise over the level at full output from which it is asked about: line outputs have microvolts,
80 dB and more below; microvolts typed as millivolts or volts lie above this. [judgement]"""

BEYOND = (1.0 + LEVEL_U95) / (1.0 - LEVEL_U95)
"""Ratio of two typed levels from which the one is above the other, whatever each was rounded by."""


def at_odds(stated: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what of a data sheet contradicts itself, in words; ``stated``: as it was typed."""
    return (*_above_maximum(stated), *_legs(stated), *_noise(stated))


def _full(stated: Mapping[str, Any], output: str) -> tuple[float, str] | None:
    """Return the level of an output at full output, V rms, and the keys that state it."""
    key, hot = f"{output}_level_v", stated.get("hot_level_v")
    if stated.get(key):
        return stated[key], key
    if output == "single_ended" or hot is None:
        return None
    cold = stated.get("cold_level_v")
    return hot + (cold or 0.0), "hot_level_v" + (" and cold_level_v" if cold else "")


def _above_maximum(stated: Mapping[str, Any]) -> Iterator[str]:
    for output in ("differential", "single_ended"):
        key = f"{output}_maximum_v"
        most, full = stated.get(key), _full(stated, output)
        if most is not None and full is not None and full[0] > BEYOND * most:
            yield (
                f"{_volts(full[0])} at full output ({full[1]}) is more than the maximum of "
                f"{_volts(most)} ({key}). Look both figures up again."
            )


def _legs(stated: Mapping[str, Any]) -> Iterator[str]:
    hot, cold, kinds = (stated.get(k) for k in ("hot_level_v", "cold_level_v", "kinds"))
    if not hot or not cold:
        return
    if kinds and set(kinds) <= set(ONE_LEG_KINDS):
        if cold > LEVEL_U95 * hot:
            yield (
                f"{_volts(cold)} on pin 3 (cold_level_v): a stage of kind {' or '.join(kinds)} "
                "(kinds) has no signal there. Look both up again: with signal on pin 3 it is a "
                "differential or a floating one."
            )
    elif max(hot / cold, cold / hot) > UNLIKE_LEGS:
        yield (
            f"{_volts(hot)} on pin 2 (hot_level_v) and {_volts(cold)} on pin 3 (cold_level_v): "
            "two legs that are driven carry about the same. Look both figures up again."
        )


def _noise(stated: Mapping[str, Any]) -> Iterator[str]:
    for name in ("differential", "hot", "cold", "single_ended"):
        key = f"{name}_noise_a_v"
        noise = stated.get(key)
        full = _full(stated, "single_ended" if name == "single_ended" else "differential")
        if noise is not None and full is not None and noise > MOST_NOISE * full[0]:
            yield (
                f"{_volts(noise)} of noise ({key}) beside {_volts(full[0])} at full output: line "
                "outputs have some microvolts (5 uV is 5e-6). Look the figure up again."
            )


def _volts(volts: float) -> str:
    return plain(write_number(volts, "V"))
