"""Takes of one tone at a wanted level of the output: what drives them, or why it cannot be."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from probe.bench.guided.taking import peak_of
from probe.bench.planned.steps import Step
from probe.bench.tones.sets import TONE
from probe.numbers import interval, number, write_number
from probe.session.model import Bench

MOST_HEARD = 10.0 ** (-3.0 / 20.0)
"""Peak of the tone at any input, over its full scale: the tone is stopped from -0.5 dB on."""

MOST_PLAYED = 0.9
"""Peak of the tone at the interface's output, over its full scale."""


BELOW_MAXIMUM_DB = 0.5
"""How far below the maximum that was found a tone stays: the step by which that was looked for."""

AS_WANTED = 0.01
"""Relative difference of a take's drive from the wanted one up to which it is that take already:
0.1 dB, by which the gain found so far may differ from run to run."""


def tones_again(
    takes: Sequence[Mapping[str, Any]],
    steps: Mapping[str, Step],
    body: Mapping[str, Any],
    wanted: Mapping[str, float],
    bench: Bench,
) -> tuple[list[Mapping[str, Any]], list[str]]:
    """Return the takes of one tone that are there at another level than is wanted now.

    Parameters
    ----------
    takes
        Tables of the takes of one side and volume.
    steps
        How a take of each name is made.
    body, bench
        As `tone_drive` takes them.
    wanted
        V rms, open circuit, by output, as `output_of` names it; others stay as they are.

    Returns
    -------
    list[Mapping[str, Any]], list[str]
        The takes to be made again; and why others, which are not at that level, cannot be.
    """
    again, not_possible = [], []
    for take in takes:
        step = steps.get(str(take.get("name", "")))
        if step is None or step.signal != "tone" or not take.get("drive_volts"):
            continue
        level = wanted.get(output_of(step))
        if level is None:
            continue
        drive, why = tone_drive(step, body, level, bench)
        if drive is None:
            not_possible.append(f"{take['name']} stays as it is: {why}")
        elif abs(take["drive_volts"] / drive - 1.0) > AS_WANTED:
            again.append(take)
    return again, not_possible


def output_of(step: Step) -> str:
    """Return the output a take of one tone is of: as facts name it."""
    return "single_ended" if "single-ended" in step.plugged.channels else "differential"


def below_maximum(body: Mapping[str, Any], output: str, wanted: float) -> tuple[float, str]:
    """Return the level that is wanted of an output, or less and why where it is known to clip.

    A maximum that was not reached ("above") forbids nothing.
    """
    entry = body.get("facts", {}).get(f"{output}_maximum")
    found = number(entry)
    if found is None or entry.get("bound") == "above":
        return wanted, ""
    most = found / 10.0 ** (BELOW_MAXIMUM_DB / 20.0)
    if wanted <= most:
        return wanted, ""
    return most, (
        f"{LEVEL_OF[output]} is at its maximum (1 % distortion) at {write_number(found, 'V')}: "
        f"{write_number(most, 'V')} is {BELOW_MAXIMUM_DB:g} dB below"
    )


def words_at(entry: Mapping[str, Any] | None, output: str, wanted: float, lowered: float) -> str:
    """Return what a tone is taken at, and how far from that it may be where nothing tells.

    Parameters
    ----------
    entry
        The output's level by which the tone is driven, as facts have it.
    output
        As `output_of` names it.
    wanted
        V rms, open circuit, that it is driven for.
    lowered
        By what the drive was taken back since, because the output clipped.
    """
    level = write_number(wanted * lowered, "V")
    at = f"{level} of {LEVEL_OF[output]}, open circuit"
    value, ends = number(entry), interval(entry) if entry else None
    if not entry or "limited_by_bench" not in entry or not value or ends is None:
        return f"The tone is taken at {at}."
    low, high = (write_number(wanted * lowered * end / value, "V") for end in ends)
    return (
        f"The tone is taken at about {at}: what the interface's inputs take of it is not known "
        f"before the output's impedance is, so that it may be {low} to {high}."
    )


def words_wanted(levels: Mapping[str, float]) -> frozenset[str]:
    """Return the words of the takes of one tone whose level is wanted, by output."""
    return frozenset(TONE_OF[output] for output in levels)


TONE_OF = {"differential": "tone", "single_ended": "single-ended-tone"}
"""Words of the takes of one tone, by output."""

LEVEL_OF = {
    "differential": "the output between the legs",
    "single_ended": "the single-ended output",
}
"""Outputs a level can be wanted of, in words."""


def tone_drive(
    step: Step, body: Mapping[str, Any], wanted: float, bench: Bench
) -> tuple[float | None, str]:
    """Return V rms that make an output give a level, or None and why not, in words.

    Words beside a drive say why it is for less than the level that is wanted.

    Parameters
    ----------
    step
        A take of one tone: of the single-ended output where that is heard, else between the legs.
    body
        Facts of the side so far, from which the gain is known.
    wanted
        V rms, open circuit.
    bench
        Full scale of inputs and outputs.
    """
    facts = body.get("facts", {})
    drive = number(body.get("conditions", {}), "drive_volts")
    output = output_of(step)
    level = number(facts.get(f"{output}_level"))
    if not drive or not level:
        return None, "the level of the output is not known"
    allowed, lower = below_maximum(body, output, wanted)
    volts = drive * allowed / level
    outputs = bench.outputs[0].volts_full_scale if bench.outputs else 1.0
    if volts * peak_of(TONE) > MOST_PLAYED * outputs:
        return None, f"it takes {write_number(volts, 'V')}, more than the interface's output gives"
    for channel, scale in zip(step.plugged.channels, bench.inputs, strict=False):
        name = channel.replace("-", "_")
        heard = (number(facts.get(f"{name}_level")) or 0.0) * volts / drive
        if heard * math.sqrt(2.0) > MOST_HEARD * scale.volts_full_scale:
            return None, f"{write_number(heard, 'V')} on one leg is more than the input takes"
    return float(f"{volts:.6g}"), lower
