"""What a calibration or check is made with, from options and the kit; what was assumed is said."""

from __future__ import annotations

from dataclasses import dataclass

from probe.bench.calibration.check import CheckParts
from probe.bench.calibration.meter import accuracy_of
from probe.bench.calibration.run import Wanted
from probe.bench.calibration.solve import KnownResistor
from probe.bench.planned.kit import Kit
from probe.errors import BadInput
from probe.formats.mains import typed_mains
from probe.formats.text import quoted

USUAL = {"series": (10000.0, 1.0), "shunt": (604.0, 1.0), "reference": (100.0, 1.0)}
"""Ohm and percent of the parts of docs/bench.md, 1 % where nobody said how good they are."""

ALLOWED = {"series": (1e3, 1e6), "shunt": (100.0, 1e5), "reference": (10.0, 1e4)}
"""Ohm: a line output drives the lowest; the highest still makes a difference."""


@dataclass(frozen=True)
class Options:
    """As typed; None: not said. Resistors as ``10000`` or ``10000,0.1`` (ohm, percent)."""

    series: str | None = None
    shunt: str | None = None
    reference: str | None = None
    meter: str | None = None
    full_scale: str | None = None
    gain: str = ""
    leads: str = ""
    mains: str = "50Hz"


def wanted(interface: str, options: Options, kit: Kit | None) -> tuple[Wanted, tuple[str, ...]]:
    """Return what to calibrate with, and what had to be assumed.

    Raises
    ------
    BadInput
        An option that cannot be used.
    """
    said: list[str] = []
    mains = typed_mains(options.mains)
    return Wanted(
        interface=interface,
        series=resistor("series", options.series, kit, said),
        shunt=resistor("shunt", options.shunt, kit, said),
        accuracy=None if options.meter in (None, "none") else accuracy_of(str(options.meter)),
        gain=options.gain,
        leads=options.leads,
        mains_hz=mains.hz or 50.0,
        mains_volts=mains.volts,
        data_sheet_volts=_full_scale(options.full_scale),
    ), tuple(said)


def check_parts(options: Options, kit: Kit | None, *, both: bool) -> tuple[CheckParts, list[str]]:
    """Return the resistors of the check, and what had to be assumed."""
    said: list[str] = []
    injector = resistor("series", options.series, kit, said)
    return CheckParts(injector, resistor("reference", options.reference, kit, said), both), said


def resistor(which: str, typed: str | None, kit: Kit | None, said: list[str]) -> KnownResistor:
    """Return a resistor as typed, else of the kit, else the usual one, which is said."""
    if typed is not None:
        ohm, percent = _pair(typed, f"--{which}", 1.0)
    else:
        found = _of_kit(which, kit)
        if found is None:
            ohm, percent = USUAL[which]
            said.append(f"--{which} is not given: {ohm:g} ohm, {percent:g} % taken")
        else:
            ohm, percent = found
    low, high = ALLOWED[which]
    if not low <= ohm <= high or not 0.0 <= percent <= 20.0:
        raise BadInput(
            f"--{which} {ohm:g} ohm, {percent:g} %: {low:g} to {high:g} ohm and at most 20 % "
            "can be used"
        )
    return KnownResistor(ohm, percent / 100.0)


def _of_kit(which: str, kit: Kit | None) -> tuple[float, float] | None:
    if kit is None:
        return None
    if which == "shunt":
        loads = kit.loads_for("leg")
        return (loads[-1].ohm, loads[-1].u95_percent) if loads else None
    part = kit.injector if which == "series" else kit.reference
    return None if part is None else (part.ohm, part.u95_percent)


def _full_scale(typed: str | None) -> tuple[float, float] | None:
    if typed is None:
        return None
    volts, percent = _pair(typed, "--full-scale", 12.0)
    if not 0.01 <= volts <= 1000.0 or not 0.0 < percent < 99.0:
        raise BadInput(f"--full-scale {quoted(typed)}: V peak that reads 1.0, then percent")
    return volts, percent / 100.0


def _pair(typed: str, option: str, usual: float) -> tuple[float, float]:
    parts = typed.split(",")
    try:
        first = float(parts[0])
        second = float(parts[1]) if len(parts) > 1 else usual
    except ValueError as error:
        raise BadInput(
            f"{option} {quoted(typed)}: a number is needed, or two as 10000,0.1 (percent)"
        ) from error
    if len(parts) > 2 or not (abs(first) < 1e12 and abs(second) < 1e12):
        raise BadInput(f"{option} {quoted(typed)}: a number is needed, or two as 10000,0.1")
    return first, second
