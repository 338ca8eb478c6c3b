"""What a lead on the shelf is otherwise than the lead that was solved: longer, or by its data."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from probe.advice.destination import Cable
from probe.advice.taken import Taken

WORSE = 10 ** (1.0 / 20.0)
"""Ratio below which nothing is said: 1 dB of hum or treble decides little that its interval does
not. Our judgement."""


def not_as_solved(taken: Sequence[Taken], cable: Cable) -> Iterable[str]:
    """Say of each lead taken what its shield and capacitance are beyond what was solved.

    Parameters
    ----------
    taken
        Parts; what is no lead of the whole run is left alone.
    cable
        The lead that was solved. What a part does not state is as there, by the metre.
    """
    for one in taken:
        part = one.part
        if part.kind != "lead" or one.piece.place != "run" or not cable.length_m:
            continue
        if one.piece.ohm is not None:  # a digital one: its impedance and length are judged
            continue
        metres = part.length_m or cable.length_m
        stated = dict(part.measured)
        shield = stated.get("mohm/m of shield", 1e3 * cable.shield_ohm / cable.length_m)
        contact = stated.get("mohm of contacts", 1e3 * cable.contact_ohm)
        farad = stated.get("pF/m", 1e12 * cable.farad / cable.length_m)
        ohm = 1e-3 * (shield * metres + contact)
        solved = cable.shield_ohm + cable.contact_ohm
        more = []
        if ohm > WORSE * solved > 0.0:
            more.append(
                f"its shield and contacts have {ohm * 1e3:.0f} mohm where {solved * 1e3:.0f} were "
                "solved: it may hum more than is said here"
            )
        picofarads = farad * metres
        if picofarads > WORSE * 1e12 * cable.farad > 0.0:
            more.append(
                f"{picofarads:.0f} pF where {1e12 * cable.farad:.0f} were solved, less treble"
            )
        if more:
            figures = f"length_m = {metres:g}, capacitance_pf_per_m = {farad:.0f}, "
            figures += f"shield_milliohm_per_m = {shield:.3g}, contact_milliohm = {contact:.3g}"
            yield f"{part.name}: {'; '.join(more)}. With {figures} below [cable] it is solved"
