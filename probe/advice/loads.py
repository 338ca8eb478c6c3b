"""Rules about how hard an input loads the output: what its maker allows, and what it drove."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from probe.advice import thresholds as limit
from probe.advice.case import Case, Finding, Tried
from probe.advice.destination import Input


def _load(case: Case) -> Iterator[Finding]:
    least = case.load_ohm
    if least is not None and case.socket.impedance_ohm < least:
        ohm = case.socket.impedance_ohm
        far = ohm * limit.FAR_BELOW_LEAST_LOAD < least
        yield Finding("avoid" if far else "works", "load", f"the input's {ohm:g} ohm are below "
                      f"the {least:g} ohm the maker of the device allows", hazard=True)  # fmt: skip


def _load_refused(case: Case) -> Iterator[Finding]:
    """Avoid an input that loads the output about as hard as a load it did not drive.

    What one output did not drive, nobody knows of the other one of the same device, unless it was
    shown to drive as much.
    """
    for one in case.stage.refused:
        ohm = _load_on(case.socket, between=one.between)
        if ohm > limit.REFUSED_TIMES * one.ohm:
            continue
        if one.connector == case.option.from_:
            yield Finding("avoid", "load-refused", f"the input loads this output with {ohm:g} ohm, "
                          f"and it did not drive {one.ohm:g} ohm {one.where}: {one.seen}",
                          hazard=True)  # fmt: skip
        elif not _driven(case):
            yield _not_shown(case, one, ohm)


def _load_on(socket: Input, *, between: bool) -> float:
    """Return what an input loads with, ohm, between the legs or on one of them.

    Of a balanced input each leg sees half of what is between the legs.
    """
    legs = {(True, "each-leg"): 2.0, (False, "between-legs"): 0.5}
    return socket.impedance_ohm * legs.get((between, socket.impedance_is or ""), 1.0)


def _driven(case: Case) -> bool:
    """Tell whether the output drove about as hard a load as the input is."""
    return any(
        one.ohm <= limit.DRIVEN_TIMES * _load_on(case.socket, between=one.between)
        for one in case.stage.driven
        if one.connector == case.option.from_
    )


def _not_shown(case: Case, one: Tried, ohm: float) -> Finding:
    own = "RCA" if case.option.from_ == "rca" else "XLR"
    return Finding(
        "cannot-tell",
        "load-not-shown",
        f"the input loads this output with {ohm:g} ohm; the device did not drive {one.ohm:g} ohm "
        f"{one.where}: {one.seen}; and nothing shows that its {own} output drives such a load: a "
        f"take of it with a resistor of about {ohm:g} ohm would settle it",
        hazard=True,
        doubt="avoid",
    )


LOAD_RULES: tuple[Callable[[Case], Iterator[Finding]], ...] = (_load, _load_refused)
