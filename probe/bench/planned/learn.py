"""What a kit can find out, worked out from the takes it allows, before anything is plugged.

For two typical stages (both legs driven, cold silent) the takes of the kit are worked out
forwards: which impedances their currents span (the rank of the takes' currents, as the solver
will ask for it), and which kinds they tell apart (the same comparison that names the next take).
"""

from __future__ import annotations

import textwrap
from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

import numpy as np

from probe.bench.planned.able import Known, Setting, able
from probe.bench.planned.kit import Kit
from probe.bench.planned.steps import MAXIMA, SILENT, Step
from probe.session.model import Device
from probe.stage.next_take import told_apart

Answer = Literal["yes", "if driven", "no"]

_DRIVEN, _SILENT = (1.0 + 0j, -1.0 + 0j), (1.0 + 0j, 0.0 + 0j)
_TYPICAL_OHM = 100.0
_HEARD = 1e-6
"""Currents below this share of the largest are none: rounding."""

GROUPS = {
    "driven": (("differential", "electronically-floating", "transformer-coupled"), _DRIVEN),
    "silent": (
        ("impedance-balanced", "unbalanced", "pin-3-unconnected", "ground-sensing"),
        _SILENT,
    ),
}
"""Kinds that an open take cannot tell apart, by what it shows on the legs."""

KIND_WORDS = {
    "differential": "separate legs",
    "electronically-floating": "floating",
    "transformer-coupled": "transformer",
    "impedance-balanced": "impedance-balanced",
    "unbalanced": "pin 3 grounded",
    "pin-3-unconnected": "pin 3 open",
    "ground-sensing": "ground-sensing",
}


SINGLE_ENDED = "impedance of the single-ended output"


@dataclass(frozen=True)
class Learned:
    """One thing the kit shows or does not show.

    Attributes
    ----------
    what
        In words.
    answer
        ``yes``, ``if driven`` (only where the leg carries signal) or ``no``.
    takes
        Words of the takes that show it.
    """

    what: str
    answer: Answer
    takes: tuple[str, ...]


def learn(setting: Setting) -> tuple[Learned, ...]:
    """Return what the kit will show of the device, what it will not, and by which takes."""
    steps = able(setting, Known())
    found = [
        _plain("levels of both legs, leg ratio and phase", steps, ("open",)),
        _noise(steps),
        _distortion(steps),
        _plain("gain difference to the single-ended output", steps, ("single-ended",)),
        _polarity(setting, steps),
        _impedance("impedance of pin 2", steps, 0),
        _impedance("impedance of pin 3", steps, 1),
        _plain(SINGLE_ENDED, steps, ("inject-single-ended", "single-ended-loaded")),
        _coupling(steps),
        _kind("the kind, where both legs carry signal", steps, "driven"),
        _kind("the kind, where pin 3 is silent", steps, "silent"),
        _plain("whether a silent pin 3 is held by an amplifier", steps, ("inject-cold-off",)),
        _plain("that the level stood still", steps, ("second-open",)),
    ]
    if setting.maximum:
        what = "maximum at 1 % distortion, or that it is above what the bench drives and hears"
        found.append(_plain(what, steps, MAXIMA))
    return tuple(found)


def _plain(what: str, steps: Collection[str], takes: tuple[str, ...]) -> Learned:
    there = tuple(take for take in takes if take in steps)
    return Learned(what, "yes" if there else "no", there)


def _noise(steps: Collection[str]) -> Learned:
    if "floor" in steps:
        what = "noise of both legs, less the recorder's own (a bound where it is below that)"
        return _plain(what, steps, ("idle", "floor"))
    return _plain("noise of both legs, as a bound: the recorder's own is in it", steps, ("idle",))


def _distortion(steps: Collection[str]) -> Learned:
    takes = tuple(t for t in ("tone", "loop-back", "single-ended-tone") if t in steps)
    what = "distortion at the level of the takes (THD, THD+N, harmonics)"
    if "loop-back" in steps:
        return Learned(f"{what}, less the bench's own", "yes", takes)
    said = f"{what}, where above 0.03 %: that much is taken as the bench's own"
    return Learned(said, "yes" if takes else "no", takes)


def _polarity(setting: Setting, steps: Collection[str]) -> Learned:
    takes: tuple[str, ...] = ("single-ended",) if "single-ended" in steps else ()
    if setting.has_reference or setting.plays_files:
        takes = (*takes, "open")
    return Learned("polarity of pin 2", "yes" if takes else "no", takes)


def _currents(step: Step, volts: tuple[complex, complex]) -> np.ndarray:
    """Return the currents into the typical legs, shape (2,), of tones played and injected."""
    y = np.zeros((2, 2))
    legs = {"hot": 0, "cold": 1}
    for load in step.plugged.loads:
        ends = [legs[e] for e in (load.from_, load.to) if e in legs]
        for a in ends:
            y[a, a] += 1.0 / load.ohm
        if len(ends) == 2:
            y[ends[0], ends[1]] -= 1.0 / load.ohm
            y[ends[1], ends[0]] -= 1.0 / load.ohm
    injector = step.plugged.injector
    z = np.eye(2) * _TYPICAL_OHM
    pushed = np.zeros(2, dtype=np.complex128)
    if injector is not None and injector.into in legs:
        leg = legs[injector.into]
        y[leg, leg] += 1.0 / injector.through_ohm
        pushed[leg] = 1.0 / injector.through_ohm
        volts = (0j, 0j)
    legs_volts = np.linalg.solve(np.eye(2) + z @ y, np.array(volts) + z @ pushed)
    return np.asarray(y @ legs_volts - pushed)


def _spanned(steps: dict[str, Step], volts: tuple[complex, complex], wanted: np.ndarray) -> bool:
    """Whether the takes' currents span the direction ``wanted``, so that its column is known."""
    playing = [s for s in steps.values() if s.plugged.state == "play" and s.take not in SILENT]
    rows = np.array([_currents(s, volts) for s in playing]).reshape(-1, 2)
    rows = rows[np.max(np.abs(rows), axis=1) > _HEARD / _TYPICAL_OHM]
    if not len(rows):
        return False
    rows = rows / np.linalg.norm(rows, axis=1, keepdims=True)
    rank = np.linalg.matrix_rank(rows, tol=1e-3)
    return bool(rank == np.linalg.matrix_rank(np.vstack([rows, wanted]), tol=1e-3))


def _impedance(what: str, steps: dict[str, Step], leg: int) -> Learned:
    wanted = np.eye(2)[leg]
    always = _spanned(steps, _SILENT, wanted)
    driven = _spanned(steps, _DRIVEN, wanted)
    takes = tuple(t for t, s in steps.items() if _spanned({t: s}, _DRIVEN, wanted))
    answer: Answer = "yes" if always and driven else "if driven" if driven else "no"
    return Learned(what, answer, takes)


def _coupling(steps: dict[str, Step]) -> Learned:
    """Whether one leg follows the other: any single column of the matrix shows it."""
    takes = tuple(
        t for t, s in steps.items() if any(_spanned({t: s}, _DRIVEN, e) for e in np.eye(2))
    )
    always = any(_spanned(steps, _SILENT, e) for e in np.eye(2))
    return Learned(
        "whether the legs are separate or floating",
        "yes" if takes and always else "if driven" if takes else "no",
        takes,
    )


def _kind(what: str, steps: Collection[str], group: str) -> Learned:
    kinds, volts = GROUPS[group]
    pairs = told_apart(steps, kinds, volts)
    together = _together(kinds, pairs)
    if all(len(one) == 1 for one in together):
        takes = tuple(t for t in steps if told_apart((t,), kinds, volts))
        return Learned(what, "yes", takes)
    if len(together) == 1:
        return Learned(what, "no", ())
    said = "; ".join(" or ".join(KIND_WORDS[k] for k in one) for one in together)
    takes = tuple(t for t in steps if told_apart((t,), kinds, volts))
    return Learned(f"{what}, as far as: {said}", "yes", takes)


def _together(kinds: tuple[str, ...], pairs: set[tuple[str, str]]) -> list[list[str]]:
    """Return the kinds in groups that nothing tells apart."""
    groups: list[list[str]] = []
    for kind in kinds:
        near = [g for g in groups if any(_alike(kind, other, pairs) for other in g)]
        groups = [g for g in groups if g not in near] + [[k for g in near for k in g] + [kind]]
    return groups


def _alike(one: str, other: str, pairs: set[tuple[str, str]]) -> bool:
    return (one, other) not in pairs and (other, one) not in pairs


def told(kit: Kit) -> str:
    """Return what a kit will show of a line output with an RCA output beside it, as lines."""
    setting = Setting(Device("", ""), kit, "left")
    lines = [f"With {kit.name or 'this kit'} you will learn"]
    for one in learn(setting):
        by = f" ({', '.join(one.takes)})" if one.takes else ""
        lines += textwrap.wrap(
            f"{one.what}{by}",
            78,
            initial_indent=f"  {_ANSWERS[one.answer]:<14}",
            subsequent_indent=" " * 16,
        )
    return "\n".join(lines) + "\n"


_ANSWERS = {"yes": "yes", "if driven": "if it plays", "no": "no"}
