"""Where the drive stands: for levels, for what protects, and against which link they are held."""

from __future__ import annotations

from collections.abc import Iterable, Set
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from probe.advice import thresholds as limit
from probe.advice.destination import Destination, Input
from probe.advice.figures import Floats, Scale
from probe.advice.ground import GroundPath
from probe.advice.maximum import Limits, Most
from probe.advice.sampled import Sampled
from probe.advice.subject import Device, SideFacts
from probe.advice.wiring import OPTIONS, Option

AS_STATED = 0.995
"""Of a figure typed with two or three digits: what is not less."""

BY_ID = {option.id: option for option in OPTIONS}


@dataclass(frozen=True)
class Operating:
    """Where the drive stands, for levels and for what protects, with the words for both.

    ``protects_volts``: what protects is judged there, where that is more than ``volts``;
    ``assumed``: nobody states or measured it.
    """

    volts: float | None
    words: str
    maximum_words: str
    protects_volts: float | None = None
    declared: bool = False
    """The level is what is played; a measured maximum is only what could be."""
    assumed: bool = False
    fixed: bool = False
    """The destination's file says what is ever played: no volume control is taken to lower it."""
    surely_volts: float | None = None
    """The most the output in use gives as is stated or measured, where that is beyond ``volts``.

    None of a device without a volume control: nobody turns it up.
    """
    surely_words: str = ""
    single_ended: bool = False
    """It stands on the single-ended output, though the device has a balanced one."""

    def bears_tie(self, tied: Most | None) -> bool:
        """Tell whether a leg is stated to give, the other one tied, the most that ever comes."""
        most = self.protects_volts or self.volts
        return tied is not None and most is not None and tied.volts >= AS_STATED * most


@dataclass(frozen=True)
class Reference:
    """The link levels are compared with: an option into an input, or only a convention."""

    kind: str
    option: Option | None
    socket: Input | None
    words: str
    open_output: str = ""
    """The output (``xlr``, ``rca``) a convention stands on; empty: the one that is judged."""

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        """Kept, as that of a link."""
        return hash((self.kind, self.option, self.socket, self.words, self.open_output))

    @cached_property
    def without_ground(self) -> Reference:
        """The same, with nothing said of the ground."""
        bare = self.socket and replace(self.socket, ground=GroundPath(None))
        return replace(self, socket=bare)


def operating_of(
    device: Device, side: SideFacts, destination: Destination, from_: str = ""
) -> Operating:
    """Return the operating point: declared, the device's full output, or its measured maximum.

    ``from_``: the output in use; where its own maximum was measured that is the one that counts.
    """
    if destination.operating_volts is not None:
        return _played(destination.operating_volts, device, side, from_)
    if device.full_output_volts is not None:
        volts = device.full_output_volts
        words = _full_words(device, volts, most_volts(device, side))
        point = Operating(volts, words, words, declared=True)
        return _up_to_maximum(point, device, side, from_)
    balanced = "xlr" in device.connectors
    assumed = limit.ASSUMED_SINGLE_ENDED_MAXIMUM_VOLTS
    if balanced and from_ == "rca" and side.single_ended_maximum is not None:
        own = _measured(side.single_ended_maximum, assumed, device, "RCA output")
        return replace(own, single_ended=True)
    if balanced:
        assumed = limit.ASSUMED_MAXIMUM_VOLTS
    most = side.differential_maximum if balanced else side.single_ended_maximum
    if balanced and from_ == "rca" and "rca" in side.stage.clipped:
        most = None  # it gives less than the pair's maximum would have it
    if most is not None:
        return _measured(most, assumed, device)
    # of a typed device only a digital output states no level
    words = "at the level of its interface" if device.typed else "at the measured level"
    at_most = f"at an assumed {assumed:g} V (its maximum is not declared: look it up)"
    return Operating(None, words, at_most, assumed=True)


def _played(volts: float, device: Device, side: SideFacts, from_: str) -> Operating:
    """Return the operating point at what is said to be played, no more than the output gives."""
    words = f"at the declared {volts:.4g} V"
    gives = most_volts(device, side)
    if gives is not None and volts > gives:  # more than it gives is never played
        volts, words = gives, _full_words(device, gives, gives)
    most = _own_most(device, side, from_)
    if most is not None and volts > most[0]:  # nor does one output give what the other does
        volts, words = most
    return Operating(volts, words, words, declared=True, fixed=True)


def most_volts(device: Device, side: SideFacts) -> float | None:
    """Return the most the device gives at all, as ``level_v`` counts it; None: not known.

    Its stated full output, or a maximum beyond it: that of either output, for the drive that takes
    one there may take the other one as far.
    """
    full = device.full_output_volts
    if full is None:
        return None
    beyond = (_beyond(device, side, from_) for from_ in ("xlr", "rca"))
    return max([full, *(volts for volts, _ in beyond if volts is not None)])


def _full_words(device: Device, volts: float, most: float | None) -> str:
    """Return where levels stand; what is typed below the most it gives is no full output."""
    full = device.full_output_volts
    which = "full output of" if full == volts else "maximum of"
    if device.typed and full == volts and most is not None and most > volts:
        which = "nominal level of"
    return f"at the device's {which} {volts:.4g} V"


def _up_to_maximum(point: Operating, device: Device, side: SideFacts, from_: str) -> Operating:
    """Return the operating point with what protects at the maximum, where that is beyond it.

    Not of a device that is stated to have no volume control: its full output is all that comes.
    """
    if device.volume == "none" and device.volume_stated:
        return point
    most, words = _beyond(device, side, from_)
    if most is None or point.volts is None or most <= point.volts:
        return point
    surely, _ = _beyond(device, side, from_, own=True)
    of_other = surely is None
    if device.volume == "none" or (surely is not None and surely <= point.volts):
        surely = None
    own_volts = side.single_ended_maximum if from_ == "rca" else side.differential_maximum
    told = f"turned up to the {own_volts.volts:.3g} V it gives at most" if own_volts else ""
    return replace(
        point, protects_volts=most, maximum_words=words, surely_volts=surely, surely_words=told,
        assumed=of_other,
    )  # fmt: skip


def _own_most(device: Device, side: SideFacts, from_: str) -> tuple[float, str] | None:
    """Return the stated or measured maximum of an output, as `_beyond`; not what is a least one."""
    own = side.single_ended_maximum if from_ == "rca" else side.differential_maximum
    if own is None or own.at_least or from_ not in device.connectors:
        return None
    volts, words = _beyond(device, side, from_, own=True)
    return None if volts is None else (volts, words)


def _beyond(
    device: Device, side: SideFacts, from_: str, *, own: bool = False
) -> tuple[float | None, str]:
    """Return the known maximum of the output in use, as the full output is counted, with words.

    What is known of one output alone is taken for the other one, too: it may go as far; ``own``:
    not so, for it is not sure to.
    """
    balanced = "xlr" in device.connectors
    share = side.single_share if balanced else 1.0
    pair = side.differential_maximum if balanced else None
    single = None if share is None else side.single_ended_maximum
    both = ("rca", single, share or 1.0), ("xlr", pair, 1.0)
    for output, most, times in sorted(both, key=lambda one: one[0] != from_):
        if most is not None and (not own or output == from_):
            of = "RCA output" if output == "rca" and balanced else "device"
            return most.volts / times, _maximum_words(most, device, of)
    return None, ""


def _maximum_words(most: Most, device: Device, of: str) -> str:
    if most.at_least:
        return f"at {most.volts:.3g} V, the most that was tried (it does not clip there)"
    return f"at the {of}'s {'stated' if device.typed else 'measured'} maximum of {most.volts:.3g} V"


def _measured(most: Most, assumed: float, device: Device, of: str = "device") -> Operating:
    """Return the operating point at a measured maximum, or at the most that was tried."""
    words = _maximum_words(most, device, of)
    if device.volume == "none" and not most.at_least:
        # what it plays nobody said, and nothing is bought for what it clips at
        return Operating(None, "at the measured level", words, most.volts, assumed=True)
    protects = max(most.volts, assumed) if most.at_least else most.volts
    if protects == most.volts:
        return Operating(most.volts, words, words)
    assumes = f"at an assumed {protects:g} V (it does not clip at {most.volts:.3g} V)"
    return Operating(most.volts, words, assumes, protects, assumed=True)


def reference_of(
    device: Device, destination: Destination, socket: Input, silent: Set[str] = frozenset()
) -> Reference:
    """Return the RCA link into the same box; else its native XLR link; else a convention.

    ``silent``: outputs without a signal, with which nothing is compared.
    """
    for connector, kind, words in (
        ("rca", "rca-link", "the RCA link"),
        ("xlr", "xlr-link", "the native XLR link"),
    ):
        if connector in device.connectors and connector not in silent:
            for other in (socket, *destination.inputs):
                if other.box == socket.box and other.connector == connector:
                    return Reference(kind, BY_ID[f"{connector}-to-{connector}"], other, words)
    if "rca" in silent:
        words = "half the balanced level (the RCA output carries no signal)"
        return Reference("none", None, None, words, "xlr")
    if "xlr" in silent:
        words = "the open RCA output (the XLR output carries no signal)"
        return Reference("none", None, None, words, "rca")
    if "xlr" in device.connectors:
        return Reference("none", None, None, "half the balanced level (there is no RCA link)")
    return Reference("none", None, None, "the open RCA output (there is no native link)")


def silent_outputs(corners: Iterable[Sampled]) -> frozenset[str]:
    """Return an output (``xlr`` or ``rca``) that surely carries nothing against the other one."""
    found: set[str] | None = None
    for corner in corners:
        single = np.abs(corner.leg_voc[:, corner.at, 2])
        legs = np.abs(
            np.column_stack([corner.voc[:, corner.at, 0], corner.leg_voc[:, corner.at, :2]])
        )
        legs = np.max(np.where(np.isfinite(legs), legs, 0.0), axis=1)
        here = set()
        if np.isfinite(single).all() and legs.any():
            share = 10.0 ** (-limit.NO_SIGNAL_DB / 20.0)
            pair, alone = (np.quantile(v, [0.025, 0.975]) for v in (legs, single))
            if alone[1] < share * pair[0]:
                here.add("rca")
            elif pair[1] < share * alone[0]:
                here.add("xlr")
        found = here if found is None else found & here
    return frozenset(found or ())


def open_output(corner: Sampled, output: str) -> Floats:
    """Return the open level of the RCA output, or half of that between the legs, (N,), V."""
    if output == "rca":
        return np.abs(corner.leg_voc[:, corner.at, 2])
    pair = 0.5 * np.abs(corner.voc[:, corner.at, 0])
    legs = np.abs(corner.leg_voc[:, corner.at, :2])
    legs = np.max(np.where(np.isfinite(legs), legs, 0.0), axis=1)
    return np.where(np.isfinite(pair), pair, np.where(legs > 0.0, legs, np.nan))


IN_PHASE_SHARE = 0.05
"""Differential level over the larger leg, below which the legs cancel (a fault) and the larger
leg is taken as the level instead: even a floating stage far off balance stays above 0.15."""


def scale_of(
    corner: Sampled, device: Device, operating: Operating, live_leg: int | None = None
) -> Scale:
    """Return the factors from the measured drive to the operating point and to the maximum.

    A declared level is what it is: each draw is scaled to it by its own level. That of a data
    sheet is known no better than the levels typed from it, and keeps their doubt. ``live_leg``:
    the leg that carries it alone, where the other one only picks it up. Nothing is scaled by an
    output without a signal: what is declared of it tells nothing of the other one.
    """
    silent = silent_outputs((corner,))
    differential = np.abs(corner.voc[:, corner.at, 0])
    balanced = "xlr" in device.connectors and "xlr" not in silent
    assumed = limit.ASSUMED_MAXIMUM_VOLTS
    driven = np.abs(corner.leg_voc[:, corner.at, live_leg or 0])
    if operating.single_ended and "rca" in silent:
        base, volts = differential, None
    elif operating.single_ended:
        base, volts = np.abs(corner.leg_voc[:, corner.at, 2]), operating.volts
    elif balanced and live_leg is not None and np.isfinite(driven[0]):
        base, volts = driven, operating.volts
    elif balanced and np.isfinite(differential[0]):
        largest = np.max(np.abs(corner.leg_voc[:, corner.at, :2]), axis=1)
        base = largest if differential[0] < IN_PHASE_SHARE * largest[0] else differential
        volts = operating.volts
    else:
        base = np.abs(corner.leg_voc[:, corner.at, 2])
        volts = None if "xlr" in device.connectors else operating.volts
        assumed = assumed if balanced else limit.ASSUMED_SINGLE_ENDED_MAXIMUM_VOLTS
    if not np.isfinite(base[0]) or base[0] <= 0.0:
        return Scale(None, np.ones(1))
    if device.typed:
        base = np.full_like(base, base[0])
    maximum = operating.protects_volts or operating.volts or assumed
    if volts is None:
        return Scale(None, maximum / base)
    turned_up = not (operating.declared and device.volume == "none")
    surely = operating.surely_volts
    if surely is None:
        return Scale(volts / base, maximum / base, turned_up=turned_up)
    words = operating.surely_words
    return Scale(volts / base, maximum / base, surely / base, words, turned_up)


def limits_of(corner: Sampled, device: Device, side: SideFacts, kind: str) -> Limits:
    """Return what is known of how high the device goes, on one completed source."""
    declared = device.full_output_volts
    pair = side.differential_maximum
    if pair is None and declared is not None:
        pair = Most.declared(declared)
        # where the other output is said to give more, the level is no maximum
        beyond = most_volts(device, side)
        if beyond is not None and beyond > declared:
            pair = replace(pair, at_least=True, taken_from=None)
    balanced = "xlr" in device.connectors
    base = np.abs(corner.voc[:, corner.at, 0])
    if side.live_leg is not None:
        base = np.abs(corner.leg_voc[:, corner.at, side.live_leg])
    single = np.abs(corner.leg_voc[:, corner.at, 2])
    return Limits(
        differential=pair if balanced else None,
        single_ended=side.single_ended_maximum or (None if balanced else pair),
        tied=side.tied_maximum,
        base=base,
        single=single,
        kind=kind,
        alike="rca" not in side.stage.clipped,
    )
