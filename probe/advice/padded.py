"""An option with an attenuator in its plug: the design, the shelf, the verdict with it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from probe.advice import thresholds as limit
from probe.advice.attenuator import (
    KEPT_DB,
    MOST_DB,
    Design,
    Pad,
    design,
    rating_watt,
    seen_ohm,
)
from probe.advice.compiled import Judge
from probe.advice.destination import Destination, Input
from probe.advice.model import Attenuated, OptionAdvice
from probe.advice.network import TwoPort
from probe.advice.pad_wanted import LEAST_DB, Wanted, beyond_db, hum_wanted, overloaded, wanted_of
from probe.advice.preferred import TOLERANCE, Series
from probe.advice.wiring import Option
from probe.decibels import db_to_ratio, ratio_to_db

BOLTZMANN = 1.380649e-23
"""J/K, exact by the definition of the kelvin (SI, 2019)."""

WARM_KELVIN = 300.0
"""Inside a plug near a warm box. [practice]"""

AUDIO_BAND_HZ = 19980.0
"""20 Hz to 20 kHz. [practice]"""


def fitted(option: Option, parts: Sequence[TwoPort]) -> list[Option]:
    """Return an option with each of the transformers that are at hand; as it is, if it has none."""
    return [replace(option, part=p) for p in parts] if option.pin_3 == "transformer" else [option]


def with_attenuator(
    bare: OptionAdvice,
    socket: Input,
    judged: Judge,
    destination: Destination,
    least_ohm: float | None = None,
) -> OptionAdvice:
    """Return ``bare`` with an attenuator offered, where one is asked for or would help.

    ``judged`` solves and judges any variant of the option; ``least_ohm``: the smallest load the
    maker of the device allows.
    """
    wanted = wanted_of(bare, socket, destination)
    if wanted is None:
        return bare
    offered = _sized(bare, socket, judged, wanted, least_ohm or 0.0)
    if offered is None:
        return bare
    wanted = replace(wanted, decibels=offered.designs[0].wanted_db)
    refused = [db for _, db in destination.pads_at_hand
               if wanted.decibels - KEPT_DB <= db < wanted.at_hand]  # fmt: skip
    for at_hand in _at_hand(bare, wanted, destination):
        found = _offer(bare, socket, judged, at_hand, least_ohm or 0.0)
        if found is not None and found.designs[0].pad.in_series:
            continue  # which none that is bought ready is
        near = at_hand.decibels - wanted.decibels <= AT_HAND_LEEWAY_DB
        if found is None or not _does_as_well(found, offered, bare):
            refused.append(at_hand.decibels)
            continue
        there = (bare.option.to, at_hand.decibels) not in destination.pads_lacking
        if near or _in_hand(found) >= (0.0 if there else limit.VOLUME_MAKES_UP_DB):
            exact = None if at_hand.decibels == wanted.decibels else offered
            found = replace(found, in_place_of=exact, refused_db=tuple(refused))
            return replace(bare, attenuator=found)
    return replace(bare, attenuator=replace(offered, refused_db=tuple(refused)))


def _sized(
    bare: OptionAdvice, socket: Input, judged: Judge, wanted: Wanted, least_ohm: float
) -> Attenuated | None:  # fmt: skip
    """Return the pad for what is wanted, of a smaller size where only that leaves full output.

    It still protects the input with every resistor at the end of its tolerance. Where none does
    both, it is the whole decibel that costs least.
    """
    first = fills = costs_least = None
    for size in wanted.sizes:
        found = _offer(bare, socket, judged, replace(wanted, decibels=size), least_ohm)
        first = first or found
        if not _fills(bare):  # then no size does
            return found
        if found is None or (wanted.least is not None and not _protects(found, socket)):
            continue
        if size < wanted.decibels:  # resistors of 5 % are off by more than is kept for them
            found = replace(found, designs=found.designs[:1])
        margin, (_, more) = found.advice.figures.full_output_margin_db, found.off_db
        if margin is None or margin.low >= more:
            return found
        if margin.low >= 0.0:
            fills = fills or found
        elif size.is_integer():
            costs_least = found
    return fills or costs_least or first


def _protects(found: Attenuated, socket: Input) -> bool:
    """Tell whether the input gets no more than it accepts, resistors off as they may be."""
    beyond = beyond_db(found.advice, socket)
    return not overloaded(found.advice) and (beyond is None or beyond + found.off_db[0] <= 0.0)


def _fills(option: OptionAdvice) -> bool:
    """Tell whether full output is surely reached, as far as that is known."""
    margin = option.figures.full_output_margin_db
    return margin is None or margin.low >= 0.0


def quieted(
    bare: OptionAdvice, socket: Input, judged: Judge, destination: Destination,
    least_ohm: float | None,
) -> OptionAdvice:  # fmt: skip
    """Return ``bare`` with a pad that makes its hum one to use, and leaves full output in reach.

    For a box that nothing else works for: then it may leave less in hand than elsewhere, and one
    that was offered and is too small gives way to a larger one. Not where typical figures are short
    of the limit by less than they are sure to.
    """
    lead = bare.option.pin_3 != "transformer"  # nobody buys both
    if not lead or bare.against != {"hum"} or just_short(bare, socket):
        return bare
    wanted = hum_wanted(bare, socket)
    asked = destination.attenuation(socket.box) is not None or destination.wanted(socket.box) > 0.0
    if asked or (bare.attenuator is not None and bare.attenuator.solves):
        return bare
    for _ in range(SIZES):
        if wanted is None:
            break
        offered = _offer(bare, socket, judged, wanted, least_ohm or 0.0)
        margin = None if offered is None else offered.advice.figures.full_output_margin_db
        if offered is None or margin is None or margin.low < 0.0:
            break
        if offered.solves:
            return replace(bare, attenuator=offered)
        # of a source that is not known it takes off less at one end than was asked of it
        more = hum_wanted(offered.advice, socket) if offered.advice.against == {"hum"} else None
        wanted = more and replace(wanted, decibels=wanted.decibels + more.decibels)
    return bare


def with_one_of(
    decibels: float, bare: OptionAdvice, socket: Input, judged: Judge, least_ohm: float | None
) -> OptionAdvice | None:  # fmt: skip
    """Return ``bare`` with a pad of so many decibels in its plug, against its hum.

    None where it does not do, or may cost full output with its resistors off as they may be.
    """
    wanted = Wanted(decibels, "it takes as much off the hum", "always")
    found = _offer(bare, socket, judged, wanted, least_ohm or 0.0)
    if found is None or found.designs[0].pad.in_series or not found.solves:
        return None
    return replace(bare, attenuator=found) if _in_hand(found) >= 0.0 else None


SIZES = 4
"""Pads against hum that are solved: each is as much larger as the one before is short."""


def just_short(option: OptionAdvice, socket: Input) -> bool:
    """Tell whether hum by typical figures is beyond the limit by less than they are sure to."""
    hum = option.figures.hum_below_full_output_db
    wanted = limit.HUM_AVOID_DB + option.figures.stricter_db
    short = 0.0 if hum is None else wanted - hum.value
    return option.verdict == "avoid" and socket.ground.typical and 0.0 < short < limit.TIE_BREAK_DB


AT_HAND_LEEWAY_DB = 3.0
"""What lies on the shelf may take off this much more than is needed, or as much as leaves full
output; one that is not there for both sides as much as leaves `limit.VOLUME_MAKES_UP_DB` in hand
above it. [judgement]"""


def _at_hand(bare: OptionAdvice, wanted: Wanted, destination: Destination) -> list[Wanted]:
    """Return what is wanted with the values that lie on the shelf; nothing where it was asked for.

    From what is needed up, nearest to what is wished first, what is there for both sides before.
    """
    if wanted.fits == "always":
        return []
    less = destination.wanted(bare.box) < 0.0  # who wants some decibels less wants so many
    most = AT_HAND_LEEWAY_DB if less else MOST_DB
    found = [
        db for end, db in destination.pads_at_hand
        if end == bare.option.to and wanted.at_hand <= db <= wanted.decibels + most
    ]  # fmt: skip
    why = f"{wanted.why}; {wanted.decibels:g} dB would do"
    return [
        replace(wanted, decibels=db, why=wanted.why if db <= wanted.decibels else
                f"{why}, on the shelf are {db:g}")
        for db in sorted(found, key=lambda db: ((bare.option.to, db) in destination.pads_lacking,
                                                abs(db - wanted.decibels), db))
    ]  # fmt: skip


def _in_hand(found: Attenuated) -> float:
    """Return what is left above full output, dB, resistors off as they may be."""
    margin, (_, more) = found.advice.figures.full_output_margin_db, found.off_db
    return -math.inf if margin is None else margin.low - more


MINDED = frozenset({"hum", "noise"})
"""What an attenuator has to lower only where it speaks against the way: else it is minded."""


def _does_as_well(found: Attenuated, exact: Attenuated, bare: OptionAdvice) -> bool:
    """Tell whether one from the shelf does what the one of just so many decibels does.

    What is heard close to the loudspeaker without any need not be gone with it.
    """
    if (exact.solves and not found.solves) or (exact.fitted and not found.fitted):
        return False
    margins = (found.advice.figures.full_output_margin_db,
               exact.advice.figures.full_output_margin_db)  # fmt: skip
    if margins[0] is not None and margins[1] is not None and margins[0].low < 0.0:
        return margins[0].low >= margins[1].low
    codes = [{h.code for h in one.advice.hazards} for one in (found, exact)]
    kept = MINDED & (bare.against | {h.code for h in bare.hazards})
    return codes[0] <= codes[1] | kept


def _fits(wanted: Wanted, solved: OptionAdvice) -> bool:
    """Tell whether the attenuator goes in: asked for, or it cures and costs no full output."""
    if wanted.fits != "where-it-solves":
        return wanted.fits == "always"
    return solved.verdict == "works" and not overloaded(solved) and _fills(solved)


def _offer(
    bare: OptionAdvice, socket: Input, judged: Judge, wanted: Wanted, least_ohm: float
) -> Attenuated | None:
    wanted_db = wanted.decibels
    load, balanced = across_ohm(bare.option, socket), in_both_legs(bare.option, socket)
    if not LEAST_DB <= wanted_db <= MOST_DB:
        return None
    if balanced and bare.option.from_ == "xlr":
        least_ohm *= 2.0  # whether it is meant for each leg is not known; the pad lies across both
    trial = design(wanted_db, 0.0, load, balanced=balanced, series="E96")
    source = source_ohm(trial.pad, load, trial_fall_db(bare, trial.pad, judged))
    # of E24 and 5 % two legs would differ by far more than what was solved
    kinds: tuple[Series, ...] = ("E96",) if balanced else ("E96", "E24")
    try:
        designs = tuple(
            design(wanted_db, source, load, balanced=balanced, series=series, least_ohm=least_ohm)
            for series in kinds
        )
    except ValueError:  # the source itself is so weak that nothing of this size fits
        return None
    solved = judged(padded(bare.option, designs[0].pad))
    fits = _fits(wanted, solved)
    return built(bare, solved, designs, source=source, load=load, why=wanted.why, fits=fits)


def made_of_more(
    bare: OptionAdvice, socket: Input, judged: Judge, kept: Attenuated, ohm: float
) -> Attenuated | None:
    """Return an attenuator ``kept`` of ``bare``, made so that the output sees so many ohms."""
    why = f"{kept.why}; of as many ohms as all plugged in at once need"
    wanted = Wanted(kept.designs[0].wanted_db, why, "always" if kept.fitted else "never")
    both = in_both_legs(bare.option, socket) and bare.option.from_ == "xlr"
    found = _offer(bare, socket, judged, wanted, ohm / (2.0 if both else 1.0))
    return None if found is None else replace(found, own_ohm=True)


def built(
    bare: OptionAdvice, solved: OptionAdvice, designs: tuple[Design, ...], *, source: float,
    load: float, why: str, fits: bool = False, relieves: bool = False,
) -> Attenuated:  # fmt: skip
    """Return the attenuator that was ``solved`` with the first design in its plug."""
    pad, fall = designs[0].pad, fall_db(bare, solved)
    low, high = fall_ends_db(bare, solved)
    most = solved.figures.level_at_maximum
    behind = 1.0 / (1.0 / pad.shunt_ohm + 1.0 / (source + pad.total_series_ohm))
    return Attenuated(
        designs=tuple(
            d.moved_by(fall - designs[0].attenuation_db, fall - low, high - fall) for d in designs
        ),
        why=why,
        advice=solved,
        attenuation_db=fall,
        ends_db=(low, high),
        source_ohm=source,
        seen_ohm=seen_ohm(pad, load),
        behind_ohm=behind,
        noise_volts=thermal_volts(_noisy_ohm(behind, source, pad)),
        fitted=fits,
        relieves=relieves,
        rating_watt=rating_watt(pad, load, 0.0 if most is None else most.high),
    )


def _noisy_ohm(behind: float, source: float, pad: Pad) -> float:
    """Return the resistance whose noise the pad adds: all of it less the source's share."""
    share = behind / (source + pad.total_series_ohm)
    return max(behind - source * share**2, 0.0)


def padded(option: Option, pad: Pad) -> Option:
    """Return the option with a pad in its plug."""
    return replace(option, pad=pad)


def fall_db(bare: OptionAdvice, padded: OptionAdvice) -> float:
    """Return by how much the solved level falls, dB."""
    before, after = bare.figures.level_at_maximum, padded.figures.level_at_maximum
    assert before is not None
    assert after is not None
    return float(ratio_to_db(before.value / after.value))


def trial_fall_db(bare: OptionAdvice, pad: Pad, judged: Judge) -> float:
    """Return by how much the level falls with a trial pad, of which nothing else is solved, dB."""
    before, after = bare.figures.level_at_maximum, judged.most_level(padded(bare.option, pad))
    assert before is not None
    assert after is not None
    return float(ratio_to_db(before.value / after.value))


def fall_ends_db(bare: OptionAdvice, padded: OptionAdvice) -> tuple[float, float]:
    """Return the least and the most by which the level may fall, dB.

    What is not known of output or input moves the level with the pad and without it the same way:
    like ends belong together.
    """
    before, after = bare.figures.level_at_maximum, padded.figures.level_at_maximum
    assert before is not None
    assert after is not None
    held = ((before.low, after.low), (before.high, after.high))
    ends = [float(ratio_to_db(a / b)) for a, b in held if min(a, b) > 0.0]
    fall = fall_db(bare, padded)
    return min(fall, *ends), max(fall, *ends)


def source_ohm(pad: Pad, load_ohm: float, fall_db: float) -> float:
    """Return the source impedance that explains the solved fall of a trial pad, ohm.

    ``A = Zl (Zs + S + p) / ((Zs + Zl) p)`` solved for ``Zs``; never below zero.
    """
    parallel = 1.0 / (1.0 / pad.shunt_ohm + 1.0 / load_ohm)
    fall = float(db_to_ratio(fall_db))
    below = fall * parallel - load_ohm
    if below == 0.0:
        return 0.0
    found = load_ohm * (pad.total_series_ohm + parallel - fall * parallel) / below
    return max(found, 0.0) if math.isfinite(found) else 0.0


def across_ohm(option: Option, socket: Input) -> float:
    """Return the input's impedance between the two terminals a pad sits on, ohm."""
    if socket.circuit == "difference-amplifier":  # the same between its legs as on one of them
        return socket.impedance_ohm
    between = socket.impedance_is == "between-legs"
    if in_both_legs(option, socket):
        return socket.impedance_ohm * (1.0 if between else 2.0)
    return socket.impedance_ohm / (2.0 if between else 1.0)


def in_both_legs(option: Option, socket: Input) -> bool:
    """Tell whether the plug brings both legs to an input that listens to both."""
    listens = socket.receiver == "balanced" and socket.pin_3 == "input" and option.to == "xlr"
    return listens and option.pin_3 in ("through", "tied-at-source", "transformer")


def thermal_volts(ohm: float) -> float:
    """Return the thermal noise of a resistance, V rms over the audio band (Nyquist, 1928)."""
    return math.sqrt(4.0 * BOLTZMANN * WARM_KELVIN * ohm * AUDIO_BAND_HZ)


def described(offered: Attenuated) -> str:
    """Return the attenuator in one sentence."""
    d: Design = offered.designs[0]
    ends = dict.fromkeys(f"{db:.1f}" for db in (d.least_db, d.most_db))
    known = f": {' to '.join(ends)} dB"
    return (
        f"{offered.takes} in the plug at the destination: {offered.says} "
        f"({d.series}, {100.0 * TOLERANCE[d.series]:g} %"
        f"{', by what is not known of output and input' if offered.unsure else known})"
    )
