"""What helps where all that hangs on an output together is less than its maker states.

Above half of it that is minded only, and nothing is bought for it. Series resistors in the plugs
that bring it to what is stated are named where every box still reaches full output; they are solved
with all plugged in, like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from probe.advice import thresholds as limit
from probe.advice.desk import Desk
from probe.advice.destination import Input
from probe.advice.model import Advice, OptionAdvice, Together
from probe.advice.note import Note
from probe.advice.series_resistors import lifted
from probe.advice.use import Use
from probe.decibels import ratio_to_db
from probe.formats.text import all_of
from probe.numbers import ohms

Solve = Callable[[Advice, tuple[Use, ...], tuple[OptionAdvice, ...]], Together]
"""A set with resistors in its plugs, all plugged in."""

CODE = "together-load"


def below_minimum(
    desks: Sequence[Desk], advice: Advice, best: Together, solve: Solve
) -> Iterator[Note]:
    """Yield for each output of a set that is minded to be too heavy what would help."""
    least = desks[0].device.minimum_load_ohm
    if least is None:
        return
    sockets = {s.name: s for s in desks[0].destination.inputs}
    uses = tuple(_as_used(sockets, best, box) for box in dict.fromkeys(o.box for o in best.options))
    for output in dict.fromkeys(u.option.from_ for u in uses):
        on_it = [o for o in best.options if o.option.from_ == output]
        ohm = _joint(on_it)
        if len({o.box for o in on_it}) < 2 or ohm >= least or not all(map(_minded, on_it)):
            continue
        helps = next(_resistors(desks, advice, best, uses, output, solve), "")
        helps = helps and f"{helps}; or ask its maker whether {ohms(ohm)} are allowed"
        helps = helps or (
            f"ask its maker whether {ohms(ohm)} are allowed; else fewer boxes on it at once, or a "
            f"line driver with {ohms(least)} or more at its input before them"
        )
        yield Note(CODE, f"Against the {ohms(ohm)} together on the {output.upper()} output, whose "
                   f"maker states {ohms(least)} at least: {helps}")  # fmt: skip


def _as_used(sockets: Mapping[str, Input], best: Together, box: str) -> Use:
    held = [o for o in best.options if o.box == box]
    socket = sockets[held[0].socket]
    return Use(box, socket, tuple((o.side, o.option) for o in held))


def _joint(on_it: Sequence[OptionAdvice]) -> float:
    return min(o.works_into_ohm for o in on_it if o.works_into_ohm is not None)


def _minded(option: OptionAdvice) -> bool:
    return option.verdict == "works" and any(h.code == "load" for h in option.hazards)


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
    if now.verdict != "works" or margin is None or margin.low < 0.0 or None in levels:
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
