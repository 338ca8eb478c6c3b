"""Several boxes on one digital output: one output drives one input.

Inputs of ``Z`` in parallel on an output of ``Z`` load it with ``Z/n``. With the reflection of
`digital` (its equations 1 to 3) the level falls to ``2/(n + 1)``, and ``(n + 1)/(n - 1)`` is what
is left of the match: two inputs of 75 ohm take 0.5 V to 0.333 V at 9.5 dB return loss.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from probe.advice.digital import DigitalAdvice, nominal_volts, reflection, return_loss_db
from probe.advice.leads import DIGITAL_OHM
from probe.advice.note import Note
from probe.advice.subject import Device

ONE_INPUT = "digital-one-input"
"""Code of a digital output that more than one box is to use."""


def one_input_each(
    device: Device, links: Sequence[DigitalAdvice], wanted: Mapping[str, DigitalAdvice]
) -> tuple[tuple[DigitalAdvice, ...], tuple[Note, ...]]:
    """Return the links and what has to be said first, where boxes would share a digital output.

    ``wanted``: the link of each box that is used, or to be tried. It is a hazard of each of them.
    """
    held: dict[str, list[str]] = {}
    for box, link in wanted.items():
        held.setdefault(link.link.from_, []).append(box)
    free = [c for c in DIGITAL_OHM if c in device.connectors and c not in held]
    notes = {c: _note(device, c, len(boxes), free) for c, boxes in held.items() if len(boxes) > 1}
    marked = tuple(
        _with(a, notes[a.link.from_]) if a.link.from_ in notes and a is wanted.get(a.box) else a
        for a in links
    )
    return marked, tuple(notes.values())


def _with(link: DigitalAdvice, note: Note) -> DigitalAdvice:
    return replace(
        link, hazards=(note, *link.hazards), reasons=(note.message, *link.reasons)
    )  # fmt: skip


def _note(device: Device, connector: str, boxes: int, free: Sequence[str]) -> Note:
    ohm, volts = DIGITAL_OHM[connector], nominal_volts(device, connector)
    parallel = ohm / boxes
    left = volts * (1.0 + reflection(ohm, parallel))
    other = " and ".join(f"{DIGITAL_OHM[c]:g} ohm" for c in free)
    own = f" (the one of {other} is free)" if free else ""
    return Note(
        "digital-one-input",
        f"One digital output drives one input, and {boxes} boxes are to use that of {ohm:g} ohm. "
        f"Never split it by a Y lead: {left:.3g} V would reach each in place of {volts:.3g} V, at "
        f"{return_loss_db(ohm, parallel):.1f} dB return loss. Beyond the first each needs a "
        f"further digital output of the device{own}, a distribution amplifier for digital audio "
        "(active), or the digital output of the box before it",
    )
