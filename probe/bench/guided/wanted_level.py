"""Takes of one tone at a wanted level of the output: what drives them, or why it cannot be."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from probe.bench.guided.taking import peak_of
from probe.bench.planned.steps import Step
from probe.bench.tones.sets import TONE
from probe.numbers import number, write_number
from probe.session.model import Bench

MOST_HEARD = 10.0 ** (-3.0 / 20.0)
"""Peak of the tone at any input, over its full scale: the tone is stopped from -0.5 dB on."""

MOST_PLAYED = 0.9
"""Peak of the tone at the interface's output, over its full scale."""


AS_WANTED = 0.01
"""Relative difference of a take's drive from the wanted one up to which it is that take already:
0.1 dB, by which the gain found so far may differ from run to run."""


def tones_again(
    takes: Sequence[Mapping[str, Any]],
    steps: Mapping[str, Step],
    body: Mapping[str, Any],
    wanted: float,
    bench: Bench,
) -> tuple[list[Mapping[str, Any]], list[str]]:
    """Return the takes of one tone that are there at another level than is wanted now.

    Parameters
    ----------
    takes
        Tables of the takes of one side and volume.
    steps
        How a take of each name is made.
    body, wanted, bench
        As `tone_drive` takes them.

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
        drive, why = tone_drive(step, body, wanted, bench)
        if drive is None:
            not_possible.append(f"{take['name']} stays as it is: {why}")
        elif abs(take["drive_volts"] / drive - 1.0) > AS_WANTED:
            again.append(take)
    return again, not_possible


def tone_drive(
    step: Step, body: Mapping[str, Any], wanted: float, bench: Bench
) -> tuple[float | None, str]:
    """Return V rms that make an output give a level, or None and why not, in words.

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
    single = "single-ended" in step.plugged.channels
    level = number(facts.get("single_ended_level" if single else "differential_level"))
    if not drive or not level:
        return None, "the level of the output is not known"
    volts = drive * wanted / level
    outputs = bench.outputs[0].volts_full_scale if bench.outputs else 1.0
    if volts * peak_of(TONE) > MOST_PLAYED * outputs:
        return None, f"it takes {write_number(volts, 'V')}, more than the interface's output gives"
    for channel, scale in zip(step.plugged.channels, bench.inputs, strict=False):
        name = channel.replace("-", "_")
        heard = (number(facts.get(f"{name}_level")) or 0.0) * volts / drive
        if heard * math.sqrt(2.0) > MOST_HEARD * scale.volts_full_scale:
            return None, f"{write_number(heard, 'V')} on one leg is more than the input takes"
    return float(f"{volts:.6g}"), ""
