"""What all chosen boxes take from a shelf, picked together, and their leads beside each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from probe.advice.destination import Cable, Destination
from probe.advice.lead_data import Solve, SolveBeside, beside
from probe.advice.model import Advice
from probe.advice.picking import Chosen, Demand, pick, taken_of
from probe.advice.shelf import Shelf
from probe.advice.taken import Taken
from probe.advice.way_parts import demand_of


@dataclass(frozen=True)
class Picked:
    """What every box that something is used for takes, by its name."""

    solve: SolveBeside | None
    demands: Mapping[str, Demand] = field(default_factory=dict)
    chosen: Mapping[str, Chosen] = field(default_factory=dict)

    def cables(self, without: str) -> dict[str, Cable]:
        """Return the leads of the other boxes whose figures are not those that were solved."""
        found = cables_of(self.demands, self.chosen)
        return {box: cable for box, cable in found.items() if box != without}

    def solve_of(self, box: str) -> Solve | None:
        """Return what solves a lead of a box beside those of all others."""
        return beside(self.solve, self.cables(box))

    def of(self, box: str) -> tuple[Demand, Chosen] | None:
        """Return what a box asks for and takes, its leads beside those that the others take."""
        if box not in self.chosen:
            return None
        demand = self.demands[box]
        if cables := self.cables(box):
            leads = demand.leads.solved_by(beside(self.solve, cables))
            demand = replace(demand, leads=leads)
        return demand, self.chosen[box]

    def taken(self, box: str, shelf: Shelf) -> Sequence[Taken]:
        """Return what a box takes from what is left of the shelf."""
        if box not in self.chosen:
            return ()
        chain = taken_of(self.chosen[box], self.demands[box].count, shelf)
        return [one for one in chain if isinstance(one, Taken)]


def pick_together(
    advice: Advice,
    destination: Destination,
    shelf: Shelf,
    solve: SolveBeside | None,
    tried: Mapping[str, frozenset[str]] | None = None,
    before: Picked | None = None,
) -> Picked:
    """Return what all boxes take, the best for all of them, in whatever order they are named.

    Leads are looked at beside the leads that were solved for the other boxes; what is taken works
    with all of them. ``tried``: leads that are there by box; ``before``: what was picked without.
    """
    demands: dict[str, Demand] = {}
    for choice in advice.choices:
        if choice.option is None:
            continue
        demand = demand_of(advice, choice, destination, solve=beside(solve, {}))
        if before:
            demand = before.demands[choice.box]
        there = (tried or {}).get(choice.box, frozenset())
        demands[choice.box] = replace(demand, leads=replace(demand.leads, tried=there))
    held = [d for d in demands.values() if d.ways]

    def does(found: Mapping[str, Chosen]) -> bool:
        cables = data_of(demands, found)
        if solve is None or len(cables) < 2 or not settled:
            return True
        key = tuple(sorted((box, repr(cable)) for box, cable in cables.items()))
        if key not in looked:
            box = min(cables)
            choice = next(c for c in advice.choices if c.box == box)
            rest = {other: cable for other, cable in cables.items() if other != box}
            looked[key] = all(o.works for o in solve(choice, cables[box], rest))
        return looked[key]

    looked: dict[tuple[tuple[str, str], ...], bool] = {}
    settled = all(o.works for one in advice.sets[:1] for o in one.options)
    return Picked(solve, demands, pick(held, shelf, does))


def cables_of(demands: Mapping[str, Demand], chosen: Mapping[str, Chosen]) -> dict[str, Cable]:
    """Return by box the leads with which its figures are not those that were solved."""
    found = {}
    for box, chain in chosen.items():
        cable = demands[box].leads.of(chain).cable
        if cable is not None:
            found[box] = cable
    return found


def data_of(demands: Mapping[str, Demand], chosen: Mapping[str, Chosen]) -> dict[str, Cable]:
    """Return by box the leads that are worse than what was solved, be it too little to be told.

    What no lead makes by itself all of them may make together.
    """
    held = {box: demands[box].leads.of(chain).data for box, chain in chosen.items()}
    return {box: data for box, data in held.items() if data is not None}
