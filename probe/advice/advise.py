"""From facts and a destination to advice: every allowed option solved, judged, one chosen.

The order of the work: what the device is; which options its connectors allow; for every kind
the stage may still be, and every corner of what was not measured, each option into each input;
the worst verdict of them; the choice; where several boxes hang on the device, all their leads
once more as one network; what would cure hum; what would change the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

from probe.advice import thresholds as limit
from probe.advice.answers import Lines, known, placed
from probe.advice.ask_circuit import with_circuit_asked_first
from probe.advice.ask_drive import with_drive_asked_first
from probe.advice.ask_first import with_asked_first
from probe.advice.ask_leg import with_leg_asked_first
from probe.advice.ask_load import with_load_asked_first
from probe.advice.ask_maker import with_asked
from probe.advice.ask_ohms import with_ohms_that_decide_nothing
from probe.advice.ask_reading import with_reading_first
from probe.advice.ask_tie import with_tie_asked
from probe.advice.ask_volume import as_followed, with_volume_asked_first
from probe.advice.ask_winding import with_winding_asked_first
from probe.advice.between_chassis import ground_fault
from probe.advice.branches import with_branches
from probe.advice.cautions import refusal
from probe.advice.cures import cures
from probe.advice.desk import Desk
from probe.advice.destination import Destination
from probe.advice.digital_choice import with_digital
from probe.advice.each_way import chosen, desks_of, eligible, in_place, subject_of
from probe.advice.full_output_apart import unlike_levels
from probe.advice.heavy_inputs import with_relief
from probe.advice.less_to_buy import less_to_buy
from probe.advice.may_share import with_sharing_told
from probe.advice.measured_first import with_output_measured_first
from probe.advice.memory import Memories, Memory, Sources
from probe.advice.model import Advice, Branch, OptionAdvice
from probe.advice.native_first import with_native_tried_first
from probe.advice.one_channel import one_channel
from probe.advice.only_lead import (
    OnlyLead,
    leads_that_do,
    with_lead_to_order,
    with_only_lead,
    with_own_leads,
)
from probe.advice.operating import BY_ID
from probe.advice.origin_first import origin_of, with_origin_first
from probe.advice.other_transformer import with_other_transformer
from probe.advice.outputs_apart import with_outputs_apart
from probe.advice.own_lead import OwnLeads
from probe.advice.pad_instead import PadInstead, pads_instead
from probe.advice.settle import settlings
from probe.advice.shelf import Shelf
from probe.advice.subject import Facts
from probe.advice.together import Beside, best_sets, instead, taken
from probe.advice.try_first import with_lead_tried_first
from probe.errors import BadInput

__all__ = ["BY_ID", "advise", "advise_from", "ask", "ask_together"]


def advise(
    facts: Facts,
    sources: Mapping[str, Sources],
    destination: Destination,
    progress: Callable[[int, int, str], None] = lambda *_: None,
    memories: Memories | None = None,
) -> Advice:
    """Return the advice for connecting the measured device to ``destination``.

    Parameters
    ----------
    facts
        A ``probe-facts/1`` document.
    sources
        The identified stage of each side (``left``, ``right``, ``mono``) that has one; of a stage
        described by hand one for each kind it may be.
    progress
        Told which step of how many begins, and what it is.
    memories
        What was solved before, and is kept.

    Raises
    ------
    BadInput
        The facts are not what the format says; or more boxes or inputs than are solved at once.
    """
    return advise_from(None, facts, sources, destination, progress, memories)[0]


def advise_from(
    shelf: Shelf | None,
    facts: Facts,
    sources: Mapping[str, Sources],
    destination: Destination,
    progress: Callable[[int, int, str], None] = lambda *_: None,
    memories: Memories | None = None,
) -> tuple[Advice, Destination]:
    """Return the advice with the leads of a shelf that ways work with alone, and where they are.

    The destination has those leads; the rest is as `advise` has it.
    """
    _check_size(destination)
    device, sides, _ = subject_of(facts)
    kept = Memories() if memories is None else memories
    whole = in_place(destination, facts)
    found, destination = _said_from(shelf, facts, sources, whole, kept, progress)
    progress(6, STEPS, "what the answers to what is asked come to")

    def typed(answer: str, lines: Lines) -> Branch:
        of = known(facts, sources, lines)
        again, there = _said_from(shelf, *of, placed(whole, lines), kept)
        again = with_digital(replace(again, supposed=True), device, there)
        return Branch(
            answer, again, there, own_leads(*of, there, again, kept).solved,
            beside(*of, there, again, kept), partial(quieted_instead, *of, there, again, kept),
        )  # fmt: skip

    found = with_sharing_told(with_branches(found, facts, typed))
    progress(STEPS, STEPS, "")
    refused = ground_fault(destination) or refusal(device, sides)
    return (found if refused else with_digital(found, device, destination)), destination


def _said_from(
    shelf: Shelf | None,
    facts: Facts,
    sources: Mapping[str, Sources],
    destination: Destination,
    memories: Memories,
    progress: Callable[[int, int, str], None] = lambda *_: None,
) -> tuple[Advice, Destination]:
    """Return what is said with the leads of a shelf that ways work with alone, and with them."""
    found = _said(facts, sources, destination, memories, progress)
    if shelf is None:
        return found, destination
    progress(5, STEPS, "which leads of the shelf open a way")
    held = only_leads(facts, sources, destination, found, shelf, memories)
    if held:
        destination = with_own_leads(destination, held)
        found = with_only_lead(_said(facts, sources, destination, memories, progress), held)
    progress(5, STEPS, "what does as well with less to be bought")
    leads = own_leads(facts, sources, destination, found, memories)
    if less := less_to_buy(found, destination, shelf, leads):
        destination = replace(destination, less_to_buy=less)
        found = _said(facts, sources, destination, memories, progress)
        found = with_only_lead(found, held) if held else found
    return found, destination


def _said(
    facts: Facts,
    sources: Mapping[str, Sources],
    destination: Destination,
    memories: Memories,
    progress: Callable[[int, int, str], None] = lambda *_: None,
) -> Advice:
    """Return what is said of the analogue ways, but for what comes of other answers."""
    found = _analogue(facts, sources, destination, memories, progress)
    whole = partial(_whole, destination=destination, memories=memories)

    def with_all(facts: Facts) -> Advice:
        return _analogue(facts, sources, destination, memories, progress)

    progress(5, STEPS, "with and without a volume control")
    device = subject_of(facts)[0]
    found = with_volume_asked_first(found, device, facts, sources, whole, with_all)
    return with_ohms_that_decide_nothing(found, facts, whole)


def _analogue(
    facts: Facts,
    sources: Mapping[str, Sources],
    destination: Destination,
    memories: Memories,
    progress: Callable[[int, int, str], None] = lambda *_: None,
) -> Advice:
    """Return the advice on the analogue ways, with all that comes before them and that helps."""
    device, sides, _ = subject_of(facts)
    progress(0, STEPS, "every way by itself")
    memory = memories.of(sources)
    found, desks, bare = chosen(facts, sources, destination, memory)
    again = partial(ask, memory=memory)
    ground = partial(ask, memory=memory.for_another_ground(eligible(found)))
    progress(1, STEPS, "all plugged in at once")
    sets, more = best_sets(desks, found)
    progress(2, STEPS, "what would change the answer")
    would_change = settlings(again, ground, facts, sources, destination, device, sides, found)
    found = replace(found, sets=sets, cautions=(*found.cautions, *more), would_change=would_change)
    found = taken(found, bare)

    progress(3, STEPS, "what would open a way")
    of_these = _asking(facts, sources, memories)
    found = with_what_opens(found, facts, sources, destination, memories)
    found = with_circuit_asked_first(
        found, destination, lambda other: _whole(facts, sources, other, memories)
    )
    found = with_reading_first(found, destination, of_these)
    found = with_drive_asked_first(
        found, facts, sources, partial(_whole, destination=destination, memories=memories)
    )
    found = with_tie_asked(found, device, sides, destination, of_these)
    found = with_outputs_apart(
        found, facts, partial(_whole, destination=destination, memories=memories)
    )
    found = with_native_tried_first(with_lead_tried_first(found, destination))
    progress(4, STEPS, "what helps against hum")
    cautions = (*found.cautions, *one_channel(desks, found), *unlike_levels(found))
    origin = origin_of(found, destination, of_these)
    helping = cures(desks, found, origin.destination)
    found = with_origin_first(replace(found, cures=helping, cautions=cautions), origin)
    return with_output_measured_first(found)


def _whole(
    facts: Facts,
    sources: Mapping[str, Sources],
    destination: Destination,
    memories: Memories,
) -> Advice:
    """Return the options and the choice with all boxes plugged in, and nothing more."""
    found, desks, bare = chosen(facts, sources, destination, memories.of(sources))
    return taken(replace(found, sets=best_sets(desks, found)[0]), bare)


STEPS = 7
"""Of an answer, for whoever waits for it."""


def ask(
    facts: Facts,
    sources: Mapping[str, Sources],
    destination: Destination,
    memory: Memory | None = None,
) -> Advice:
    """Return the options and the choice alone, for asking many times; see `advise`.

    ``memory``: what was solved for the same ``sources`` before.
    """
    destination = in_place(destination, facts)
    return chosen(facts, sources, destination, Memory() if memory is None else memory)[0]


def ask_together(
    facts: Facts, sources: Mapping[str, Sources], destination: Destination,
    memories: Memories | None = None,
) -> Advice:  # fmt: skip
    """Return the options and the choice; of several boxes that of the best set."""
    device, sides, _ = subject_of(facts)
    destination = in_place(destination, facts)
    found = _whole(facts, sources, destination, memories or Memories())
    refused = ground_fault(destination) or refusal(device, sides)
    return found if refused else with_digital(found, device, destination)


def _asking(
    facts: Facts, sources: Mapping[str, Sources], memories: Memories
) -> Callable[[Destination, frozenset[tuple[str, str]]], Advice]:  # fmt: skip
    """Return what gives the advice for another destination: of all, or of some options alone."""

    def of_these(other: Destination, among: frozenset[tuple[str, str]]) -> Advice:
        if among:
            return ask(facts, sources, other, memories.of(sources).only(among))
        return _whole(facts, sources, other, memories)

    return of_these


def with_what_opens(
    found: Advice, facts: Facts, sources: Mapping[str, Sources], destination: Destination,
    memories: Memories | None = None,
) -> Advice:  # fmt: skip
    """Return the advice with what would open a way for each box that has none.

    Another transformer, a line driver, what a maker has to be asked.
    """
    kept = Memories() if memories is None else memories
    again = _asking(facts, sources, kept)
    found = with_other_transformer(found, destination, again)
    found = with_lead_to_order(found, destination, again)
    found = with_relief(found, subject_of(facts)[0].minimum_load_ohm, destination, again)
    return with_makers_asked(found, facts, sources, destination, kept)


def with_makers_asked(
    found: Advice, facts: Facts, sources: Mapping[str, Sources], destination: Destination,
    memories: Memories | None = None,
) -> Advice:  # fmt: skip
    """Return the advice with what a maker has to be asked.

    For each box without a way, and where a way that cannot be judged would be used with the answer.
    """
    kept = Memories() if memories is None else memories

    def by_itself(
        facts: Facts, sources: Mapping[str, Sources], among: frozenset[tuple[str, str]]
    ) -> Advice:
        return ask(facts, sources, destination, kept.of(sources).only(among))

    def whole(facts: Facts, sources: Mapping[str, Sources]) -> Advice:
        return ask_together(facts, sources, destination, kept)

    found = with_asked(found, facts, sources, by_itself, whole, destination.operating_volts)
    found = with_asked_first(found, facts, by_itself, whole)
    found = with_load_asked_first(found, facts, sources, whole)
    found = with_winding_asked_first(found, facts, whole)
    return with_leg_asked_first(found, facts, destination.operating_volts, whole)


def beside(
    facts: Facts, sources: Mapping[str, Sources], destination: Destination, advice: Advice,
    memories: Memories | None = None,
) -> Callable[[OptionAdvice], Beside | None]:  # fmt: skip
    """Return what solves another way for one box with what ``advice`` has for the others."""
    desks = _followed(facts, sources, destination, advice, memories)
    return lambda other: instead(desks, advice, other)


def only_leads(
    facts: Facts, sources: Mapping[str, Sources], destination: Destination, advice: Advice,
    shelf: Shelf, memories: Memories | None = None,
) -> tuple[OnlyLead, ...]:  # fmt: skip
    """Return the leads of a shelf with which ways are used that fail with a usual lead."""
    return leads_that_do(
        advice, destination, shelf, _asking(facts, sources, memories or Memories())
    )


def own_leads(
    facts: Facts, sources: Mapping[str, Sources], destination: Destination, advice: Advice,
    memories: Memories | None = None,
) -> OwnLeads:  # fmt: skip
    """Return what solves choices of ``advice`` again with the leads that are at hand."""
    return OwnLeads(_followed(facts, sources, destination, advice, memories), advice)


def quieted_instead(
    facts: Facts, sources: Mapping[str, Sources], destination: Destination, advice: Advice,
    memories: Memories | None = None,
) -> tuple[PadInstead, ...]:  # fmt: skip
    """Return the leads that an attenuator of a shelf quiets where a transformer is chosen."""
    return tuple(pads_instead(_followed(facts, sources, destination, advice, memories), advice))


def _followed(
    facts: Facts, sources: Mapping[str, Sources], destination: Destination, advice: Advice,
    memories: Memories | None,
) -> list[Desk]:  # fmt: skip
    """Return the desks of the device as ``advice`` has it."""
    device, sides, _ = subject_of(as_followed(facts, advice))
    memory = (memories or Memories()).of(sources)
    return desks_of(device, sides, sources, in_place(destination, facts), memory)


def _check_size(destination: Destination) -> None:
    boxes = len({socket.box for socket in destination.inputs})
    for seen, most, what in (
        (boxes, limit.MOST_BOXES, "boxes"),
        (len(destination.inputs), limit.MOST_INPUTS, "inputs"),
    ):
        if seen > most:
            raise BadInput(
                f"{destination.name}: {seen} {what}; at most {most} are solved as one circuit: ask "
                "for those that hang on the device together in smaller groups"
            )
