"""A facts document turned into what the page shows: texts, rows and drawings, nothing else.

Everything in the document may be absent; what is absent leads to an empty row or an entry under
"not known yet", never to an error and never to an invented value.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from probe.compare.looked_for import leg_impedances_known, not_looked_for
from probe.numbers import (
    number,
    write,
    write_share,
)
from probe.report import cautions, words
from probe.report.alarms import SUSPECTED, alarms_after, alarms_before, suspect
from probe.report.comparison import comparison
from probe.report.conditions_shown import conditions_shown
from probe.report.curves import (
    curve_table,
    impedance_figure,
    level_figure,
)
from probe.report.document import entry_of, identifier, listing, mapping
from probe.report.drawings import Drawable, drawings, tapped
from probe.report.evidence import evidence, take_rows
from probe.report.measured import between_view, measured_view, path_view
from probe.report.missing import TAKES, missing, unknown
from probe.report.names import device_name, fault, kind_name, live_pin, split_name, when
from probe.report.quality import quality_figures, quality_tables
from probe.report.shown import Doubt, Glance, Named, Next, Note, PageView, SideView, Verdict, Warned
from probe.report.text import MESSAGE_LIMIT, clean
from probe.report.typed import typed_view

_SIDE_ORDER = ("left", "right", "mono")


def page_view(facts: Mapping[str, Any]) -> PageView:
    """Return the view of a facts document."""
    device, made = mapping(facts, "device"), mapping(facts, "made")
    found = mapping(facts, "sides")
    keys = [k for k in _SIDE_ORDER if k in found] + sorted(set(found) - set(_SIDE_ORDER))
    warnings = [w for w in listing(facts, "warnings") if isinstance(w, Mapping)]
    typed = typed_view(facts)
    keys = [] if typed else keys  # what a measured side says would be said of nothing
    sides = tuple(side_view(key, mapping(found, key), warnings) for key in keys)
    told = {w for side in sides for w in side.warnings}
    return PageView(
        title=device_name(device),
        serial=clean(device.get("serial") or ""),
        made_by=clean(made.get("by") or ""),
        made_on=when(made.get("on")),
        sha256=clean(made.get("session_sha256") or "", 64),
        alarms_before=alarms_before(facts),
        verdicts=_verdicts(sides),
        alarms_after=alarms_after(facts),
        comparison=comparison(mapping(found, "left"), mapping(found, "right"), sides),
        between=between_view(mapping(facts, "between_sides")),
        sides=sides,
        warnings=tuple(w for w in map(_warned, warnings) if w not in told),
        bench=tuple(conditions_shown(mapping(made, "bench"))),
        typed=typed,
    )


def side_view(key: str, side: Mapping[str, Any], warnings: Sequence[Mapping[str, Any]]) -> SideView:
    """Return the view of one side; ``warnings`` are those of the whole document."""
    stage, facts, curves = mapping(side, "stage"), mapping(side, "facts"), mapping(side, "curves")
    takes = take_rows(key, listing(side, "takes"), facts)
    name = words.SIDES.get(key, clean(key, 20))
    kind = str(stage.get("kind") or "undetermined")
    headline, aside = split_name(kind_name(kind, live_pin(stage, facts)))
    faults = tuple(fault(code) for code in listing(stage, "faults"))
    possible = tuple(_possible_faults(stage))
    open_ = not_looked_for(side)
    direct = suspect({"sides": {key: side}})
    return SideView(
        key=clean(key, 20),
        name=name,
        kind=kind,
        headline=headline,
        aside=aside,
        meaning=_meaning(kind, stage, facts),
        confidence=write_share(number(stage, "confidence")),
        undecided=kind == "undetermined",
        reasons=tuple(_reason(clean(r, MESSAGE_LIMIT)) for r in listing(stage, "reasons")),
        also=tuple(_also(stage, facts)),
        next_take=_next(stage),
        no_take=_no_take(stage),
        characters=tuple(_characters(stage)),
        faults=faults,
        possible_faults=possible,
        not_looked_for=open_,
        faults_told=_faults_told(kind, faults, possible, open_, direct=direct),
        glance=tuple(_glance(facts)),
        drawings=tuple(drawings(Drawable(key, name, kind, stage, facts, curves))),
        charts=tuple(
            figure
            for figure in (
                level_figure(f"{identifier(key)}-level", name, curves),
                impedance_figure(f"{identifier(key)}-impedance", name, curves),
            )
            if figure
        )
        + quality_figures(identifier(key), name, curves),
        curve_table=curve_table(curves),
        quality=quality_tables(side),
        measured=measured_view(identifier(key), name, side),
        path=path_view(stage),
        evidence=tuple(evidence(facts, takes)),
        tie=_tie(kind, facts),
        unknown=tuple(unknown(kind, stage, facts)),
        limits=_limits(kind, stage, facts),
        takes=takes,
        warnings=tuple(_warned(w) for w in warnings if _concerns(w, key, side)),
        conditions=tuple(conditions_shown(mapping(side, "conditions"))),
    )


_UNEQUAL = "leg-impedances-unequal"


def _faults_told(
    kind: str,
    faults: Sequence[Named],
    possible: Sequence[Named],
    not_looked_for: Sequence[str],
    *,
    direct: bool,
) -> str:
    """Return faults stated, faults possible, and what nobody has looked for yet."""
    parts = []
    if faults:
        first, *rest = (f.name for f in faults)
        parts.append(", ".join([first, *(name[:1].lower() + name[1:] for name in rest)]))
    if direct:
        parts.append(SUSPECTED)
    elif not faults and kind != "faulty" and not set(not_looked_for) - {"exchanged pins"}:
        parts.append("no fault found")
    if possible:
        parts.append("cannot be ruled out: " + ", ".join(f.name for f in possible))
    if not_looked_for:
        parts.append("not looked for yet: " + ", ".join(not_looked_for))
    return "; ".join(parts)


_RECORDED_RATIO = re.compile(r"\bcold is [+-]?[\d.]+ dB\b.*\bagainst hot\b")
_NEGATIVE_ZERO = re.compile(r"(?<![\d.])-(?=0(?:\.0+)?(?![\d.]))")


def _reason(text: str) -> str:
    """Return a reason with what it was taken from, and no negative zero."""
    text = _NEGATIVE_ZERO.sub("", text).replace("-180 degrees", "180 degrees")
    if _RECORDED_RATIO.search(text) and "as recorded" not in text:
        text += " (as recorded, with the recorder connected)"
    return text


def _tie(kind: str, facts: Mapping[str, Any]) -> str:
    if not {"hot_level_pin_3_tied", "pin_3_tie_current"} & set(facts):
        return ""
    return cautions.TIE_AS_LISTED if kind in cautions.MAY_BE_TIED else cautions.TIE


def _meaning(kind: str, stage: Mapping[str, Any], facts: Mapping[str, Any]) -> str:
    live = live_pin(stage, facts)
    text = words.MEANINGS.get(kind, "")
    if kind == "impedance-balanced":
        apart = (*listing(stage, "faults"), *listing(stage, "possible_faults"))
        if _UNEQUAL in apart:
            text = words.IMPEDANCES_DIFFER
        elif not leg_impedances_known(facts):
            text = words.IMPEDANCES_OPEN
    text = text.format(live=live, other=5 - live)
    if kind == "transformer-coupled" and tapped(facts):
        text += " This winding is tapped: its middle is joined to pin 1."
    return text


# Verdict

SAME_AT_TERMINALS = "the same at these terminals"
"""What stands in place of a share beside a kind that is stated: no take can tell it from that."""


def _also(stage: Mapping[str, Any], facts: Mapping[str, Any]) -> Iterable[Doubt]:
    live = live_pin(stage, facts)
    open_ = stage.get("kind") == "undetermined"
    for other in listing(stage, "also_possible"):
        if isinstance(other, Mapping):
            share = number(other, "confidence")
            told = write_share(share) if share is not None or open_ else SAME_AT_TERMINALS
            yield Doubt(kind_name(str(other.get("kind")), live), told, share)


def _next(stage: Mapping[str, Any]) -> Next | None:
    code = stage.get("next_take")
    if not code:
        return None
    reason = clean(stage.get("next_take_reason") or "", MESSAGE_LIMIT)
    known = words.NEXT_TAKES.get(str(code))
    if known is None:
        return Next(clean(code), clean(code).replace("-", " "), "", "", reason, ())
    before = cautions.BEFORE_TAKE[known.danger]
    return Next(str(code), known.name, known.how, known.shows, reason, before)


def _no_take(stage: Mapping[str, Any]) -> str:
    """Return why no single take settles it, where that is said."""
    if stage.get("next_take"):
        return ""
    return clean(stage.get("next_take_reason") or "", MESSAGE_LIMIT)


def _characters(stage: Mapping[str, Any]) -> Iterable[Named]:
    for key, name, table in (
        ("driven_legs", "Drive", words.DRIVEN),
        ("polarity", "Polarity", words.POLARITIES),
        ("path", "Signal path", words.PATHS),
    ):
        code = str(stage.get(key) or "")
        if code in table:
            yield Named(name, table[code])


def _possible_faults(stage: Mapping[str, Any]) -> Iterable[Named]:
    told = {
        str(entry.get("fault")): clean(entry.get("message") or "", MESSAGE_LIMIT)
        for entry in listing(stage, "possible_faults_told_by")
        if isinstance(entry, Mapping)
    }
    for code in listing(stage, "possible_faults"):
        known = fault(code)
        yield Named(known.name, told.get(str(code)) or known.text)


def _verdicts(sides: Sequence[SideView]) -> tuple[Verdict, ...]:
    if [side.key for side in sides] == ["left", "right"]:
        left, right = sides
        if (left.kind, left.headline, left.meaning) == (right.kind, right.headline, right.meaning):
            notes: tuple[Note, ...] = (_note(left, "Left"), _note(right, "Right"))
            if notes[0].text == notes[1].text:
                notes = (Note("", notes[0].text, notes[0].tone),)
            return (Verdict("Left and right", left.headline, left.aside, left.meaning, notes),)
    return tuple(
        Verdict(
            side.name if side.key == "mono" else f"{side.name} side",
            side.headline,
            side.aside,
            side.meaning,
            (_note(side, ""),),
        )
        for side in sides
    )


def _note(side: SideView, who: str) -> Note:
    """Return what else belongs beside the kind: how sure, and whether anything is wrong."""
    if side.undecided:
        count = len(side.also)
        still = f"{count} kinds still possible" if count > 1 else "more takes needed"
        parts, tone = [still, side.faults_told], "fault" if side.faults else "open"
    elif side.faults:
        parts, tone = [side.faults_told, f"confidence in the kind {side.confidence}"], "fault"
    else:
        tone = "fault" if side.kind == "faulty" else "sound"
        parts = [f"confidence {side.confidence}", side.faults_told]
    told = "; ".join(part[:1].lower() + part[1:] for part in parts if part)
    return Note(who, told, tone)


_GLANCE = (
    ("hot_level", "hot_recorded", "Pin 2"),
    ("cold_level", "cold_recorded", "Pin 3"),
    ("differential_level", "", "Pin 2 minus pin 3"),
    ("single_ended_level", "", "Single-ended"),
    ("gain_difference", "", "Gain difference"),
    ("differential_impedance", "", "Pin 2 to pin 3"),
)


def _glance(facts: Mapping[str, Any]) -> Iterable[Glance]:
    for name, fallback, title in _GLANCE:
        entry, recorded = entry_of(facts, name), False
        if entry is None and fallback:
            entry, recorded = entry_of(facts, fallback), True
        if entry is None or number(entry) is None:
            continue
        meant = words.fact_words(name)
        told = write(entry, positive=meant.positive)
        doubt = f"({told.interval})" if told.lopsided else told.doubt
        under = [doubt, "as recorded" if recorded else ""]
        if entry.get("limited_by_bench") and not recorded:
            under.append("limited by the recorder")
        yield Glance(title, told.value, told.unit, " ".join(filter(None, under)))


def _limits(kind: str, stage: Mapping[str, Any], facts: Mapping[str, Any]) -> tuple[str, ...]:
    planned = words.NEXT_TAKES.get(str(stage.get("next_take")))
    told = {planned.danger} if planned else set()
    codes = [code for one in missing(kind, facts) for code in one.takes]
    dangers = dict.fromkeys(TAKES[code].danger for code in codes)
    return tuple(c for d in dangers if d not in told for c in cautions.BEFORE_TAKE[d])


# Takes, warnings


def _warned(warning: Mapping[str, Any]) -> Warned:
    return Warned(
        clean(warning.get("code") or "", 40),
        clean(warning.get("take") or ""),
        clean(warning.get("message") or "", MESSAGE_LIMIT),
    )


def _concerns(warning: Mapping[str, Any], key: str, side: Mapping[str, Any]) -> bool:
    if warning.get("side"):
        return bool(warning["side"] == key)
    take = warning.get("take")
    own = {
        t.get(part)
        for t in listing(side, "takes")
        if isinstance(t, Mapping)
        for part in ("take", "file")
    }
    return bool(take) and take in own
