"""What a lead that joins two chassis carries of the difference between them.

The shield of a lead is in series with what drives the difference, at every end of what the
readings may mean:

    I = difference / |Zsource + Rsh|        Rsh: shield and both shell contacts

From some current on it is no matter of hum: nothing is joined.
"""

from __future__ import annotations

from dataclasses import dataclass

from probe.advice import thresholds as limit
from probe.advice.destination import Cable, Destination, Input
from probe.advice.ground import (
    MAINS_VOLTS,
    SECOND_ABOVE_VOLTS,
    GroundPath,
    corners,
    second_reading_words,
)
from probe.advice.note import Note
from probe.numbers import plain, write_number

GROUND_FAULT = (
    "Connect nothing: {says}, which is no matter of hum but of wiring or of a faulty box, and a "
    "lead would carry it. Touch neither chassis, and have a licensed electrician look at the "
    "installation and at both boxes. Never lift a protective earth."
)

GROUND_LEAK = (
    "Connect nothing: {volts} between the chassis can drive {ampere} from one to the other, more "
    "than the {most} that even equipment with a protective earth may pass into it{touch}: "
    "a protective earth is missing, or an insulation fails. Unplug both boxes from the "
    "mains, touching no metal of them, and have a licensed electrician inspect both and the "
    "installation. An isolating transformer leaves both chassis as dangerous as before."
)

GROUND_UNSAID = (
    "Connect nothing yet: {volts} between the chassis are half of the mains where these have "
    "{half:.0f} V and more, as mains filters leave it; of {least:g} V they are a live chassis, and "
    "a matter for a licensed electrician. Touch neither chassis until it is said what the mains "
    "are where this was read (--mains 120V, --mains 230V, or as they are)."
)

GROUND_TOUCH = (
    "{volts} between the chassis can drive {ampere} from one to the other: more than boxes may "
    "pass to who touches them (0.25 mA without a protective earth, {mind} of what is held in the "
    "hand). Unplug both from the mains before a lead is plugged, and have a licensed electrician "
    "look at both first: a protective earth may be missing. An isolating transformer leaves both "
    "chassis as they are."
)

GROUND_HIGH = (
    "{volts} between the chassis: where either box has a protective earth that is a fault of the "
    "installation. Connect nothing then, and have a licensed electrician look at it. Of two boxes "
    "without a protective earth it is usual: give the second reading of the meter."
)

GROUND_CURRENT = (
    "{volts} between the chassis can drive {ampere} through the shield of a lead, more than what "
    "sound boxes leak adds up to: have a licensed electrician look at the installation. An "
    "isolating transformer keeps it out of its own lead only; every other lead that joins the two "
    "chassis, a digital one too, carries it. Everything off before one is plugged or unplugged."
)

GROUND_NOT_TOLD = (
    "{volts} between the chassis may drive {ampere} through the shield of a lead, if both boxes "
    "have a protective earth. Take the second reading of the meter before anything is joined: "
    "{how}. {few}"
)

TOO_MUCH = "Where that makes it more than {most}, join nothing: an electrician looks at it."


@dataclass(frozen=True)
class Joined:
    """Current through the shield of a lead that joins the chassis, A: usual, and ends."""

    ampere: float
    low: float
    high: float


def joined(ground: GroundPath, cable: Cable, mains_hz: float) -> Joined | None:
    """Return what flows through the shield of ``cable``; None where no difference is known."""
    if not ground.known:
        return None
    shield = cable.shield_ohm + cable.contact_ohm
    found = [_ampere_of(one, shield, mains_hz) for one in (*corners(ground), ground)]
    usual = found.pop() if ground.source_known else found[-1]
    return Joined(usual, min(*found, usual), max(*found, usual))


def _joined(socket: Input, destination: Destination) -> Joined | None:
    """Return the same of an input, with that of its leads which carries most."""
    leads = destination.cables_of(socket)
    found = [joined(socket.ground, lead, destination.mains_hz) for lead in leads]
    return max(filter(None, found), key=lambda one: one.high, default=None)


def _ampere_of(ground: GroundPath, shield: float, mains_hz: float) -> float:
    behind = ground.behind_ohm(mains_hz)
    whole = behind + shield if ground.farad is None else abs(complex(shield, behind))
    return (ground.difference_volts or 0.0) / max(whole, 1e-3)


def ground_fault(destination: Destination) -> tuple[Note, ...]:
    """Return why nothing may be connected between these grounds, or nothing."""
    for socket in destination.inputs:
        says = _fault(socket, destination)
        if says:
            return (Note("ground-fault", says),)
    return ()


def _fault(socket: Input, destination: Destination) -> str:
    """Return why nothing may be connected to an input, or nothing."""
    ground, share = socket.ground, limit.GROUND_MOST_SHARE
    volts = ground.difference_volts or 0.0
    said = _volts(volts)
    ampere = _fault_ampere(socket, destination)
    if ampere is not None and ampere > limit.SHIELD_MOST_AMPERE:
        drives = f"can drive {ampere_words(ampere)} through the shield of a lead"
        return GROUND_FAULT.format(says=f"{said} between the chassis {drives}")
    if not ground.typical and volts > share * min(destination.mains_volts, MAINS_VOLTS):
        return GROUND_FAULT.format(says=f"{said} between the chassis")
    if ampere is not None:
        most = ampere_words(limit.TOUCH_MOST_AMPERE)
        touch = ", and dangerous to touch" * (volts > limit.TOUCH_VOLTS)
        return GROUND_LEAK.format(volts=said, ampere=ampere_words(ampere), most=most, touch=touch)
    least = destination.mains_least_volts
    if not ground.typical and volts > share * least:
        return GROUND_UNSAID.format(volts=said, half=volts / share, least=least)
    return ""


def _fault_ampere(socket: Input, destination: Destination) -> float | None:
    """Return the current of a fault; None where there is none, or readings do not tell."""
    ground = socket.ground
    found = _joined(socket, destination)
    if found is None or not ground.source_known:
        return None
    volts = ground.difference_volts or 0.0
    if volts > limit.GROUND_FEW_VOLTS and found.high > limit.TOUCH_MOST_AMPERE:
        return found.high
    surely = found.ampere if _to_be_read_again(ground) else found.high
    return found.high if surely > limit.SHIELD_MOST_AMPERE else None


def _to_be_read_again(ground: GroundPath) -> bool:
    """Tell whether another second reading would tell more: beside 100 ohm tenths are lost."""
    return ground.source_in_doubt and (ground.difference_volts or 0.0) <= SECOND_ABOVE_VOLTS


def ground_high(destination: Destination) -> tuple[Note, ...]:
    """Return the caution of a voltage between the chassis that may drive much, or drives some."""
    if ground_fault(destination):
        return ()
    high = [
        g.difference_volts or 0.0
        for g in (s.ground for s in destination.inputs)
        if not g.source_known and (g.difference_volts or 0.0) > limit.GROUND_FEW_VOLTS
    ]
    if high:
        return (Note("ground-high", GROUND_HIGH.format(volts=_volts(max(high)))),)
    return _current(destination)


def _current(destination: Destination) -> tuple[Note, ...]:
    """Return the caution of the input whose lead may carry most."""
    carried = [
        (found.high, socket.ground)
        for socket in destination.inputs
        if (found := _joined(socket, destination))
    ]
    most, ground = max(carried, key=lambda one: one[0], default=(0.0, GroundPath()))
    volts = _volts(ground.difference_volts or 0.0)
    told = ground.source_known and not (
        _to_be_read_again(ground) and most > limit.SHIELD_MOST_AMPERE
    )
    if told and most > limit.SHIELD_MIND_AMPERE:
        says = GROUND_CURRENT.format(volts=volts, ampere=ampere_words(most))
    elif not told and most > limit.SHIELD_MOST_AMPERE:
        says = GROUND_NOT_TOLD.format(
            volts=volts,
            ampere=ampere_words(most),
            how=second_reading_words(ground.difference_volts or 0.0),
            few=TOO_MUCH.format(most=ampere_words(limit.SHIELD_MOST_AMPERE)),
        )
    else:
        return _touch(destination)
    return (Note("ground-current", says),)


def _touch(destination: Destination) -> tuple[Note, ...]:
    """Return the caution of a leakage that is more than boxes have, at volts that can be felt."""
    for socket in destination.inputs:
        volts = socket.ground.difference_volts or 0.0
        found = _joined(socket, destination)
        if found is None or not socket.ground.source_known or volts <= limit.GROUND_FEW_VOLTS:
            continue
        if found.high > limit.TOUCH_MIND_AMPERE:
            ampere, mind = (ampere_words(a) for a in (found.high, limit.TOUCH_MIND_AMPERE))
            says = GROUND_TOUCH.format(volts=_volts(volts), ampere=ampere, mind=mind)
            return (Note("ground-current", says),)
    return ()


def _volts(volts: float) -> str:
    return plain(write_number(volts, "V"))


def ampere_words(ampere: float) -> str:
    """Return a current in two digits."""
    milli = ampere < 1.0
    return f"{float(f'{ampere * (1e3 if milli else 1.0):.2g}'):g} {'mA' if milli else 'A'}"
