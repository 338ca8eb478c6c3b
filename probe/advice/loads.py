"""Rules about how hard an input loads the output: what its maker allows, and what it drove."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from probe.advice import thresholds as limit
from probe.advice.case import Case, Finding, Tried, at_most, compare
from probe.advice.destination import Input
from probe.advice.quantity import Quantity
from probe.advice.wiring import Option, ties_pin_3
from probe.advice.words import about, figure
from probe.decibels import ratio_to_db
from probe.numbers import ohms


def _load(case: Case) -> Iterator[Finding]:
    """Hold an input against the least load: of an XLR output between the legs, as makers state it.

    What would be too little only if the maker means each leg is minded, and said to be so.
    """
    least = case.load_ohm
    if least is None:
        return
    pair, leg = (load_on(case, between=between) for between in (True, False))
    below = f"below the {least:g} ohm the maker of the device allows"
    if pair < least:
        far = pair * limit.FAR_BELOW_LEAST_LOAD < least
        where = "" if pair == leg else " between pins 2 and 3"
        yield Finding("avoid" if far else "works", "load", f"{_it(case, pair)}{where} are {below}",
                      hazard=True)  # fmt: skip
    elif leg < least:
        yield Finding("works", "load", f"{_it(case, leg)} on each leg are {below}, if that is "
                      "meant for each leg and not between them: ask the maker",
                      hazard=True)  # fmt: skip


def _it(case: Case, ohm: float) -> str:
    """Return what loads the output, and with how much."""
    if case.beside:
        return f"the {len(case.beside) + 1} inputs on this output, {ohms(ohm)} together,"
    bare = case.option.pad is None and case.option.pin_3 != "transformer"
    return f"the input's {ohms(ohm)}" if bare else f"the {ohms(ohm)} it works into"


def _load_refused(case: Case) -> Iterator[Finding]:
    """Avoid an input that loads the output about as hard as a load it did not drive.

    What one output did not drive, nobody knows of the other one of the same device, unless it was
    shown to drive as much.
    """
    for one in case.stage.refused:
        ohm = load_on(case, between=one.between)
        if ohm > limit.REFUSED_TIMES * one.ohm:
            continue
        if one.connector == case.option.from_:
            yield Finding("avoid", "load-refused", f"{_loaded(case, ohm)}, and it did not drive "
                          f"{one.ohm:g} ohm {one.where}: {one.seen}", hazard=True)  # fmt: skip
        elif not _driven(case):
            yield _not_shown(case, one, ohm)


def _both_outputs(case: Case) -> Iterator[Finding]:
    """Mind what hangs on both outputs together, where the device gave up at a load on one.

    Whether one stage feeds both is not known.
    """
    for one in case.stage.refused:
        ohm = load_on(case, between=one.between)
        if ohm <= limit.REFUSED_TIMES * one.ohm or not case.elsewhere:
            continue
        other = load_of_all(case.elsewhere, between=one.between)
        sum_ohm = 1.0 / (1.0 / ohm + 1.0 / other)
        if sum_ohm <= limit.REFUSED_TIMES * one.ohm:
            yield Finding("works", "load-both-outputs", "what hangs on the XLR and the RCA output "
                          f"draws as much as {ohms(sum_ohm)} on one of them; the device did not "
                          f"drive {one.ohm:g} ohm {one.where}, and whether one stage feeds both is "
                          "not known: listen for distortion with all plugged in",
                          hazard=True)  # fmt: skip
            return


def load_on(case: Case, *, between: bool) -> float:
    """Return what the output is loaded with, ohm, between the legs or on one of them.

    All inputs that hang on it are in parallel.
    """
    return load_of_all(((case.option, case.socket), *case.beside), between=between)


def load_of_all(held: Sequence[tuple[Option, Input]], *, between: bool) -> float:
    """Return the same of all that hangs on one output."""
    tied = any(ties_pin_3(option, socket) for option, socket in held)
    parallel = 1.0 / sum(1.0 / load_of(o, s, between=between, tied=tied) for o, s in held)
    return round(parallel, 6)  # so that two of 1200 ohm are 600 ohm, and one is what it says


def load_of(option: Option, socket: Input, *, between: bool, tied: bool = False) -> float:
    """Return the same of one input alone, through what stands before it.

    A winding sees what lies between the legs, and turns ohms by the square of its ratio; so does
    a pair of legs, each of which carries half. One conductor against a shell (an RCA centre with
    pin 3 of the input joined to ground, or open) sees one leg of a balanced input, but all of
    an input transformer.

    ``tied``: some lead on the output joins pin 3 to ground, for all inputs on it. Pin 2 then drives
    what lies between the legs, and half of the voltage stands on both legs against ground: what
    two legs have there lies beside it at four times its ohms.
    """
    winding = option.pin_3 == "transformer"
    pair = option.from_ == "xlr" and (winding or socket.impedance_is is not None)
    both = socket.circuit == "transformer" or (socket.pin_3 == "input" and (winding or pair))
    legs = {(True, "each-leg"): 2.0, (False, "between-legs"): 0.5}
    ohm = socket.impedance_ohm * legs.get((both, socket.impedance_is or ""), 1.0)
    to_ground = 0.5 * ohm  # one leg of two
    if option.pad is not None:  # a balanced one lies across both legs, half of it in one
        series = option.pad.total_series_ohm if both else option.pad.series_ohm
        ohm = series + 1.0 / (1.0 / option.pad.shunt_ohm + 1.0 / ohm)
        to_ground += option.pad.series_ohm
    ohm = ohm / option.part.ratio**2 if winding else ohm
    if not (pair and both):
        return ohm
    if not tied:
        return ohm if between else 0.5 * ohm
    grounded = not winding and socket.circuit != "transformer"
    return 1.0 / (1.0 / ohm + 0.5 / to_ground) if grounded else ohm


def _loaded(case: Case, ohm: float) -> str:
    if not case.beside:
        return f"the input loads this output with {ohms(ohm)}"
    return f"the {len(case.beside) + 1} inputs on this output load it with {ohms(ohm)} together"


def _driven(case: Case) -> bool:
    """Tell whether the output drove about as hard a load as the input is."""
    return any(
        one.ohm <= limit.DRIVEN_TIMES * load_on(case, between=one.between)
        for one in case.stage.driven
        if one.connector == case.option.from_
    )


def _not_shown(case: Case, one: Tried, ohm: float) -> Finding:
    own = "RCA" if case.option.from_ == "rca" else "XLR"
    return Finding(
        "cannot-tell",
        "load-not-shown",
        f"{_loaded(case, ohm)}; the device did not drive {one.ohm:g} ohm {one.where}: {one.seen}; "
        f"and nothing shows that its {own} output drives such a load: a take of it with a resistor "
        f"of about {ohms(ohm)} would settle it",
        hazard=True,
        doubt="avoid",
    )


def _load_current(case: Case) -> Iterator[Finding]:
    """Judge the current into the whole load by the limits of one in a tied leg.

    The same amplifier gives both. What the maker allows, and what it was seen to give, is no
    hard work; nobody is ruled out: less volume is less current. So of a device with a volume
    control what flows at the input's full output is judged, and what it could give is minded: it
    harms nothing, and what is fed distorts by itself there. Of one that nobody turns up what it
    plays is.
    """
    most, tie = case.figures.drive_current, case.figures.tie_current
    if most is None or _without_windings(case, most) <= limit.TIE_AVOID_AMPERE:
        return
    as_tie = tie is not None and tie.high * limit.DRIVEN_TIMES >= most.high
    seen = case.stage.drawn.get(case.option.from_, 0.0) * limit.DRIVEN_TIMES >= most.high
    ohm = load_on(case, between=True)
    if as_tie or seen or (case.load_ohm is not None and ohm >= case.load_ohm):
        return
    into = f"peak flow into {_it(case, ohm)}"
    flow, current = f"{at_most(case, most)} {into} {case.maximum_words}", most
    used, at = _in_use(case), "at the input's full output"
    if case.never_turned_up and case.figures.most_played is not None:
        used, at = _share(case, most, case.figures.most_played.value), "as it plays"
    if used is not None and (case.own_volume or case.never_turned_up):
        if case.never_turned_up and _without_windings(case, used) <= limit.TIE_AVOID_AMPERE:
            return
        if _without_windings(case, used) <= limit.TIE_AVOID_AMPERE:
            yield Finding("works", "load-current-beyond-full-output", f"{flow}: {_hard(most)}; "
                          f"{about(used)} do with its volume set for the input's full output",
                          hazard=True)  # fmt: skip
            return
        flow, current = f"{figure(used)} {into} {at}", used
    elif used is not None:
        flow += f" ({about(used)} at the input's full output)"
    much, says = current.low > limit.TIE_NEVER_AMPERE, f"{flow}: {_hard(current)}"
    if case.load_ohm is not None:  # that it is below is said
        yield from compare(case, current, limit.TIE_AVOID_AMPERE, "avoid", "load-current", says)
        return
    tells = f", unless its maker allows it: ask for the minimum load, {ohms(ohm)} or less"
    if not case.typed:
        tells += f", or measure it at full output with a resistor of about {ohms(ohm)} on it"
    if case.maximum_assumed and current is most:
        yield Finding("works", "load-current", says + tells, hazard=True, assumed=True)
    elif much:
        yield Finding("avoid", "load-current", says + tells, hazard=True)
    else:
        yield Finding("cannot-tell", "load-current", says + tells, hazard=True, doubt="avoid")


def _hard(current: Quantity) -> str:
    much = current.low > limit.TIE_NEVER_AMPERE
    return "more than common output amplifiers deliver" if much else "hard work for a line output"


def _without_windings(case: Case, current: Quantity) -> float:
    """Return the most the current may be through a transformer whose windings have no resistance.

    Some ohms less current make no output fit for a load: no transformer is bought for them.
    """
    part, ohm = case.option.part, load_on(case, between=True)
    if case.option.pin_3 != "transformer":
        return current.high
    windings = part.primary_ohm + part.secondary_ohm / part.ratio**2
    return current.high * (1.0 + windings / ohm)


def _in_use(case: Case) -> Quantity | None:
    """Return the current at full output of all that hangs on the device, where that is less."""
    used, most = case.figures.drive_current_at_full_output, case.figures.drive_current
    if used is None or most is None or case.level_fixed:
        return None
    needed = []  # of the level there is before pads and transformers
    for option, socket in ((case.option, case.socket), *case.beside, *case.elsewhere):
        if socket.sensitivity_volts is None:
            return None
        # an RCA output has half of what stands between the legs
        half = 0.5 if (option.from_, case.option.from_) == ("rca", "xlr") else 1.0
        needed.append(socket.sensitivity_volts / (half * _through(option, socket)))
    more = max(needed) / needed[0]
    if -ratio_to_db(min(more * used.value / most.value, 1.0)) < limit.TIE_BREAK_DB:
        return None
    return Quantity(more * used.value, "A", more * used.low, more * used.high)


def _share(case: Case, current: Quantity, volts: float) -> Quantity | None:
    """Return the current where so many volts reach the input, where that is less."""
    most = case.figures.level_at_maximum
    share = 1.0 if most is None or most.value <= 0.0 else volts / most.value
    if share >= 1.0 or -ratio_to_db(share) < limit.TIE_BREAK_DB:
        return None
    return Quantity(current.value * share, "A", current.low * share, current.high * share)


def _through(option: Option, socket: Input) -> float:
    """Return what a pad and a transformer leave of the level, without what else divides it."""
    left = option.part.ratio if option.pin_3 == "transformer" else 1.0
    if option.pad is None:
        return left
    both = load_of(replace(option, pad=None), socket, between=True)
    across = 1.0 / (1.0 / option.pad.shunt_ohm + 1.0 / both)
    return left * across / (across + option.pad.total_series_ohm)


def ordinary_coupling(own_ohm: float | None) -> tuple[float, str]:
    """Return the coupling capacitor, F, that is taken for one of an RCA output, and what it is.

    ``own_ohm``: impedance of the output, where it is known.
    """
    if own_ohm is not None and own_ohm > limit.VALVE_OHM:
        size = f"an ordinary size behind {ohms(own_ohm)}, commonly a valve stage"
        return limit.VALVE_COUPLING_FARAD, size
    return limit.ORDINARY_COUPLING_FARAD, "an ordinary size"


def _coupling_capacitor(case: Case) -> Iterator[Finding]:
    """Doubt the bass of an RCA output nobody measured, behind a capacitor of ordinary size.

    An input that such a one does not starve of bass is not asked about. With the output's own
    ``Zs`` and the load ``Zl`` its corner is ``1 / (2 pi C (Zs + Zl))``.
    """
    if not case.typed or case.option.from_ != "rca" or case.load_ohm is not None:
        return
    own = None if case.single_ohm is None else case.single_ohm.value
    farad, size = ordinary_coupling(own)
    ohm = load_on(case, between=True)
    corner = 1.0 / (2.0 * math.pi * farad * (ohm + (own or 0.0)))
    loss = -float(ratio_to_db(1.0 / math.hypot(1.0, corner / BASS_HZ)))
    if loss <= limit.LOSS_AVOID_DB:
        return
    yield Finding(
        "cannot-tell",
        "coupling-capacitor",
        f"few such RCA outputs are made for {ohms(ohm)}: behind a coupling capacitor of "
        f"{farad * 1e6:g} uF, {size} (common practice; this one is not stated), up to "
        f"{loss:.1f} dB would be lost at {BASS_HZ:g} Hz: ask its maker for the minimum load, "
        f"{ohms(ohm)} or less",
        hazard=True,
        doubt="avoid",
    )


BASS_HZ = 20.0
"""Where a loss of bass is judged."""

LOAD_RULES: tuple[Callable[[Case], Iterator[Finding]], ...] = (
    _load,
    _load_refused,
    _both_outputs,
    _load_current,
    _coupling_capacitor,
)
