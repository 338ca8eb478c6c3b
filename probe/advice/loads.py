"""Rules about how hard an input loads the output: what its maker allows, and what it drove."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from probe.advice import thresholds as limit
from probe.advice.case import Case, Finding, Tried
from probe.advice.destination import Input
from probe.advice.wiring import Option
from probe.numbers import ohms


def _load(case: Case) -> Iterator[Finding]:
    """Hold an input against the least load: of an XLR output between the legs, as makers state it.

    What would be too little only if the maker means each leg is minded, and said to be so.
    """
    least = case.load_ohm
    if least is None:
        return
    pair, leg = (_load_on(case, between=between) for between in (True, False))
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
        ohm = _load_on(case, between=one.between)
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
        ohm = _load_on(case, between=one.between)
        if ohm <= limit.REFUSED_TIMES * one.ohm or not case.elsewhere:
            continue
        other = sum(1.0 / _load_of(o, s, between=one.between) for o, s in case.elsewhere)
        sum_ohm = 1.0 / (1.0 / ohm + other)
        if sum_ohm <= limit.REFUSED_TIMES * one.ohm:
            yield Finding("works", "load-both-outputs", "what hangs on the XLR and the RCA output "
                          f"draws as much as {ohms(sum_ohm)} on one of them; the device did not "
                          f"drive {one.ohm:g} ohm {one.where}, and whether one stage feeds both is "
                          "not known: listen for distortion with all plugged in",
                          hazard=True)  # fmt: skip
            return


def _load_on(case: Case, *, between: bool) -> float:
    """Return what the output is loaded with, ohm, between the legs or on one of them.

    All inputs that hang on it are in parallel.
    """
    held = ((case.option, case.socket), *case.beside)
    parallel = 1.0 / sum(1.0 / _load_of(o, socket, between=between) for o, socket in held)
    return round(parallel, 6)  # so that two of 1200 ohm are 600 ohm, and one is what it says


def _load_of(option: Option, socket: Input, *, between: bool) -> float:
    """Return the same of one input, through what stands before it.

    A winding sees what lies between the legs, and turns ohms by the square of its ratio; so does
    a pair of legs, each of which carries half. One conductor against a shell (an RCA centre with
    pin 3 of the input joined to ground, or open) sees one leg of a balanced input, but all of
    an input transformer.
    """
    winding = option.pin_3 == "transformer"
    pair = option.from_ == "xlr" and (winding or socket.impedance_is is not None)
    both = socket.circuit == "transformer" or (socket.pin_3 == "input" and (winding or pair))
    legs = {(True, "each-leg"): 2.0, (False, "between-legs"): 0.5}
    ohm = socket.impedance_ohm * legs.get((both, socket.impedance_is or ""), 1.0)
    if option.pad is not None:  # a balanced one lies across both legs
        ohm = option.pad.total_series_ohm + 1.0 / (1.0 / option.pad.shunt_ohm + 1.0 / ohm)
    ohm = ohm / option.part.ratio**2 if winding else ohm
    return 0.5 * ohm if pair and both and not between else ohm


def _loaded(case: Case, ohm: float) -> str:
    if not case.beside:
        return f"the input loads this output with {ohms(ohm)}"
    return f"the {len(case.beside) + 1} inputs on this output load it with {ohms(ohm)} together"


def _driven(case: Case) -> bool:
    """Tell whether the output drove about as hard a load as the input is."""
    return any(
        one.ohm <= limit.DRIVEN_TIMES * _load_on(case, between=one.between)
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


LOAD_RULES: tuple[Callable[[Case], Iterator[Finding]], ...] = (_load, _load_refused, _both_outputs)
