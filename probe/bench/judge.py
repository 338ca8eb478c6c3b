"""Judgement of a take just made: what was seen, what it means, what to do. Pure functions.

A judgement is an alarm: the take should be made again, or somebody should look. Clean takes raise
none (at most one in a hundred does); what is only of interest stays with the analysis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probe.bench.steps import LOADING, Step
from probe.phasors import TakePhasors
from probe.phasors.thresholds import STRONG_SIGMAS

Complex = NDArray[np.complex128]
Array = NDArray[np.float64]

WEAK_SHARE = 10.0 ** (-50.0 / 20.0)
"""Peak of the loudest leg, over full scale, below which a take is too weak: 24 bits and an ordinary
interface still leave 50 dB there, but hum and crosstalk no longer stand far enough below."""

SILENT_RATIO = 10.0 ** (-30.0 / 20.0)
"""A leg this far below the other carries no signal of its own."""

HUM_RATIO = 10.0 ** (-26.0 / 20.0)
"""Hum (rms) over the tones (rms) on the loudest leg above which the take is made again: 5 %. The
analysis takes hum out; this much of it is a loop or an open lead."""

VOLUME_MOVED = 10.0 ** (0.5 / 20.0)
"""Level of a leg nothing acts on, over the open take, beyond which the volume was moved: a step of
the finest volume controls, 25 times what a careful bench drifts."""

SAME_SHARE = 0.02
"""Two takes that agree this well in both legs at every tone were wired alike."""

LOAD_SEEN_OHM = 3.0
"""A load must show at least this impedance somewhere, else it is not there (or the leg has less:
then nothing can be told from it)."""

CROSSTALK_RATIO = 10.0 ** (-45.0 / 20.0)
"""Everything this far below the open take is what leaks from somewhere else."""

OTHER_SIDE = 10.0 ** (0.1 / 20.0)
"""Sides whose open takes differ by less than this cannot be told apart by their levels."""

GAIN_RAISED = 10.0 ** (3.0 / 20.0)
"""Noise or level this far above what it was: the gain was not taken back."""


@dataclass(frozen=True)
class Judgement:
    """One thing that is wrong with a take.

    Attributes
    ----------
    code
        From `CODES`.
    seen
        What was seen.
    do
        What to do about it.
    again
        Whether the take should be made again; else it is a question to look at.
    """

    code: str
    seen: str
    do: str
    again: bool = True


CODES = (
    "nothing-heard",
    "too-weak",
    "clipped",
    "hum",
    "pin-3-silent",
    "pin-2-silent",
    "legs-exchanged",
    "load-missing",
    "injector-missing",
    "volume-moved",
    "other-side",
    "level-moved",
    "samples-lost",
    "gain-not-back",
    "does-not-fit",
)


@dataclass(frozen=True)
class Heard:
    """A take as it was just recorded.

    Attributes
    ----------
    step
        What it should be.
    phasors
        What it says.
    peaks
        Largest sample of each input, over full scale.
    rms
        Of each input, over full scale.
    lost
        Whether the card said that samples were lost.
    """

    step: Step
    phasors: TakePhasors
    peaks: tuple[float, ...]
    rms: tuple[float, ...]
    lost: bool = False


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
    single = _recording(heard)
    if single:
        return tuple(single)
    opened = _open_take(earlier)
    if opened is None or heard.step.plugged.state != "play":
        return tuple(_legs(heard))
    return tuple(_against(heard, opened, other_side))


# -- what the recording itself shows


def _recording(heard: Heard) -> list[Judgement]:
    """Judge what makes a recording useless whatever was plugged."""
    phasors = heard.phasors
    codes = {r.code: r.message for r in phasors.remarks}
    found = []
    if "clipped-take" in codes:
        found.append(
            Judgement(
                "clipped",
                codes["clipped-take"],
                "turn the input gain down (or the level, 6 dB) and make the take again",
            )
        )
    if heard.lost or "dropout" in codes:
        found.append(
            Judgement(
                "samples-lost",
                "the interface lost samples" if heard.lost else codes["dropout"],
                "make the take again; close other programs if it happens often",
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
    if "level-moved" in codes:
        return [
            Judgement(
                "level-moved",
                codes["level-moved"],
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
    if hum > HUM_RATIO and heard.step.plays:
        return [
            Judgement(
                "hum",
                f"what is not the tones is {100 * hum:.0f} % of them: hum",
                "a lead not fully in, or a loop: laptop on battery, nothing else connected; "
                "never lift a protective earth",
            )
        ]
    return []


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


# -- what the legs show


def _leg(phasors: TakePhasors, role: str, *, played: bool = True) -> Complex | None:
    """Return a channel's phasors at the tones played (or injected), None where it is not heard."""
    if role not in phasors.take.channels:
        return None
    rows = phasors.played if played else ~phasors.played
    volts = phasors.volts[rows, phasors.take.channels.index(role)]
    return np.asarray(volts * _in_stream(phasors, rows))


def _in_stream(phasors: TakePhasors, rows: NDArray[np.bool_]) -> Complex:
    """Return what turns phases at the file's first frame to those at the stream's first."""
    seconds = phasors.take.start_frame / phasors.take.sample_rate
    return np.asarray(np.exp(-2j * np.pi * phasors.hz[rows] * seconds))


def _size(volts: Complex | None) -> float:
    return 0.0 if volts is None or not len(volts) else float(np.sqrt(np.mean(np.abs(volts) ** 2)))


def _heard_at_all(phasors: TakePhasors, role: str) -> bool:
    c = phasors.take.channels.index(role)
    noise = np.sqrt(np.abs(phasors.noise[:, c, c]))
    return bool(np.median(np.abs(phasors.volts[:, c]) / np.maximum(noise, 1e-12)) > STRONG_SIGMAS)


def _legs(heard: Heard) -> list[Judgement]:
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


# -- against the open take


def _open_take(earlier: Sequence[TakePhasors]) -> TakePhasors | None:
    for p in earlier:
        if not p.take.loads and not p.take.injections and {"hot", "cold"} <= set(p.take.channels):
            return p if p.played.any() else None
    return None


def _scaled(phasors: TakePhasors, opened: TakePhasors) -> float:
    """Return by how much stronger a take is driven than the open one."""
    one, other = phasors.take.drive_volts, opened.take.drive_volts
    return one / other if one and other else 1.0


def _against(
    heard: Heard,
    opened: TakePhasors,
    other_side: Sequence[TakePhasors],
) -> list[Judgement]:
    phasors, step = heard.phasors, heard.step
    if not step.plays:
        return []
    drive = _scaled(phasors, opened)
    pairs = {
        role: (leg / drive, ref)
        for role in ("hot", "cold")
        if (leg := _leg(phasors, role)) is not None
        and (ref := _leg(opened, role)) is not None
        and len(leg) == len(ref)
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
    found = _exchanged(step, pairs) or _gone_silent(pairs) or _side_swapped(step, pairs, other_side)
    if found:
        return found
    for check in (_moved, _missing):
        found = check(step, phasors, opened, pairs)
        if found:
            return found
    return []


Pairs = dict[str, tuple[Complex, Complex]]


def _apart(a: Complex, b: Complex) -> float:
    """Return the relative distance of two legs' magnitudes over all tones."""
    size = max(_size(a), _size(b), 1e-30)
    return float(np.sqrt(np.mean((np.abs(a) - np.abs(b)) ** 2)) / size)


def _exchanged(step: Step, pairs: Pairs) -> list[Judgement]:
    """Legs that look like each other's open take, and not like their own."""
    if len(pairs) < 2 or step.take in LOADING:
        return []
    (hot, hot0), (cold, cold0) = pairs["hot"], pairs["cold"]
    if not _told_by_level(hot0, cold0):
        return _exchanged_by_phase(step, pairs)
    own = max(_apart(hot, hot0), _apart(cold, cold0))
    crossed = max(_apart(hot, cold0), _apart(cold, hot0))
    if crossed < 0.2 * own:
        return [_exchanged_words(step)]
    return []


def _told_by_level(hot0: Complex, cold0: Complex) -> bool:
    return _apart(hot0, cold0) > 5.0 * SAME_SHARE


def _exchanged_by_phase(step: Step, pairs: Pairs) -> list[Judgement]:
    """Exchanged legs of equal level turn both by half a turn against the open take.

    Needs one phase reference for both takes, which the caller has seen to; where the delay is
    unknown the turn is not the same at all tones and nothing is said.
    """
    (hot, hot0), (cold, cold0) = pairs["hot"], pairs["cold"]
    turned = np.concatenate([hot * np.conj(hot0), cold * np.conj(cold0)])
    sure = np.abs(turned) > 0.01 * np.max(np.abs(turned))
    angle = np.angle(turned[sure])
    if np.all(np.abs(angle) > 0.9 * np.pi):
        return [_exchanged_words(step)]
    return []


def _exchanged_words(step: Step) -> Judgement:
    del step
    return Judgement(
        "legs-exchanged",
        "each leg looks like the other one did in the open take",
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


def _side_swapped(step: Step, pairs: Pairs, other_side: Sequence[TakePhasors]) -> list[Judgement]:
    """Whether the take looks like the open take of the other side, where the two differ."""
    opened = _open_take(other_side)
    if opened is None or step.plugged.loads or step.plugged.injector is not None:
        return []
    own, other, between = [], [], []
    for role, (leg, ref) in pairs.items():
        theirs = _leg(opened, role)
        if theirs is None or len(theirs) != len(leg):
            return []
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
    if not ratios:
        return []
    every = np.concatenate(ratios)
    middle = float(np.median(every))
    alike = float(np.max(np.abs(every / middle - 1.0))) < 2.0 * SAME_SHARE
    acted_on = step.take in LOADING
    if acted_on and len(ratios) < 2:
        return []
    if alike and not 1.0 / VOLUME_MOVED < middle < VOLUME_MOVED and not _loads_alike(step):
        db = 20.0 * np.log10(middle)
        return [
            Judgement(
                "volume-moved",
                f"everything is {db:+.1f} dB against the open take",
                "put the volume (or the gain of the inputs) back where it was, and make the "
                "take again; if it cannot be found again, begin anew with the open take",
            )
        ]
    return []


def _loads_alike(step: Step) -> bool:
    """Whether this take's resistor lowers both legs alike by itself."""
    return step.take == "load-across"


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
    noise = float(np.sqrt(np.median(np.abs(phasors.noise[~phasors.played, c, c]))))
    if beside is not None and _size(beside) > 10.0 * max(_size(own), noise):
        return [
            Judgement(
                "injector-missing",
                f"the injected tones are heard on {other}, not on {into}",
                f"plug the injector into {into}; or exchange the leads of the inputs if "
                "they changed places",
            )
        ]
    if _size(own) < max(least, 3.0 * noise):
        return [
            Judgement(
                "injector-missing",
                f"the injected tones are not heard on {into}",
                "plug the injector in and check its lead from output 2; if it is there, the "
                "leg is tied to ground: go on with it",
                again=_size(own) < 3.0 * noise,
            )
        ]
    return []


# -- the load's trial, 20 dB down


@dataclass(frozen=True)
class Trial:
    """The tones of a leg at one level: V rms per tone (F,), and what is beside them, V rms."""

    volts: Complex
    rest: float


SAG = 10.0 ** (0.1 / 20.0) - 1.0
"""A tone that rises by this much less (or more) than the drive: the stage is at its end."""

DISTORTS = 10.0 ** (-50.0 / 20.0)
"""What appears beside the tones, over them, from which the stage is said to distort: 0.3 %."""


def trial_refuses(
    quiet: Trial, loud: Trial, rise: float, open_quiet: Trial | None = None
) -> str | None:
    """Return why a load must not be used at the full level, or None.

    Parameters
    ----------
    quiet, loud
        The loaded leg at the trial's level and at the full one.
    rise
        Drive of the second over that of the first.
    open_quiet
        Not needed; kept for what is beside the tones of the open take at the full level.
    """
    noise = 5.0 * quiet.rest
    strong = np.abs(quiet.volts) > 10.0 * max(quiet.rest / np.sqrt(len(quiet.volts)), 1e-9)
    if np.any(strong):
        ratio = np.abs(loud.volts[strong]) / np.abs(quiet.volts[strong]) / rise
        worst = float(ratio[np.argmax(np.abs(np.log(ratio)))])
        if abs(worst - 1.0) > SAG:
            return f"its level rises by {20 * np.log10(worst):+.1f} dB against the drive"
    tones = float(np.sqrt(np.sum(np.abs(loud.volts) ** 2)))
    before = 0.0 if open_quiet is None else open_quiet.rest
    if loud.rest > max(DISTORTS * tones, noise, 3.0 * before):
        return f"it distorts: {100 * loud.rest / tones:.1f} % beside the tones"
    return None


def trial_of(samples: NDArray[np.floating], hz: Sequence[float], rate: float) -> Trial:
    """Return the tones of a short piece of one input, shape (frames,), full scale 1 (rms phasors).

    Least squares for all tones, an offset and the mains' lowest harmonics together.
    """
    x = np.asarray(samples, dtype=np.float64)
    t = np.arange(len(x)) / rate
    turns = 2.0 * np.pi * np.outer(t, np.asarray(hz))
    design = np.hstack([np.cos(turns), -np.sin(turns), np.ones((len(x), 1)), t[:, None]])
    found, *_ = np.linalg.lstsq(design, x, rcond=None)
    rest = x - design @ found
    count = len(hz)
    volts = (found[:count] + 1j * found[count : 2 * count]) / np.sqrt(2.0)
    return Trial(np.asarray(volts), float(np.std(rest)))
