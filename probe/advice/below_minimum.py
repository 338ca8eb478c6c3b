"""What helps where all that hangs on an output together is less than its maker states.

Above half of it that is minded only, and nothing is bought for it. Series resistors in the plugs
that bring it to what is stated are named where every box still reaches full output; they are solved
with all plugged in, like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from probe.advice import thresholds as limit
from probe.advice.desk import Desk
from probe.advice.model import Advice, OptionAdvice, Together
from probe.advice.note import Note
from probe.advice.resized import resized
from probe.advice.series_resistors import lifted
from probe.advice.use import Use
from probe.decibels import ratio_to_db
from probe.formats.text import all_of
from probe.numbers import ohms

Solve = Callable[[Advice, tuple[Use, ...], tuple[OptionAdvice, ...]], Together]
"""A set with resistors in its plugs, all plugged in."""


def below_minimum(
    desks: Sequence[Desk], advice: Advice, best: Together, solve: Solve
) -> Iterator[Note]:
    """Yield for each output of a set that is minded to be too heavy what would help."""
    least = desks[0].device.minimum_load_ohm
    uses = _uses(desks[0], best)
    for output, ohm in _minded(best, least).items():
        assert least is not None
        helps = next(_resistors(desks, advice, best, uses, output, solve), "")
        helps = helps and f"{helps}; or ask its maker whether {ohms(ohm)} are allowed"
        helps = helps or (
            f"ask its maker whether {ohms(ohm)} are allowed; else fewer boxes on it at once, or a "
            f"line driver with {ohms(least)} or more at its input before them"
        )
        of = f"{ohms(ohm)} together on the {output.upper()} output"
        says = f"Against the {of}, whose maker states {ohms(least)} at least: {helps}"
        yield Note("together-load", says)


def lightened(
    desks: Sequence[Desk], advice: Advice, best: Together, solve: Solve
) -> Together | None:
    """Return the set with the attenuators that are in its plugs anyway made of more ohms.

    So that each output works into what its maker states; None where that is so already, where they
    cannot make it so, or a box would lose by it. What has to be made takes off no more than is
    needed, where that does: by what lies on the shelf only where it does not.
    """
    least = desks[0].device.minimum_load_ohm
    outputs = list(_minded(best, least))
    if least is None or not outputs:
        return None
    for exact in (True, False):
        made = resized(desks, advice, _uses(desks[0], best), outputs, least, exact=exact)
        found = solve(advice, *made) if made is not None else None
        if found is None or _minded(found, least):
            continue
        if all(map(_no_worse, best.options, found.options)):
            new = {(o.side, o.box) for o in found.eased}
            kept = (o for o in best.eased if (o.side, o.box) not in new)
            return replace(found, eased=(*kept, *found.eased))
    return None


def _no_worse(before: OptionAdvice, now: OptionAdvice) -> bool:
    """Tell whether a way is used as well as before: what it is made of costs it nothing."""
    full = [o.figures.full_output_margin_db for o in (before, now)]
    short = full[0] is not None and full[0].low >= 0.0 and (full[1] is None or full[1].low < 0.0)
    codes = [{h.code for h in o.hazards} for o in (before, now)]
    return now.works and not short and codes[1] <= codes[0]


def _uses(desk: Desk, best: Together) -> tuple[Use, ...]:
    """Return what the set uses for each box, as it is made."""
    sockets = {s.name: s for s in desk.destination.inputs}
    held: dict[str, list[OptionAdvice]] = {}
    for o in best.options:
        held.setdefault(o.box, []).append(o)
    return tuple(
        Use(box, sockets[mine[0].socket], tuple((o.side, o.option) for o in mine), mine[0].leads)
        for box, mine in held.items()
    )


def _minded(best: Together, least_ohm: float | None) -> dict[str, float]:
    """Return the outputs that several boxes load with less than is stated, and with how much."""
    found: dict[str, float] = {}
    for output in dict.fromkeys(o.option.from_ for o in best.options):
        on_it = [o for o in best.options if o.option.from_ == output]
        several = len({o.box for o in on_it}) > 1
        minds = all(_minds(o) for o in on_it)
        if several and minds and least_ohm is not None and (ohm := _joint(on_it)) < least_ohm:
            found[output] = ohm
    return found


def _minds(option: OptionAdvice) -> bool:
    """Tell whether its load is minded: whatever else of it is not settled, it is below.

    Of one that is to be avoided that is said with it.
    """
    return option.verdict not in ("avoid", "never") and "load" in {h.code for h in option.hazards}


def _joint(on_it: Sequence[OptionAdvice]) -> float:
    return min(o.works_into_ohm for o in on_it if o.works_into_ohm is not None)


def _resistors(
    desks: Sequence[Desk], advice: Advice, best: Together, uses: tuple[Use, ...], output: str,
    solve: Solve,
) -> Iterator[str]:  # fmt: skip
    """Yield in words what brings all on an output to what is stated, the fewest plugs first."""
    least = desks[0].device.minimum_load_ohm
    for made, eased in lifted(desks, advice, uses, [output], least):
        found = solve(advice, made, eased)
        on_it = [o for o in found.options if o.option.from_ == output]
        serves = all(map(_serves, best.options, found.options))
        if serves and least is not None and (now := _joint(on_it)) >= least:
            yield f"with {_named(eased)} it is {ohms(now)}, and every box still reaches full output"


def _serves(before: OptionAdvice, now: OptionAdvice) -> bool:
    """Tell whether a way still works, reaches full output, and loses what a turn gives back."""
    margin, levels = now.figures.full_output_margin_db, (before.figures.level, now.figures.level)
    if not now.works or margin is None or margin.low < 0.0 or None in levels:
        return False
    lost = ratio_to_db(levels[0].value / levels[1].value)  # type: ignore[union-attr]
    return float(lost) <= limit.VOLUME_MAKES_UP_DB


def _named(eased: Sequence[OptionAdvice]) -> str:
    """Return the resistors with the plugs they go into, and what they take off."""
    alike: dict[str, dict[str, None]] = {}
    for o in eased:
        if o.attenuator is not None:
            says = f"{o.attenuator.says} ({o.attenuator.attenuation_db:.1f} dB)"
            alike.setdefault(says, {})[o.box] = None
    return ", and ".join(
        f"{says} in the plug{'s' * (len(boxes) > 1)} at {all_of(boxes)}"
        for says, boxes in alike.items()
    )
