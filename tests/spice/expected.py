"""What each circuit must be called when everything was measured: one table for all tests.

The answers follow from how each netlist is wired and from what terminals can show at all. Where
two circuits are the same at their terminals (a cold leg that is a resistor to pin 1, and one whose
amplifier is alive but stuck at zero; a pin 3 never wired, and a broken one) they share an entry,
and the failure that cannot be told apart must be named as possible.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

COLD = "cold-leg-dead"
HOT = "hot-leg-dead"


@dataclass(frozen=True)
class Answer:
    """One acceptable answer: the exact kind, faults it must and may carry, and so on.

    ``possible`` lists possible faults of which at least one must be named (none: none needed);
    ``possible_may`` those that may be named besides. ``polarity`` None: not judged.
    """

    kind: str
    faults: frozenset[str] = frozenset()
    may: frozenset[str] = frozenset()
    possible: frozenset[str] = frozenset()
    possible_may: frozenset[str] = frozenset()
    polarity: str | None = "pin-2-hot"
    driven: str | None = "both-legs"

    def complaints(self, stage: dict[str, Any]) -> list[str]:
        """What is wrong with an answer; an empty list when it is right."""
        wrong = []
        faults, possible = set(stage["faults"]), set(stage["possible_faults"])
        if stage["kind"] != self.kind:
            wrong.append(f"kind {stage['kind']}, expected {self.kind}")
        if not self.faults <= faults <= self.faults | self.may:
            wrong.append(f"faults {sorted(faults)}, expected {sorted(self.faults)}")
        if self.possible and not possible & self.possible:
            wrong.append(f"possible faults {sorted(possible)} name none of {sorted(self.possible)}")
        if not possible <= self.possible | self.possible_may:
            wrong.append(f"possible faults {sorted(possible)} accuse a healthy part")
        if self.polarity is not None and stage["polarity"] != self.polarity:
            wrong.append(f"polarity {stage['polarity']}, expected {self.polarity}")
        if self.driven is not None and stage["driven_legs"] != self.driven:
            wrong.append(f"driven legs {stage['driven_legs']}, expected {self.driven}")
        return wrong


def _set(*names: str) -> frozenset[str]:
    return frozenset(names)


_UNEQUAL = _set("legs-unequal", "leg-impedances-unequal")

_DIFFERENTIAL = (Answer("differential"),)
_FLOATING = (Answer("electronically-floating"),)
_TRANSFORMER = (Answer("transformer-coupled"),)
_IMPEDANCE_BALANCED = (Answer("impedance-balanced", possible=_set(COLD), driven="one-leg"),)
_PIN_3_OPEN = (Answer("pin-3-unconnected", possible=_set(COLD), driven="one-leg"),)

# What the circuit is follows from its netlist.
EXPECTED: dict[str, tuple[Answer, ...]] = {
    "1": _DIFFERENTIAL,
    "1b": _DIFFERENTIAL,
    "2": _DIFFERENTIAL,
    "3": _FLOATING,
    "3b": _FLOATING,
    "4": _TRANSFORMER,
    "4b": _TRANSFORMER,
    "5": _IMPEDANCE_BALANCED,
    "5b": _IMPEDANCE_BALANCED,
    "6": (Answer("unbalanced", possible_may=_set(COLD), driven="one-leg"),),
    "7": _PIN_3_OPEN,
    # A rail-bound amplifier adds its 15 ohm: an impedance-balanced leg that is not quite alike,
    # or a dead one.
    "8a": (
        Answer(
            "impedance-balanced", _set("leg-impedances-unequal"), possible=_set(COLD),
            driven="one-leg",
        ),
        Answer("faulty", _set(COLD), _set("leg-impedances-unequal"), driven="one-leg"),
    ),
    "8a2": (
        Answer("faulty", _set(COLD), _UNEQUAL | {"legs-in-phase"}, polarity=None),
        Answer("faulty", _set("legs-in-phase"), _UNEQUAL, _set(COLD), polarity=None),
    ),
    "8a3": _IMPEDANCE_BALANCED,
    # What drives cold is opposite to the single-ended output, so it is the cold leg that lives.
    "8b": (
        Answer("faulty", _set(HOT), _UNEQUAL, polarity=None, driven="one-leg"),
        Answer("pin-3-unconnected", possible=_set(HOT), polarity="pin-3-hot", driven="one-leg"),
    ),
    "8c": _PIN_3_OPEN,
    "8d": (Answer("faulty", _set("legs-in-phase"), polarity=None),),
    "8e": (Answer("differential", _set("pins-swapped"), polarity="pin-3-hot"),),
    "8f": (Answer("differential", _set("coupling-capacitor-cold"), _UNEQUAL),),
    "9": (Answer("ground-sensing", driven="one-leg"),),
    "relay1k": _DIFFERENTIAL,
    "unequal": (Answer("differential", _set("leg-impedances-unequal")),),
    "servo98": _FLOATING,
    "valve": _DIFFERENTIAL,
    "hotdead": (
        Answer("faulty", _set(HOT), polarity=None, driven="one-leg"),
        Answer("impedance-balanced", possible=_set(HOT), possible_may=_set(COLD),
               polarity="pin-3-hot", driven="one-leg"),
    ),
    "driedhot": (Answer("differential", _set("coupling-capacitor-hot"), _UNEQUAL),),
    "ibswapped": (
        Answer("impedance-balanced", _set("pins-swapped"), possible=_set(HOT, COLD),
               polarity="pin-3-hot", driven="one-leg"),
    ),
    "gsswapped": (
        Answer("ground-sensing", _set("pins-swapped"), polarity="pin-3-hot", driven="one-leg"),
    ),
    "shared": _DIFFERENTIAL,
    "weakcold": (Answer("differential", _set("legs-unequal")),),
}  # fmt: skip


# The single-ended output is heard beside hot. Where hot is silent and nothing ties the takes
# together in time, no take has what decides the polarity: then it may be left open.
HOT_SILENT = ("8b", "hotdead", "ibswapped", "gsswapped")


def _without_polarity(answer: Answer) -> Answer:
    swapped = _set("pins-swapped")
    return replace(
        answer,
        faults=answer.faults - swapped,
        may=answer.may | (answer.faults & swapped),
        polarity=None if answer.polarity is None else "undetermined",
        possible_may=answer.possible_may | _set(HOT, COLD),
    )


def answers(circuit: str, situation: str = "reference") -> tuple[Answer, ...]:
    """The acceptable answers for a circuit recorded in a phase situation."""
    accepted = EXPECTED[circuit]
    if circuit in HOT_SILENT and situation in ("none", "foreign-clock"):
        return (*accepted, *(_without_polarity(a) for a in accepted))
    return accepted


def complaints(circuit: str, stage: dict[str, Any], situation: str = "reference") -> list[str]:
    """What is wrong with ``stage`` of the facts against the nearest acceptable answer."""
    return min((answer.complaints(stage) for answer in answers(circuit, situation)), key=len)


def kind_is_right(circuit: str, stage: dict[str, Any]) -> bool:
    """Tell whether the kind alone is one of the acceptable ones."""
    return stage["kind"] in {answer.kind for answer in EXPECTED[circuit]}
