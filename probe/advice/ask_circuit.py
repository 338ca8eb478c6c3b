"""What a balanced input is made of: asked before resistors or a transformer are bought for one.

A difference amplifier draws more from the cold leg than its ohms say, one that buffers each leg
does not. Where a box has parts for what merely may be so, all is solved with each circuit.
"""

from __future__ import annotations

from collections.abc import Callable

from probe.advice.answers import CIRCUIT, Lines, placed
from probe.advice.ask_first import loses, told_first
from probe.advice.ask_maker import isolates
from probe.advice.desk import BALANCED_CIRCUITS
from probe.advice.destination import Circuit, Destination
from probe.advice.model import Advice, Choice, Settling
from probe.advice.words import CIRCUITS

LOADS = frozenset({"load", "load-current"})
"""What an input does to the output by its circuit, where a lead is avoided or resistors are put."""


def with_circuit_asked_first(
    advice: Advice, destination: Destination, whole: Callable[[Destination], Advice]
) -> Advice:
    """Return the advice with the question, for each box of which an answer spares the parts."""
    told = {s.box for s in advice.would_change if s.code in ("asked-first", "lead-first")}
    found: dict[str, Settling] = {}
    for choice in advice.choices:
        if choice.box in told or not _parts(choice) or not _hangs_on_circuit(advice, choice.box):
            continue
        spared: dict[str, list[Circuit]] = {}
        for circuit in BALANCED_CIRCUITS:
            again = whole(placed(destination, _typed(choice.box, circuit)))
            now = next(c for c in again.choices if c.box == choice.box)
            if now.option is not None and not _parts(now) and not loses(advice, again):
                spared.setdefault(now.option, []).append(circuit)
        for option, circuits in spared.items():
            what = (
                f"ask the maker of what is fed ({choice.box}) what its balanced input is: if it is "
                f"{' or '.join(f'a {CIRCUITS[name]}' for name in circuits)}"
            )
            typed = _typed(choice.box, circuits[0])
            asked = Settling("asked-first", what, (option,), choice.box, typed=typed)
            found.setdefault(choice.box, asked)
    return told_first(advice, found)


def _typed(box: str, circuit: Circuit) -> Lines:
    return ((CIRCUIT, (box, circuit)),)


def _parts(choice: Choice) -> bool:
    return choice.attenuator or isolates(choice.option)


def _hangs_on_circuit(advice: Advice, box: str) -> bool:
    """Tell whether a lead into a box is too heavy only if its input is what nobody says it is."""
    return any(
        h.code in LOADS and h.message.startswith("if the input is")
        for o in advice.options
        if o.box == box and not isolates(o.option.id)
        for h in o.hazards
    )
