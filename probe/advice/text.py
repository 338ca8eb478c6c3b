"""The advice as half a screen of text: the choice, why, what it gains, what must not be done."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial

from probe.advice.ask_kind import NEVER_TIED
from probe.advice.ask_volume import hangs_on_volume
from probe.advice.company import CLIPS, UNCHANGED, effects, short_beside
from probe.advice.cures import HALF
from probe.advice.digital import digital_lines
from probe.advice.digital_shared import ONE_INPUT
from probe.advice.figures import worse_side
from probe.advice.flip_reasons import ASKED
from probe.advice.model import RANKING, Advice, Choice, Cure, OptionAdvice, Settling
from probe.advice.padded import described
from probe.advice.parts import to_ask_for
from probe.advice.quantity import Quantity
from probe.advice.rows import WIDTH, named_in_short, table
from probe.advice.shorter import already_asked, in_short
from probe.advice.taken import CERTAIN, WHEN
from probe.advice.told_once import groups_of, told_once
from probe.advice.words import decibels, figure, full_output, quieter, signed_decibels
from probe.numbers import says_alike, without_figures, worst_told

_QUANTITY = re.compile(r"(?<=\d) (?=(?:[mkM]?(?:V|ohm|A|Hz|m)|dB)\b|%)")
WORTH_A_WORD_DB = 0.05
"""A loss at 20 kHz that rounds to nothing is left to the JSON."""

FIRST = (
    "ground-fault",
    "ground-high",
    "ground-current",
    "headphone-output",
    "speaker-output",
    "output-beyond-line",
    "output-undeclared",
    "output-unlike-line",
    "direct-voltage",
    "stage-fault",
    "unlikely-level",
    "unlikely-output",
    "unlikely-output-alike",
    "unlikely-sensitivity",
    "unlikely-impedance",
    ONE_INPUT,
)
"""Cautions that stand before any choice; the last but one ask whether a figure is right."""

AT_ONCE = ("shared-output", "may-share-output", "splitter-buys", "together-not-all",
           "together", "together-suffers",
           "together-not-settled", "together-mind", "together-load", "outputs-shared",
           "unlike-levels")  # fmt: skip
"""Cautions of several boxes at once, which stand with what is chosen for each."""

TOLD_ABOVE = (
    "volume-control",
    "asked-first",
    "lead-first",
    "digital-level",
    "digital-format",
    "plain-lead-first",
    "origin-first",
    "option",
    "transformer",
    "output-impedance",
    "minimum-load",
    "joined-plug",
    "line-driver",
    "better-lead",
    "pin-3",
    "legs-alike",
    "each-driven",
    "winding",
    "leg-alone",
    "outputs-shared",
    "asked-elsewhere",
)
"""What would change the answer and stands with the options, or where nothing is used."""

MOST_REASONS = 2
"""Reasons for what is chosen for one of several boxes: the first are those that decided."""

BEFORE_BUYING = tuple(f"before anything {but}is bought, " for but in ("", "else ", "but the lead "))
"""What such a reason begins with."""

MOST_OTHERS = 2
"""Other ways into one of several boxes that are named with their figures."""

DANGERS = 3
"""Most hazards shown of the chosen option; all of them are in the JSON."""


MORE = "Every way with figures and why not, and what settles those not judged: --details"
"""At the end of what is printed of several boxes."""


def render(advice: Advice, *, details: bool = False) -> str:
    """Return the advice as text, no line wider than `WIDTH`, ending in a line break.

    Boxes of which all of it is alike stand together. What is not known yet of ways into a box that
    has its choice is named only, unless ``details`` are asked for: it is no part of the answer, and
    fills a screen where nothing was measured. So do the figures of every way into several boxes.
    """
    whole = alike_boxes(advice)
    return _render(told_once(advice, whole), details=details, named=len(advice.choices) > 1)


def alike_boxes(advice: Advice) -> tuple[tuple[str, ...], ...]:
    """Return the boxes, those together of which the same is printed."""
    return groups_of(advice, partial(_render, details=True, named=False))


def _render(advice: Advice, *, details: bool, named: bool) -> str:
    """Return the advice as text; ``named``: the boxes are called by their names."""
    brief = len(advice.choices) > 1 and not details
    lines = wrapped(f"{advice.device} to {advice.destination}{_provisional(advice)}", "  ")
    first = sorted(
        (c for c in advice.cautions if c.code in FIRST), key=lambda c: FIRST.index(c.code)
    )
    for caution in first:
        lines += ["", *wrapped(f"FIRST  {caution.message}", "       ")]
    if not advice.options and not advice.digital:
        lines += ["", "No connection is advised."]
        more = [c.message for c in advice.cautions if c.code not in FIRST]
        lines += [*([""] if more else []), *bullets(more)]
        return "\n".join([*lines, *_would_change(advice, details=details)]) + "\n"
    beside = effects(advice)
    for choice in advice.choices:
        told = choice if details else in_short(advice, choice)
        told = _in_brief(advice, told) if brief else told
        lines += ["", *_choice(advice, told, f" ({choice.box})" if named else "")]
        if beside.get(choice.box) not in (None, UNCHANGED if brief else None):
            lines += bullets([f"with all plugged in: {beside[choice.box]}"])
        lines += _else(advice, choice) if brief and choice.option else []
    at_once = [c.message for c in advice.cautions if c.code in AT_ONCE]
    if at_once:
        lines += ["", "All at once", *bullets(at_once)]
    if advice.options and not brief:
        lines += ["", *table(advice.options)]
    ties = [c.message for c in advice.cautions if c.code == "pin-3-tie"]
    told_above = {"pin-3-tie", *FIRST, *AT_ONCE}
    sections = {
        "Digital links": digital_lines(advice.digital, details=details),
        "If it hums": [_cure(c, several=len(advice.choices) > 1) for c in _cures(advice)],
        "Not known yet": _not_known(advice, details=details, brief=brief),
        "Do not": [
            *(_never(advice) if brief else _said(_untried(advice), ("never", "avoid"))),
            *_may_harm(advice),
            *ties,
        ],
        "Before you connect": [c.message for c in advice.cautions if c.code not in told_above],
    }
    for title, messages in sections.items():
        if messages:
            lines += ["", title, *bullets(messages)]
    lines += _would_change(advice, details=details)
    return "\n".join([*lines, *(["", *wrapped(MORE, "")] if brief else [])]) + "\n"


def _in_brief(advice: Advice, choice: Choice) -> Choice:
    """Return a choice with its first reasons; what they point to below is not printed then.

    What is asked or tried before anything is bought goes first: the list counts on it, as it does
    on what a maker is asked if that does not do.
    """
    why = sorted(choice.why, key=lambda w: not w.startswith(BEFORE_BUYING))
    asks = [s.what for s in advice.would_change if s.box == choice.box and s.code in ASKED]
    asked = [w for w in why if any(what in w for what in asks)][:1]
    kept = why[:MOST_REASONS]
    kept += [w for w in asked if w not in kept]
    others = [w for w in choice.why if w.startswith(CERTAIN) or w == NEVER_TIED]
    kept = [w for w in kept if w not in others]
    at = next((k for k, w in enumerate(kept) if w.startswith(BEFORE_BUYING) or w in asked), -1)
    kept[at + 1 : at + 1] = others  # the list counts on them, too
    return replace(choice, why=tuple(w.replace(" (below)", "") for w in kept))


def _would_change(advice: Advice, *, details: bool) -> list[str]:
    told = [
        _missing(one)
        for one in advice.would_change
        if one.code not in TOLD_ABOVE and (details or not already_asked(advice, one))
    ]
    return ["", *wrapped("Would change the answer: " + "; ".join(told), "  ")] if told else []


def _provisional(advice: Advice) -> str:
    """Say what of hum and noise is missing, and where, if not everywhere."""
    places: dict[str, list[str]] = {}
    for name in RANKING:
        if name in advice.not_computed:
            places.setdefault(_lacking(advice, name), []).append(name)
    said = "; ".join(f"{' and '.join(names)} not computed{at}" for at, names in places.items())
    return f"  (provisional: {said})" if said else ""


def _lacking(advice: Advice, name: str) -> str:
    """Return where a figure is missing: nothing to add if everywhere, boxes, or some options."""
    usable = [o for o in advice.options if o.verdict in ("use", "works", "avoid")]
    known = [o for o in usable if getattr(o.figures, f"{name}_below_full_output_db") is not None]
    if not known:
        return ""
    boxes = [b for b in dict.fromkeys(o.box for o in usable) if b not in {o.box for o in known}]
    return f" for {' and '.join(boxes)}" if boxes else " for every connection"


def _missing(one: Settling) -> str:
    named = [a for a in one.answers[1:] if a != "nothing"]
    then = [f"then {' or '.join(named)}"] if named else []
    if "nothing" in one.answers[1:]:
        then.append("then possibly no way is left to recommend")
    return ", ".join((one.what, " or ".join(then))) if then else one.what


def _cures(advice: Advice) -> list[Cure]:
    """Return the cures; what takes the hum of several boxes beyond checking is named once."""
    alike: dict[Cure, list[Cure]] = {}
    for cure in advice.cures:
        own = cure if not cure.beyond else replace(
            cure, box="", hum_below_full_output_db=None, better_by_db=None,
            better_by_at_least_db=None)  # fmt: skip
        alike.setdefault(own, []).append(cure)
    least = [
        min(held, key=lambda c: (c.better_by_at_least_db or 0.0, c.better_by_db or 0.0))
        for held in alike.values()
    ]
    return [
        replace(one, box=" and ".join(c.box for c in held))
        for one, held in zip(least, alike.values(), strict=True)
    ]


def _cure(cure: Cure, *, several: bool) -> str:
    where = f"{cure.box}: " if several else ""
    if cure.hum_below_full_output_db is None or cure.better_by_db is None:
        return f"{where}{cure.says}"
    known = "" if cure.verdict != "cannot-tell" else "; whether it may be used is not known yet"
    hum = decibels(cure.hum_below_full_output_db)
    return (
        f"{where}{cure.says} ({cure.option}): hum {hum} below full output, "
        f"{cure.better} dB better{known}"
    )


def _choice(advice: Advice, choice: Choice, label: str) -> list[str]:
    if choice.option is None:
        return [*_nothing_used(advice, choice, label), *bullets(choice.why)]
    held = [
        o
        for o in advice.options
        if o.option.id == choice.option and o.socket == choice.socket and o.box == choice.box
    ]
    if not held:
        return _digital_choice(advice, choice, label)
    option = held[0]
    lines = _tried_first(advice, choice, label)
    head = "IF THAT DOES NOT DO" if lines else "USE"
    lines += wrapped(f"{head}{label}  {choice.option}: {option.option.says}", "    ")
    lines += wrapped("Why  " + "; ".join(choice.why), "     ")
    offered = next((o.attenuator for o in held if o.attenuator is not None), None)
    lines += wrapped("Gives  " + _gives(advice, _of_worse_side(held)), "       ")
    if offered is not None and not (choice.attenuator and hangs_on_volume(advice, choice.box)):
        must = "it needs" if choice.attenuator else "an attenuator would help:"
        if not choice.attenuator and any(o.turn_down_db is not None for o in held):
            must = "or, so that it cannot be turned up too far:"
        lines += bullets([f"{must} {described(offered)}; {offered.why}"])
    if option.option.pin_3 == "transformer":
        part = max((o.part_needed for o in held), key=lambda p: p.volts_at_20_hz)
        lines += bullets([f"the transformer: {to_ask_for(part)}"])
    dangers = _dangers(held)
    lines += bullets(f"mind: {d}" for d in dangers[:DANGERS])
    more = len(dangers) - DANGERS
    return lines + ([f"- and {more} more to mind, in the JSON"] if more > 0 else [])


def _nothing_used(advice: Advice, choice: Choice, label: str) -> list[str]:
    """Return the head where nothing is chosen: the lead to try first, as on the sheet."""
    return _tried_first(advice, choice, label) or [f"USE NOTHING YET{label}"]


def _tried_first(advice: Advice, choice: Choice, label: str) -> list[str]:
    """Return the head of a lead that is tried first, where it is another than the one chosen."""
    held = (s for s in advice.would_change if s.box == choice.box and s.code in WHEN)
    way = next((s.answers[0] for s in held if s.answers), None)
    mine = [o.option for o in advice.options if (o.box, o.option.id) == (choice.box, way)]
    if not mine or way == choice.option:
        return []
    return wrapped(f"TRY FIRST{label}  {way}: {mine[0].says}", "    ")


def _else(advice: Advice, choice: Choice) -> list[str]:
    """Name the other ways that work for one of several boxes, in place of a table for each."""
    mine = [o for o in advice.options if o.box == choice.box]
    fails = {(o.socket, o.option.id) for o in mine if o.used.verdict not in ("works", "use")}
    others = [o for o in mine if o.verdict != "use" and (o.socket, o.option.id) not in fails]
    told = named_in_short(others)
    more = [f"{len(told) - MOST_OTHERS} more"] if len(told) > MOST_OTHERS else []
    return wrapped("Else  " + "; ".join((*told[:MOST_OTHERS], *more)), "      ") if told else []


def _never(advice: Advice) -> list[str]:
    """Name the ways that do harm, into any of several boxes."""
    shown = [_shown(o) for o in advice.options]
    names = _names(shown, [o for o in shown if o.verdict == "never"])
    return [f"never: {', '.join(names)}"] if names else []


def _untried(advice: Advice) -> list[OptionAdvice]:
    """Return the ways that are not the one to try first for their box."""
    tried = {(s.box, a) for s in advice.would_change if s.code in WHEN for a in s.answers}
    return [o for o in advice.options if (o.box, o.option.id) not in tried]


TIED = frozenset({"tie-current", "tie-pointless"})
"""Codes of a driven pin 3 that is joined to ground."""


def _may_harm(advice: Advice) -> list[str]:
    """Name the leads that everybody would try and that may do harm, as far as is known."""
    shown = [_shown(o) for o in advice.options]
    mine = [
        o for o in shown if o.verdict == "cannot-tell" and o.option.native
        and TIED & o.against
    ]  # fmt: skip
    names = _names(shown, mine)
    return [f"{', '.join(names)} before it is known what drives pins 2 and 3, and with which "
            "impedance: joining pin 3 may overload the output"] if names else []  # fmt: skip


def _dangers(held: Sequence[OptionAdvice]) -> list[str]:
    """Return what to mind; of sides that differ in figures only, the worse one's."""
    alike: dict[tuple[str, str], list[str]] = {}
    for h in (h for o in held for h in o.used.hazards):
        alike.setdefault((h.code, without_figures(h.message)), []).append(h.message)
    return [worst_told(told) for told in alike.values()]


def _digital_choice(advice: Advice, choice: Choice, label: str) -> list[str]:
    (link,) = [a for a in advice.digital if (a.link.id, a.box) == (choice.option, choice.box)][:1]
    lines = wrapped(f"USE{label}  {link.link.id}: {link.link.says}", "    ")
    lines += wrapped("Why  " + "; ".join(choice.why), "     ")
    told = (ONE_INPUT, *(note.code for note in link.ask_first if note.code == "digital-format"))
    return lines + bullets(f"mind: {h.message}" for h in link.hazards if h.code not in told)


def _of_worse_side(held: Sequence[OptionAdvice]) -> OptionAdvice:
    """Return a connection as it is used, of each figure the one of the worse side."""
    used = [o.used for o in held]
    return replace(used[0], figures=worse_side([o.figures for o in used]))


def _filled(advice: Advice, option: OptionAdvice, margin: Quantity) -> str:
    """Return whether a way reaches full output before the device clips, and beside the others."""
    headroom = option.figures.headroom_db
    clips = any(h.code == CLIPS for h in option.hazards)
    if clips and headroom is not None and headroom.low < margin.low:
        return f"{decibels(-headroom)} short of full output: the device clips there"
    says = full_output(margin)
    if says.startswith("reaches full output") and surely_half(option):
        return HALF_OUTPUT
    if not says.startswith("reaches full output") or not short_beside(advice, option.box):
        return says
    return says.replace("full output", "full output by itself", 1)


HALF_OUTPUT = "drives one half of the input: its maximum is 6 dB below full output"


def surely_half(option: OptionAdvice) -> bool:
    """Tell whether one half of an input that needs both legs gets nothing, whatever is possible."""
    told = (h.message for h in option.hazards if h.code == HALF)
    return any(not message.startswith("if ") for message in told)


def _gives(advice: Advice, option: OptionAdvice) -> str:
    f = option.figures
    parts = []
    if f.level is not None:
        where = (
            (option.operating or advice.operating)
            if f.level.note is None
            else "at the measured level"
        )
        both = option.option.from_ == "rca" and any(o.option.from_ == "xlr" for o in advice.options)
        if both and where.startswith(("at the device's", "at the declared")):
            where += " between pins 2 and 3"
        parts.append(f"{figure(f.level)} at the input, {where}")
    if f.loudness_vs_reference_db is not None and option.reference != "none":
        link = "RCA" if option.reference == "rca-link" else "XLR"
        parts.append(f"{signed_decibels(f.loudness_vs_reference_db)} against the {link} link")
    if f.full_output_margin_db is not None:
        parts.append(_filled(advice, option, f.full_output_margin_db))
    elif option.reference != "none" and quieter(f.loudness_vs_reference_db):
        parts.append("whether that reaches full output is not known")
    if f.hum_below_full_output_db is not None:
        hum = f.hum_below_full_output_db
        against = "full output" if hum.note is None else "the 1 V assumed for full output"
        parts.append(f"hum {decibels(hum)} below {against}")
    if f.noise_below_full_output_db is not None:
        parts.append(f"noise {decibels(f.noise_below_full_output_db)} below it (A-weighted)")
    lost = f.connection_loss_at_20_khz
    if lost is not None and lost.high >= WORTH_A_WORD_DB:
        parts.append(f"{_loss(lost)} lost at 20 kHz")
    if f.high_corner is not None and f.high_corner.bound is None:
        parts.append(f"-3 dB at {figure(f.high_corner)}")
    return ", ".join(parts) or "not known"


def _loss(loss: Quantity) -> str:
    text = f"{max(loss.value, 0.0):.2f} dB"
    ends = (max(loss.low, 0.0), max(loss.high, 0.0))
    return f"{text} ({ends[0]:.2f} to {ends[1]:.2f})" if loss.u95 >= 0.005 else text


def _not_known(advice: Advice, *, details: bool, brief: bool) -> list[str]:
    """Return why ways cannot be judged; of boxes with a choice only where that is to be had.

    A box with something to try or to ask first counts as one with a choice: what opens a way stands
    there. A reason that stands with the choice (the least bad way's) is no news.
    """
    settled = {c.box for c in advice.choices if c.option is not None}
    settled |= {s.box for s in advice.would_change if s.box and s.answers and s.code in TOLD_ABOVE}
    settled = set() if details else settled
    above = " ".join(w for c in advice.choices if c.option is None for w in c.why)
    said = _said(
        [
            o
            for o in advice.options
            if o.box not in settled and (not o.reasons or o.reasons[0] not in above)
        ],
        ("cannot-tell",),
    )
    boxes = [
        o.box for o in advice.options if o.box in settled and _shown(o).verdict == "cannot-tell"
    ]
    if boxes and not brief:
        said.append("the ways marked cannot-tell: why, and what would settle it, --details")
    return said


def _shown(option: OptionAdvice) -> OptionAdvice:
    return option if option.verdict == "use" else option.used


def _said(listed: Sequence[OptionAdvice], verdicts: Sequence[str]) -> list[str]:
    """Return the reasons of ``verdicts`` in that order; options with one reason stand together."""
    options = [_shown(o) for o in listed]
    held: list[tuple[str, str, bool, list[OptionAdvice]]] = []
    for verdict in verdicts:
        for o in options:
            if o.verdict != verdict or not o.reasons:
                continue
            reason = _worst_told(options, o)
            alike = (g for v, r, e, g in held if (v, e) == (verdict, o.eased)
                     and says_alike(r, reason))  # fmt: skip
            group = next(alike, None)
            if group is None:
                held.append((verdict, reason, o.eased, [o]))
            else:
                group.append(o)
    said = []
    for verdict, reason, eased, group in held:
        names = ", ".join(_names(options, group))
        mark = "" if verdict == "cannot-tell" else f" ({verdict}{' without resistors' * eased})"
        said.append(f"{names}{mark}: {reason}")
    return said


def _worst_told(options: Sequence[OptionAdvice], one: OptionAdvice) -> str:
    """Return the first reason; of sides whose reasons differ in figures only, the worse side's."""
    key = (one.option.id, one.socket, one.verdict, without_figures(one.reasons[0]))
    alike = [
        o for o in options
        if o.reasons and (o.option.id, o.socket, o.verdict, without_figures(o.reasons[0])) == key
    ]  # fmt: skip
    quietest = [o.figures.hum_below_full_output_db for o in alike]
    if "hum" in one.reasons[0] and all(q is not None for q in quietest):
        return min(alike, key=lambda o: o.figures.hum_below_full_output_db.value).reasons[0]  # type: ignore[union-attr]
    return worst_told(o.reasons[0] for o in alike)


def _names(options: Sequence[OptionAdvice], group: Sequence[OptionAdvice]) -> list[str]:
    """Return the ids of ``group``, with the sides and inputs where it does not hold on all."""
    names = []
    for id_ in dict.fromkeys(o.option.id for o in group):
        here = [o for o in group if o.option.id == id_]
        all_ = [o for o in options if o.option.id == id_]
        where = []
        for found, every in (
            ([o.side for o in here], {o.side for o in all_}),
            ([o.socket for o in here], {o.socket for o in all_}),
        ):
            if set(found) != every:
                where.append(", ".join(dict.fromkeys(found)))
        names.append(f"{id_} [{'; '.join(where)}]" if where else id_)
    return names


def bullets(messages: Iterable[str]) -> list[str]:
    """Return each message as a bullet, wrapped to `WIDTH`."""
    return [line for message in messages for line in wrapped(f"- {message}", "  ")]


def wrapped(text: str, indent: str, first: str = "") -> list[str]:
    """Return lines of `WIDTH` that part no figure from its unit, all but the first indented."""
    kept = _QUANTITY.sub("\u00a0", text).replace(" +/- ", "\u00a0+/-\u00a0")
    lines = textwrap.wrap(kept, WIDTH, initial_indent=first, subsequent_indent=indent,
                          break_on_hyphens=False)  # fmt: skip
    return [line.replace("\u00a0", " ") for line in lines]
