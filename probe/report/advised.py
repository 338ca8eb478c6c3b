"""An advice document turned into rows for the page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from probe.numbers import number, without_figures, worst_told
from probe.report import cautions, words
from probe.report.before import FIRST, hangs_on_volume, to_measure
from probe.report.bounded import figure, loss_or_rise
from probe.report.document import listing
from probe.report.listed import parts_of, shelf_of, shelf_of_all
from probe.report.places import place_of
from probe.report.step import in_words, step_of
from probe.report.text import MESSAGE_LIMIT, clean, printed
from probe.report.used import as_used, needs_pad, pad_named, worse_side
from probe.report.varied import Varied, varied_of

_ORDER = ("use", "works", "cannot-tell", "avoid", "never")
_QUANTITIES = (
    (("level",), "Level", ""),
    (("level_vs_rca_db",), "Level against the {link}", "dB"),
    (("loudness_vs_rca_db",), "Loudness against the {link}", "dB"),
    (("full_output_margin_db",), "Margin to full output", "dB"),
    (("loss_db", "at_20_hz"), "Loss at 20 Hz", "dB"),
    (("loss_db", "at_20_khz"), "Loss at 20 kHz", "dB"),
    (("bandwidth_hz", "low"), "Lower corner", "Hz"),
    (("bandwidth_hz", "high"), "Upper corner", "Hz"),
    (("tie_current",), "Current in the tie, peak", "A"),
    (("hum_below_full_output_db",), "Hum below full output", "dB"),
    (("noise_below_full_output_db",), "Noise below full output", "dB"),
)
"""Where a figure stands in an option, its name, and its unit where it states none."""


@dataclass(frozen=True)
class OptionRow:
    """One way to connect: what it is, how it fares and why."""

    name: str
    where: str
    verdict: str
    code: str
    figures: tuple[str, ...]
    reasons: tuple[str, ...]
    hazards: tuple[str, ...]


@dataclass(frozen=True)
class BoxChoice:
    """What comes first for one box and is chosen, what its lead takes, and why.

    ``name`` is empty where there is one box; ``chosen`` where nothing is.
    """

    name: str
    chosen: str
    why: tuple[str, ...]
    parts: tuple[str, ...]
    shelf: tuple[str, ...]


@dataclass(frozen=True)
class AdviceView:
    """The options box by box, best first, and the cautions of the advice itself.

    ``common``: what is said of every option.
    """

    destination: str
    operating_point: str
    boxes: tuple[BoxChoice, ...]
    provisional: str
    cautions: tuple[str, ...]
    options: tuple[OptionRow, ...]
    common: tuple[str, ...] = ()
    shelf: tuple[str, ...] = ()
    """What the boxes share of the shelf, and what all of it comes to."""
    varied: Varied | None = None
    """What if, where it was asked."""


LINKS = {"rca-link": "RCA link", "xlr-link": "XLR link"}
"""What levels are compared with; an output without RCA has its native link."""


def advice_view(advice: Mapping[str, Any]) -> AdviceView:
    """Return the view of an advice document."""
    options: list[Mapping[str, Any]] = [
        as_used(o, with_pad=needs_pad(o))
        for o in listing(advice, "options")
        if isinstance(o, Mapping)
    ]
    boxes = list(dict.fromkeys(str(o.get("destination")) for o in options))
    options.sort(key=lambda o: (boxes.index(str(o.get("destination"))), _rank(o)))
    typed = number(advice, "described_sides") is not None
    rows, common = _hoisted([_row(advice, held, typed=typed) for held in _both_sides(options)])
    return AdviceView(
        destination=place_of(advice.get("destination")) if advice.get("destination") else "",
        operating_point=clean(advice.get("operating_point") or "", MESSAGE_LIMIT),
        boxes=_choices(advice, options),
        provisional=_provisional(advice, options),
        cautions=_cautions(listing(advice, "cautions"), typed=typed),
        options=rows,
        common=common,
        shelf=shelf_of_all(advice),
        varied=varied_of(advice.get("vary"), {box: place_of(box) for box in boxes}),
    )


BEFORE_ALL = ("before anything ", "first plug in ", "try first", "if it hums, before ")
"""What a reason begins with that says what is done first."""


def _choices(
    advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]]
) -> tuple[BoxChoice, ...]:
    """Return what is said of each box, of several as of one."""
    choices = [c for c in listing(advice, "choices") if isinstance(c, Mapping)]
    if len(choices) > 1:
        return tuple(_choice(advice, c, options, str(c.get("destination"))) for c in choices)
    return (_choice(advice, {"option": advice.get("chosen"), "why": listing(advice, "why")},
                    options, ""),)  # fmt: skip


def _choice(
    advice: Mapping[str, Any], choice: Mapping[str, Any], options: Sequence[Mapping[str, Any]],
    box: str,
) -> BoxChoice:  # fmt: skip
    """Return what is said of one box; ``box``: its name where there are several."""
    mine = [o for o in options if box in ("", str(o.get("destination")))]
    option = next((o for o in mine if o.get("verdict") == "use"), None)
    code = option.get("id") if option else choice.get("option")
    name, step = _option_name(code) if code else "", step_of(advice, mine)
    held = option is not None and needs_pad(option)
    looked = held and hangs_on_volume(advice, option and option.get("destination"))
    if option is not None and held and not looked:
        name = f"{name}, with {pad_named(option)} in its plug"
    then: tuple[str, ...] = ()
    if step and (name or step.tried):
        if step.tried and option and option.get("id") != step.ways[0].get("id"):
            then = (f"Only if that does not do: {name}",)
        name = step.headline(name, "below")
    elif looked:
        name = f"Look first, as below, for what belongs in the plug. Then: {name}"
    said = [*to_measure(advice, {str(o.get("destination")) for o in mine}), *listing(choice, "why")]
    why = sorted(said, key=lambda w: not str(w).lower().startswith(BEFORE_ALL))
    return BoxChoice(
        name=clean(box, 60),
        chosen=name,
        why=tuple(_whole(in_words(_sentence(reason))) for reason in why),
        parts=(*then, *parts_of(advice, option)),
        shelf=shelf_of(advice, box or str(mine[0].get("destination")) if mine else box),
    )


def _whole(text: str) -> str:
    """Return a reason as a sentence of its own."""
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}"


def _cautions(own: Sequence[Any], *, typed: bool) -> tuple[str, ...]:
    """Return what forbids connecting, what every advice needs, the rest; none of them twice."""
    codes = {c.get("code") for c in own if isinstance(c, Mapping)}
    wanted = cautions.BEFORE_ADVICE_OF_TYPED if typed else cautions.BEFORE_ADVICE
    needed = [text for code, text in wanted.items() if code not in codes]
    first = [c for c in own if isinstance(c, Mapping) and c.get("code") in FIRST]
    return (*map(_sentence, first), *needed, *(_sentence(c) for c in own if c not in first))


def _provisional(advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]]) -> str:
    if not advice.get("provisional") and not any(o.get("provisional") for o in options):
        return ""
    missing = ", ".join(clean(part, 40) for part in listing(advice, "not_computed"))
    return missing or "not everything that ranks the options"


def _both_sides(options: Sequence[Mapping[str, Any]]) -> list[list[Mapping[str, Any]]]:
    """Return the sides of each connection together, where they are judged alike."""
    held: dict[tuple[str, ...], list[Mapping[str, Any]]] = {}
    for option in options:
        key = tuple(str(option.get(k)) for k in ("destination", "input", "id", "verdict"))
        held.setdefault(key, []).append(option)
    return list(held.values())


def _hoisted(rows: Sequence[OptionRow]) -> tuple[tuple[OptionRow, ...], tuple[str, ...]]:
    """Return the rows without the reasons that all of them have, and those."""
    if len(rows) < 2:
        return tuple(rows), ()
    common = [r for r in rows[0].reasons if all(r in row.reasons for row in rows)]
    bare = (replace(row, reasons=tuple(r for r in row.reasons if r not in common)) for row in rows)
    return tuple(bare), tuple(common)


def _told_once(said: Iterable[str]) -> list[str]:
    """Return each sentence once; of some that differ in figures alone the one of the worse side."""
    held: dict[str, list[str]] = {}
    for text in said:
        held.setdefault(without_figures(text), []).append(text)
    return [worst_told(texts) for texts in held.values()]


def _row(
    advice: Mapping[str, Any], sides: Sequence[Mapping[str, Any]], *, typed: bool
) -> OptionRow:
    """Return one connection as it is judged on ``sides``, each figure that of the worse one.

    ``typed``: the device is described by hand, which has no sides of its own.
    """
    option = worse_side(sides)
    code = str(option.get("verdict") or "cannot-tell")
    hazards = _told_once(_sentence(h) for s in sides for h in listing(s, "hazards"))
    reasons = _told_once(_sentence(r) for s in sides for r in listing(s, "reasons"))
    reasons = [r for r in reasons if r not in hazards]
    where = [" and ".join(clean(s["side"], 20) for s in sides if s.get("side") and not typed)]
    where += [clean(option["destination"], 60)] if option.get("destination") else []
    waits = _waits(advice, option)
    return OptionRow(
        name=_option_name(option.get("id")),
        where=", ".join(w for w in where if w),
        verdict=waits or words.VERDICTS.get(code, clean(code, 20)),
        code=code if code in words.VERDICTS and not waits else "cannot-tell",
        figures=tuple(_figures(option)),
        reasons=tuple(reasons),
        hazards=tuple(hazards),
    )


def _waits(advice: Mapping[str, Any], option: Mapping[str, Any]) -> str:
    """Return what is done first of a way that it opens, or that what is chosen waits for it."""
    step = step_of(advice, [option])
    opened = step.row(option) if step else None
    if step is None or (option.get("verdict") == "use" and opened is not None):
        return ""
    return opened[0] if opened else "not yet" * (option.get("verdict") == "use")


def _figures(option: Mapping[str, Any]) -> list[str]:
    told = []
    link = LINKS.get(str(option.get("reference")), LINKS["rca-link"])
    for path, name, unit in _QUANTITIES:
        entry: Any = option
        for key in path:
            entry = entry.get(key) if isinstance(entry, Mapping) else None
        if isinstance(entry, Mapping) and number(entry) is not None:
            whole = {**entry, "unit": entry.get("unit") or unit}
            name, whole = loss_or_rise(name.format(link=link), whole)
            told.append(f"{name}: {figure(whole)}")
    return told


def _option_name(code: object) -> str:
    return words.OPTIONS.get(str(code)) or clean(code, 60).replace("-", " ")


def _rank(option: Mapping[str, Any]) -> int:
    code = option.get("verdict")
    return _ORDER.index(code) if code in _ORDER else len(_ORDER)


def _sentence(found: object) -> str:
    text = found.get("message") if isinstance(found, Mapping) else found
    return printed(text)
