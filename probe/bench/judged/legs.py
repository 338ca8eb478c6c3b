"""What the legs of a take show, by themselves and against the open take of the same side."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from probe.bench.judged.judgement import (
    CROSSTALK_RATIO,
    FALLS,
    LOAD_SEEN_OHM,
    OTHER_SIDE,
    SAME_SHARE,
    SILENT_RATIO,
    UNHEARD_SIGMAS,
    VOLUME_MOVED,
    Heard,
    Judgement,
)
from probe.bench.planned.steps import LOADING, Step
from probe.phasors import TakePhasors
from probe.phasors.thresholds import STRONG_SIGMAS
from probe.stage.turned import turned_alone, turned_round

Complex = NDArray[np.complex128]
Pairs = dict[str, tuple[Complex, Complex]]
"""By leg: phasors at the tones played, now and in the open take, scaled to one drive; each at the
first frame of its own file, so that their magnitudes compare and their phases do not."""


def _leg(phasors: TakePhasors, role: str, *, played: bool = True) -> Complex | None:
    """Return a channel's phasors at the tones played (or injected), None where it is not heard."""
    if role not in phasors.take.channels:
        return None
    rows = phasors.played if played else ~phasors.played
    return np.asarray(phasors.volts[rows, phasors.take.channels.index(role)])


def _size(volts: Complex | None) -> float:
    return 0.0 if volts is None or not len(volts) else float(np.sqrt(np.mean(np.abs(volts) ** 2)))


def _heard_at_all(phasors: TakePhasors, role: str) -> bool:
    c = phasors.take.channels.index(role)
    noise = np.sqrt(np.abs(phasors.noise[:, c, c]))
    return bool(np.median(np.abs(phasors.volts[:, c]) / np.maximum(noise, 1e-12)) > STRONG_SIGMAS)


def first_take(heard: Heard) -> list[Judgement]:
    """Judge the first take: silent legs may be the device, so it is only a question."""
    phasors = heard.phasors
    hot, cold = _leg(phasors, "hot"), _leg(phasors, "cold")
    if hot is None or cold is None or not len(hot):
        return []
    out = []
    for leg, other, pin in ((cold, hot, 3), (hot, cold, 2)):
        if _size(leg) < SILENT_RATIO * _size(other):
            out.append(
                Judgement(
                    f"pin-{pin}-silent",
                    f"nothing is heard on pin {pin}",
                    f"the device may have a silent pin {pin}; look whether its lead is plugged "
                    "in, then go on: an injection tells",
                    again=False,
                )
            )
    return out


def open_take(earlier: Sequence[TakePhasors]) -> TakePhasors | None:
    """Return the first take with both legs open while the device plays, or None."""
    for p in earlier:
        alone = not p.take.loads and not p.take.injections and p.take.signal != "tone"
        if alone and {"hot", "cold"} <= set(p.take.channels):
            return p if p.played.any() else None
    return None


def tones_volts(phasors: TakePhasors) -> dict[str, float]:
    """Return V rms of all tones played, by terminal."""
    found = {r: _size(_leg(phasors, r)) for r in ("hot", "cold", "single-ended")}
    count = float(np.sqrt(np.count_nonzero(phasors.played)))
    return {role: volts * count for role, volts in found.items() if volts > 0.0}


def loudest_tone(takes: Sequence[TakePhasors]) -> float:
    """Return the loudest of takes of one tone, V rms, as driven or as heard; 0 without any."""
    alone = [p for p in takes if p.take.signal == "tone"]
    heard = [float(np.max(np.abs(p.volts), initial=0.0)) for p in alone]
    return max([*heard, *(p.take.drive_volts or 0.0 for p in alone)], default=0.0)


def _scaled(phasors: TakePhasors, opened: TakePhasors) -> float:
    """Return by how much stronger a take is driven than the open one."""
    one, other = phasors.take.drive_volts, opened.take.drive_volts
    if one and other:
        return one / other
    now, then = phasors.take.drive_dbfs, opened.take.drive_dbfs
    return 1.0 if now is None or then is None else float(10.0 ** ((now - then) / 20.0))


def _same_tones(phasors: TakePhasors, opened: TakePhasors) -> NDArray[np.bool_]:
    """Return which of the open take's played tones are played in a take, too."""
    ours, theirs = phasors.hz[phasors.played], opened.hz[opened.played]
    return np.asarray(np.isclose(theirs[:, None], ours, rtol=1e-9).any(axis=1))


def against(
    heard: Heard,
    opened: TakePhasors,
    other_side: Sequence[TakePhasors],
) -> list[Judgement]:
    """Judge a take against the open take of its side; see `probe.bench.judged.judge.judge`."""
    phasors, step = heard.phasors, heard.step
    if not step.plays:
        return []
    drive, same = _scaled(phasors, opened), _same_tones(phasors, opened)
    pairs = {
        role: (leg / drive, ref[same])
        for role in ("hot", "cold")
        if (leg := _leg(phasors, role)) is not None
        and (ref := _leg(opened, role)) is not None
        and len(leg) == len(ref[same])
    }
    if not pairs:
        return []
    loudest = max(_size(ref) for _, ref in pairs.values())
    if max(_size(leg) for leg, _ in pairs.values()) < CROSSTALK_RATIO * loudest:
        return [
            Judgement(
                "nothing-heard",
                "only what leaks is heard, far below the open take",
                "check the source, the mute, and that leads and drive are on the same side",
            )
        ]
    found = (
        _exchanged(step, pairs, phasors, opened)
        or _gone_silent(pairs)
        or _side_swapped(step, pairs, opened, other_side)
    )
    if found:
        return found
    for check in (_moved, _missing):
        found = check(step, phasors, opened, pairs)
        if found:
            return found
    return []


def _apart(a: Complex, b: Complex) -> float:
    """Return the relative distance of two legs' magnitudes over all tones."""
    size = max(_size(a), _size(b), 1e-30)
    return float(np.sqrt(np.mean((np.abs(a) - np.abs(b)) ** 2)) / size)


def _exchanged(
    step: Step, pairs: Pairs, phasors: TakePhasors, opened: TakePhasors
) -> list[Judgement]:
    """Legs turned round against the open take, or that look like each other's there."""
    alone = step.signal == "tone" and turned_alone(phasors, opened)
    if alone or turned_round(phasors, opened):
        return [exchanged_words()]
    if len(pairs) < 2 or step.take in LOADING:
        return []
    (hot, hot0), (cold, cold0) = pairs["hot"], pairs["cold"]
    own = max(_apart(hot, hot0), _apart(cold, cold0))
    crossed = max(_apart(hot, cold0), _apart(cold, hot0))
    if _told_by_level(hot0, cold0) and crossed < 0.2 * own:
        return [exchanged_words()]
    return []


def _told_by_level(hot0: Complex, cold0: Complex) -> bool:
    return _apart(hot0, cold0) > 5.0 * SAME_SHARE


def exchanged_words() -> Judgement:
    """Return that hot and cold changed places, and what to do."""
    return Judgement(
        "legs-exchanged",
        "hot and cold changed places against the open take",
        "exchange the leads at the interface's inputs (A is pin 2, B is pin 3), then again",
    )


def _gone_silent(pairs: Pairs) -> list[Judgement]:
    for role, pin in (("cold", 3), ("hot", 2)):
        if role not in pairs:
            continue
        leg, ref = pairs[role]
        loudest = max(_size(r) for _, r in pairs.values())
        if _size(ref) > SILENT_RATIO * loudest and _size(leg) < CROSSTALK_RATIO * _size(ref):
            return [
                Judgement(
                    f"pin-{pin}-silent",
                    f"nothing is heard on pin {pin}, which carried signal in the open take",
                    "plug its lead in, and make the take again",
                )
            ]
    return []


def _side_swapped(
    step: Step, pairs: Pairs, ours: TakePhasors, other_side: Sequence[TakePhasors]
) -> list[Judgement]:
    """Whether the take looks like the open take of the other side, where the two differ."""
    opened = open_take(other_side)
    if opened is None or step.plugged.loads or step.plugged.injector is not None:
        return []
    own, other, between = [], [], []
    for role, (leg, ref) in pairs.items():
        theirs = _leg(opened, role)
        if theirs is None or len(theirs) != len(leg):
            return []
        theirs = theirs * _scaled(ours, opened)
        own.append(_apart(leg, ref))
        other.append(_apart(leg, theirs))
        between.append(_apart(ref, theirs))
    if max(between) > OTHER_SIDE - 1.0 and max(other) < 0.2 * max(own):
        return [
            Judgement(
                "other-side",
                f"this looks like the other side, not like {step.plugged.side}",
                f"plug the leads into the {step.plugged.side} output and make the take again",
            )
        ]
    return []


def _moved(step: Step, phasors: TakePhasors, opened: TakePhasors, pairs: Pairs) -> list[Judgement]:
    """A level that moved at all tones and on all legs alike is the volume, not a resistor."""
    del opened
    ratios = [
        np.abs(leg) / np.abs(ref)
        for role, (leg, ref) in pairs.items()
        if _size(ref) > SILENT_RATIO * max(_size(r) for _, r in pairs.values())
        and _heard_at_all(phasors, role)
    ]
    if not ratios or len(pairs) < 2:
        return []  # a floating leg moves when the other one's input is taken away
    every = np.concatenate(ratios)
    middle = float(np.median(every))
    alike = float(np.max(np.abs(every / middle - 1.0))) < 2.0 * SAME_SHARE
    if step.take in LOADING:
        return _sagged(step, pairs)
    if alike and not 1.0 / VOLUME_MOVED < middle < VOLUME_MOVED:
        db = 20.0 * np.log10(middle)
        return [_moved_words(f"everything is {db:+.1f} dB against the open take")]
    if not step.plugged.loads and step.plugged.injector is None:
        return _not_as_before(pairs)
    return []


def _not_as_before(pairs: Pairs) -> list[Judgement]:
    """What is plugged as in the open take reads as it did, whatever the device is."""
    loudest = max(_size(ref) for _, ref in pairs.values())
    falls = {
        role: 20.0 * float(np.log10(np.median(np.abs(leg) / np.abs(ref))))
        for role, (leg, ref) in pairs.items()
        if _size(ref) > SILENT_RATIO * loudest
    }
    if max(map(abs, falls.values())) <= 20.0 * np.log10(VOLUME_MOVED):
        return []
    said = " and ".join(f"{role} {db:+.1f} dB" for role, db in falls.items())
    return [
        Judgement(
            "not-as-before",
            f"against the open take, plugged alike, {said}",
            "see that the leads are at this side's output, both of them fully in, and the volume "
            "where it was, and make the take again; if that does not help, begin anew",
        )
    ]


def _sagged(step: Step, pairs: Pairs) -> list[Judgement]:
    """A leg that no resistor is on falls by no more than a load's own rule allows."""
    load = step.plugged.loads[0]
    free = [r for r in pairs if step.take == "load-across" or r not in (load.from_, load.to)]
    falls = [float(np.median(np.abs(pairs[r][0]) / np.abs(pairs[r][1]))) for r in free]
    loudest = max(_size(ref) for _, ref in pairs.values())
    driven = [
        f for f, r in zip(falls, free, strict=True) if _size(pairs[r][1]) > SILENT_RATIO * loudest
    ]
    if not driven or max(driven) > FALLS:
        return []
    db = 20.0 * np.log10(max(driven))
    return [_moved_words(f"a leg without a resistor is {db:+.1f} dB against the open take")]


def _moved_words(seen: str) -> Judgement:
    return Judgement(
        "volume-moved",
        seen,
        "put the volume (or the gain of the inputs) back where it was, and make the take again; "
        "if it cannot be found again, begin anew with the open take",
    )


def _missing(
    step: Step, phasors: TakePhasors, opened: TakePhasors, pairs: Pairs
) -> list[Judgement]:
    injector = step.plugged.injector
    if injector is not None:
        return _injector_missing(step, phasors)
    if not step.plugged.loads or step.take == "single-ended-loaded":
        return []
    same = all(_apart(leg, ref) < _seen_change(step, role) for role, (leg, ref) in pairs.items())
    if not same or not _would_show(step, phasors, opened, pairs):
        return []
    ohm = step.plugged.loads[0].ohm
    return [
        Judgement(
            "load-missing",
            f"nothing changed against the open take: {ohm:g} ohm is not there",
            "plug the resistor in (or throw its switch) and make the take again; if it is "
            "there, the output has almost no impedance: go on with it",
        )
    ]


def _seen_change(step: Step, role: str) -> float:
    """Return the least relative change that a load on a leg of some ohms makes."""
    del role
    return LOAD_SEEN_OHM / (step.plugged.loads[0].ohm + LOAD_SEEN_OHM)


def _would_show(step: Step, phasors: TakePhasors, opened: TakePhasors, pairs: Pairs) -> bool:
    """Whether a load there would change anything: its leg carries signal."""
    del phasors, opened
    ends = {step.plugged.loads[0].from_, step.plugged.loads[0].to} - {"ground"}
    loudest = max(_size(ref) for _, ref in pairs.values())
    return any(_size(pairs[e][1]) > SILENT_RATIO * loudest for e in ends if e in pairs)


def _injector_missing(step: Step, phasors: TakePhasors) -> list[Judgement]:
    """An injector that is plugged in is heard on its leg, or pulls at it."""
    injections = [i for i in phasors.take.injections if i.volts > 0.0]
    if not injections or step.plugged.injector is None:
        return []
    into = step.plugged.injector.into
    other = "cold" if into == "hot" else "hot"
    own, beside = _leg(phasors, into, played=False), _leg(phasors, other, played=False)
    if own is None or not len(own):
        return []
    least = injections[0].volts * 0.1 / injections[0].through_ohm
    c = phasors.take.channels.index(into)
    noise = np.sqrt(np.abs(phasors.noise[~phasors.played, c, c]))
    if beside is not None and _size(beside) > 10.0 * max(_size(own), float(np.median(noise))):
        return [
            Judgement(
                "injector-missing",
                f"the injected tones are heard on {other}, not on {into}",
                f"plug the injector into {into}; or exchange the leads of the inputs if "
                "they changed places",
            )
        ]
    # Tone by tone: noise and the rests of hum lie on the lowest tones.
    unheard = _size(own / np.maximum(noise, 1e-12)) < UNHEARD_SIGMAS
    if unheard or _size(own) < least:
        return [
            Judgement(
                "injector-missing",
                f"the injected tones are not heard on {into}",
                "plug the injector in and check its lead from output 2; if it is there, the "
                "leg is tied to ground: go on with it",
                again=unheard,
            )
        ]
    return []
