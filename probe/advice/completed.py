"""What stands in for what nobody measured: the corners that an unknown entry may be.

The unknown own impedance of a driven terminal lies between 0 and the largest that a line output
may have; what else is unknown follows from the kind of stage. Legs that are meant alike are so
within `UNLIKE_LEGS`, and the draws of a corner have that. What lies between the corners, where hum
may be worse than at any of them, is `between`'s.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from probe.advice.heard import open_circuit
from probe.advice.parts import UNLIKE_LEGS, WORST_SOURCE_OHM
from probe.advice.sampled import (
    Assumed,
    Complex,
    Floats,
    Sampled,
    modal_impedance,
    modal_voltage,
    prefer,
)
from probe.numbers import plain, write_number

SILENT_KINDS = ("impedance-balanced", "unbalanced", "pin-3-unconnected")
"""Kinds whose cold leg carries nothing."""

FLOATING_KINDS = ("electronically-floating", "transformer-coupled")

BOTH_LEGS_KINDS = ("differential", *FLOATING_KINDS)
"""Kinds of which both legs are what the recorder heard; a silent leg is what its kind says."""

LEAK_OHM = 1e5
"""What a meter on ohms shows as no contact to pin 1, or nearly none. [judgement]"""

ALIKE_KINDS = (*BOTH_LEGS_KINDS, "impedance-balanced")
"""Kinds whose two legs are meant alike."""


def completions(
    sampled: Sampled,
    kind: str,
    single_ended_recorder_ohm: float | None = None,
    *,
    exchanged: bool = False,
    both_outputs: bool = False,
    floats: bool | None = None,
) -> tuple[Sampled, ...]:
    """Return the corners of what an unknown entry may be, if the stage is of ``kind``.

    The unknown own impedance of a driven terminal lies between 0 and the largest that a line
    output may have; what else is unknown follows from the kind. Where nothing is unknown there
    is one corner, the source itself.

    Parameters
    ----------
    single_ended_recorder_ohm
        What loaded the single-ended level, where it is given as recorded; None: open circuit.
    exchanged
        Pins 2 and 3 have changed places: what the kind says of the cold leg holds for the hot.
    both_outputs
        The single-ended output is in use beside the legs: it may be pin 2 itself.
    floats
        Whether the winding of a transformer-coupled stage is known to float, or not to.
    """
    corners = complete_single_ended(sampled, single_ended_recorder_ohm, both_outputs)
    return tuple(c for s in corners for c in _complete_legs(s, kind, exchanged, floats))


def complete_single_ended(
    sampled: Sampled, recorder_ohm: float | None, both_outputs: bool
) -> list[Sampled]:
    """Return the corners of an unknown single-ended output; the source itself where it is known."""
    unknown = np.isnan(sampled.leg_z[..., 2, 2])
    if not unknown.any() or np.isnan(sampled.leg_voc[0, sampled.at, 2]):
        return [sampled]
    words = f"single-ended output impedance taken as 0 to {WORST_SOURCE_OHM:g} ohm (not measured)"
    said = Assumed(("single-ended",), words)
    hot = sampled.leg_z[..., 0, 0]
    corners: list[float | Complex] = [0.0, WORST_SOURCE_OHM]
    if both_outputs and np.all(np.abs(hot) < WORST_SOURCE_OHM):  # NaN is not
        corners.append(hot)
    return [_with_single_ended(sampled, unknown, ohm, recorder_ohm, said) for ohm in corners]


def _with_single_ended(
    sampled: Sampled,
    unknown: NDArray[np.bool_],
    ohm: float | Complex,
    recorder_ohm: float | None,
    said: Assumed,
) -> Sampled:
    leg_z, leg_voc = sampled.leg_z.copy(), sampled.leg_voc.copy()
    leg_z[..., 2, 2] = np.where(unknown, ohm, leg_z[..., 2, 2])
    if recorder_ohm is not None:
        raised = 1.0 + leg_z[..., 2, 2] / recorder_ohm
        leg_voc[..., 2] = np.where(unknown, leg_voc[..., 2] * raised, leg_voc[..., 2])
    z, voc = sampled.z.copy(), sampled.voc.copy()  # both outputs in use are solved with these
    z[..., 2, 2], voc[..., 2] = leg_z[..., 2, 2], leg_voc[..., 2]
    return replace(
        sampled, leg_z=leg_z, leg_voc=leg_voc, z=z, voc=voc, assumed=(*sampled.assumed, said)
    )  # fmt: skip


@dataclass(frozen=True)
class Corner:
    """One thing the unknown may be, or many: one for each draw, of shape (N, 1).

    Own impedances in ohm, or the farad of both legs to pin 1; couplings as the share of the other
    leg's own impedance; the silent leg's share of the driven leg's voltage; by how much hot is
    more than cold, as a share of one of two legs that are meant alike.
    """

    hot: float | Floats
    cold: float | Floats
    into_hot: float | Floats = 0.0
    into_cold: float | Floats = 0.0
    share: float | Floats = 0.0
    farad: float | Floats = 0.0
    unlike: float | Floats = 0.0
    like: float | Floats = 0.0
    """1: an unknown leg is what is known of the other one, and its own figure counts where neither
    is known."""

    def exchanged(self) -> Corner:
        """Return the same with pins 2 and 3 in each other's place."""
        return replace(
            self, hot=self.cold, cold=self.hot, into_hot=self.into_cold, into_cold=self.into_hot
        )

    def own(self, hz: Floats) -> tuple[Complex, Complex]:
        """Return what each leg has of its own at ``hz``, ohm."""
        farad = np.asarray(self.farad)
        some = np.where(farad > 0.0, farad, 1.0)
        winding = np.where(farad > 0.0, 1.0 / (2j * np.pi * hz * some), 0.0)
        return np.asarray(self.hot + winding), np.asarray(self.cold + winding)


def of_winding(corners: Sequence[Corner], kind: str, floats: bool | None) -> tuple[Corner, ...]:
    """Return those of the corners of a kind that fit what is known of its winding.

    One that floats hangs on pin 1 by its capacitance, or by what leaks; any other by resistors or a
    centre tap.
    """
    if kind != "transformer-coupled" or floats is None:
        return tuple(corners)
    return tuple(
        c for c in corners if (np.max(c.farad) > 0.0 or np.max(c.hot) >= LEAK_OHM) == floats
    )


def _complete_legs(
    sampled: Sampled, kind: str, exchanged: bool, floats: bool | None
) -> list[Sampled]:
    if not np.isnan(sampled.z[..., :2, :2]).any() or kind not in _FILLS:
        return [sampled]
    corners = of_winding(_FILLS[kind], kind, floats)
    if kind in ALIKE_KINDS:
        unlike = _nearly_alike(sampled.z.shape[0])
        corners = tuple(replace(c, unlike=unlike) for c in corners)
    return [with_legs(sampled, kind, corner, exchanged=exchanged) for corner in corners]


def _nearly_alike(count: int) -> Floats:
    """Return by how much legs are unlike in each draw, the estimate alike, shape (N, 1)."""
    steps = (np.arange(count - 1) + 0.5) / max(count - 1, 1) * 2.0 - 1.0
    drawn = np.random.default_rng(2).permutation(UNLIKE_LEGS * steps)
    return np.concatenate([[0.0], drawn])[:, None]


def with_legs(sampled: Sampled, kind: str, corner: Corner, *, exchanged: bool = False) -> Sampled:
    """Fill unknown entries with ``corner``; ``exchanged``: pin 3 is what the kind says of hot.

    The legs of a floating stage are alike: what is known of one stands for the other.
    """
    silent = 0 if exchanged else 1
    corner = corner.exchanged() if exchanged else corner
    gaps = np.isnan(sampled.leg_z[..., :2, :2]).any(axis=(0, 1, 2))
    unknown = tuple(
        pin for pin, gap in zip(("hot", "cold"), np.atleast_1d(gaps), strict=True) if gap
    )
    leg_z, leg_voc = sampled.leg_z.copy(), sampled.leg_voc.copy()
    hot, cold = leg_z[..., 0, 0], leg_z[..., 1, 1]
    into_hot, into_cold = leg_z[..., 0, 1], leg_z[..., 1, 0]
    no_hot, no_cold = np.isnan(hot), np.isnan(cold)
    alike = np.asarray(corner.like) > 0.0
    if kind in FLOATING_KINDS:
        alike = np.asarray(True)
        into_hot, into_cold = prefer(into_hot, into_cold), prefer(into_cold, into_hot)
    hot, cold = (
        np.where(alike, prefer(hot, cold), hot), np.where(alike, prefer(cold, hot), cold)
    )  # fmt: skip
    own_hot, own_cold = corner.own(sampled.hz)
    hot = np.where(np.isnan(hot), own_hot, hot)
    cold = np.where(np.isnan(cold), own_cold, cold)
    into_hot = np.where(np.isnan(into_hot), corner.into_hot * cold, into_hot)
    into_cold = np.where(np.isnan(into_cold), corner.into_cold * hot, into_cold)
    # of separate legs the difference is twice one of them; of others what it is between the pins
    twice = prefer(sampled.z[..., 0, 0], hot + cold - into_hot - into_cold)
    apart = np.where(alike | (no_hot & no_cold), 0.5 * corner.unlike * twice, 0.0)
    less_hot = np.asarray(corner.unlike) < 0.0  # none is more than its own figure
    hot = hot + np.where(no_hot & (less_hot | ~no_cold), apart, 0.0)
    cold = cold - np.where(no_cold & (~less_hot | ~no_hot), apart, 0.0)
    leg_z[..., 0, 0], leg_z[..., 1, 1] = hot, cold
    leg_z[..., 0, 1], leg_z[..., 1, 0] = into_hot, into_cold
    if sampled.heard is not None:
        found = open_circuit(sampled.heard, leg_z[..., :2, :2], sampled.heard_ohm)
        if kind not in BOTH_LEGS_KINDS:  # what a silent leg picks up is no voltage of its own
            own = leg_z[..., 1 - silent, 1 - silent] / sampled.heard_ohm
            found[..., 1 - silent] = sampled.heard[..., 1 - silent] * (1.0 + own)
            found[..., silent] = 0.0 if kind == "ground-sensing" else np.nan
        leg_voc[..., :2] = prefer(leg_voc[..., :2], found)
    if kind in SILENT_KINDS:
        other = leg_voc[..., 1 - silent]
        leg_voc[..., silent] = prefer(leg_voc[..., silent], corner.share * other)
    said = [Assumed(unknown, _FILL_WORDS.get(kind, _FILL_WORDS[""]))]
    if sampled.heard is not None:
        heard_ohm = plain(write_number(sampled.heard_ohm, "ohm"))
        said.append(Assumed(("hot", "cold"), "levels of the legs follow from what the recorder "
                            f"heard with its {heard_ohm} on each"))  # fmt: skip
    return replace(
        sampled,
        leg_z=leg_z,
        leg_voc=leg_voc,
        z=prefer(sampled.z, modal_impedance(leg_z)),
        voc=prefer(sampled.voc, modal_voltage(leg_voc)),
        assumed=(*sampled.assumed, *said),
    )


_W = WORST_SOURCE_OHM
_FILLS: dict[str, tuple[Corner, ...]] = {
    "differential": (Corner(0.0, 0.0), Corner(_W, _W)),
    "impedance-balanced": (Corner(0.0, 0.0), Corner(_W, _W)),
    "unbalanced": (Corner(0.0, 0.0), Corner(_W, 1.0)),
    "pin-3-unconnected": (
        Corner(0.0, 1e5),
        Corner(_W, 1e9),
        Corner(_W, 2e6, into_cold=0.5, share=0.5),
    ),
    "ground-sensing": (
        Corner(0.0, 1.0, into_hot=1.0),
        Corner(_W, 1.0, into_hot=1.0),
        Corner(_W, 1e5, into_hot=1.0),
    ),
    "electronically-floating": (
        Corner(500.0, 500.0, 1.0, 1.0),
        Corner(500.0, 500.0, 0.8, 0.8),
        Corner(1e5, 1e5, 1.0, 1.0),
    ),
    "transformer-coupled": (
        Corner(500.0, 500.0, 1.0, 1.0),
        Corner(1e5, 1e5, 1.0, 1.0),
        Corner(0.0, 0.0, 1.0, 1.0, farad=100e-12),
        Corner(_W, _W, -0.1, -0.1),
        Corner(30.0, 30.0, -0.8, -0.8),
    ),
}
"""Corners of what the kind leaves open, ohm and couplings. Own impedances of separate legs as
any line output; of pin 3 connected to nothing from strays (half of what they carry may come from
pin 2); of a sense pin also a short behind the largest hot leg, where a transformer has least bass;
of a floating stage from a few hundred ohm (loosely cross-coupled) upward, of a winding to resistors
to pin 1, with which the treble goes into the lead where pin 3 is open, and to its capacitance to
the shield, small: 100 pF (half of what the library of transformers has); couplings as the kinds are
told apart by. [judgement]"""

_SEPARATE = (
    f"unmeasured leg impedances taken as 0 to {WORST_SOURCE_OHM:g} ohm, legs separate, and alike "
    f"within {100.0 * UNLIKE_LEGS:g} % where neither was measured"
)

_FILL_WORDS = {
    "": f"unmeasured leg impedances taken as 0 to {WORST_SOURCE_OHM:g} ohm, legs separate",
    **dict.fromkeys(("differential", "impedance-balanced"), _SEPARATE),
    "unbalanced": "unmeasured impedance of pin 3 taken as a connection to pin 1",
    "pin-3-unconnected": "unmeasured impedance of pin 3 taken as that of an open contact",
    "ground-sensing": "unmeasured impedance of pin 3 taken as that of a sense input",
    "electronically-floating": "unmeasured leg impedances taken over the range of floating stages",
    "transformer-coupled": "unmeasured leg impedances taken over the range of transformers",
}
