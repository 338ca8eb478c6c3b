"""A facts document turned into what the page shows: texts, rows and drawings, nothing else.

Everything in the document may be absent; what is absent leads to an empty row or an entry under
"not known yet", never to an error and never to an invented value.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from markupsafe import Markup

from probe.report import cautions, words
from probe.report.curves import (
    CurveTable,
    Figure,
    capacitor,
    curve_table,
    impedance_figure,
    level_figure,
    phasor_figure,
)
from probe.report.numbers import (
    Written,
    number,
    ratio_db,
    write,
    write_dbu,
    write_hz,
    write_share,
)
from probe.report.schematic import Stage, Values, schematic
from probe.report.text import MESSAGE_LIMIT, clean

_SIDE_ORDER = ("left", "right", "mono")
_TAPPED_COUPLING = -0.1
"""Below this share the winding of a transformer is tapped to pin 1 (see docs: kinds)."""


@dataclass(frozen=True)
class Doubt:
    """A kind that is still possible: its name, its share as text, and the share as a number."""

    name: str
    share: str
    fraction: float | None


@dataclass(frozen=True)
class Next:
    """The one take that settles most, with the cautions that come before it."""

    code: str
    name: str
    how: str
    shows: str
    reason: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Named:
    """A thing with a sentence: a fault, a condition, a missing fact."""

    name: str
    text: str


@dataclass(frozen=True)
class Glance:
    """One of the few numbers that stand under the verdict."""

    name: str
    value: str
    unit: str
    under: str


@dataclass(frozen=True)
class TakeRow:
    """One take of a side."""

    number: int
    anchor: str
    name: str
    file: str
    used: str
    steady: str
    delay: str
    clock: str
    residual: str


@dataclass(frozen=True)
class TakeMark:
    """A reference from a fact to a take."""

    text: str
    anchor: str | None
    name: str


@dataclass(frozen=True)
class FactRow:
    """One row of the evidence."""

    name: str
    about: str
    written: Written
    level: str
    at: str
    takes: tuple[TakeMark, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class FactGroup:
    """Rows under one heading."""

    name: str
    rows: tuple[FactRow, ...]


@dataclass(frozen=True)
class Warned:
    """A warning of the analysis."""

    code: str
    take: str
    message: str


@dataclass(frozen=True)
class SideView:
    """Everything the page says about one side."""

    key: str
    name: str
    kind: str
    headline: str
    aside: str
    meaning: str
    confidence: str
    undecided: bool
    reasons: tuple[str, ...]
    also: tuple[Doubt, ...]
    next_take: Next | None
    characters: tuple[Named, ...]
    faults: tuple[Named, ...]
    possible_faults: tuple[Named, ...]
    glance: tuple[Glance, ...]
    drawings: tuple[Figure, ...]
    charts: tuple[Figure, ...]
    curve_table: CurveTable | None
    evidence: tuple[FactGroup, ...]
    tie: bool
    unknown: tuple[Named, ...]
    takes: tuple[TakeRow, ...]
    warnings: tuple[Warned, ...]
    conditions: tuple[Named, ...]


@dataclass(frozen=True)
class Compared:
    """One line of the comparison of two sides."""

    name: str
    about: str
    left: str
    right: str
    difference: str


@dataclass(frozen=True)
class Verdict:
    """The verdict as it stands on top: once for both sides where they agree."""

    sides: str
    headline: str
    aside: str
    note: str
    tone: str
    meaning: str


@dataclass(frozen=True)
class PageView:
    """The whole page."""

    title: str
    serial: str
    made_by: str
    made_on: str
    sha256: str
    verdicts: tuple[Verdict, ...]
    comparison: tuple[Compared, ...]
    sides: tuple[SideView, ...]
    warnings: tuple[Warned, ...]
    bench: tuple[Named, ...]


def page_view(facts: Mapping[str, Any]) -> PageView:
    """Return the view of a facts document."""
    device, made = _map(facts, "device"), _map(facts, "made")
    found = _map(facts, "sides")
    keys = [k for k in _SIDE_ORDER if k in found] + sorted(set(found) - set(_SIDE_ORDER))
    warnings = [w for w in _list(facts, "warnings") if isinstance(w, Mapping)]
    sides = tuple(side_view(key, _map(found, key), warnings) for key in keys)
    told = {w for side in sides for w in side.warnings}
    return PageView(
        title=device_name(device),
        serial=clean(device.get("serial") or ""),
        made_by=clean(made.get("by") or ""),
        made_on=_date(made.get("on")),
        sha256=clean(made.get("session_sha256") or "", 64),
        verdicts=_verdicts(sides),
        comparison=_comparison(_map(found, "left"), _map(found, "right"), sides),
        sides=sides,
        warnings=tuple(w for w in map(_warned, warnings) if w not in told),
        bench=tuple(_conditions(_map(made, "bench"))),
    )


def device_name(device: Mapping[str, Any]) -> str:
    """Return maker and model on one line, harmless, or a placeholder."""
    parts = (clean(device.get(part) or "", 60) for part in ("maker", "model"))
    return " ".join(part for part in parts if part) or "Unnamed device"


def side_view(key: str, side: Mapping[str, Any], warnings: Sequence[Mapping[str, Any]]) -> SideView:
    """Return the view of one side; ``warnings`` are those of the whole document."""
    stage, facts, curves = _map(side, "stage"), _map(side, "facts"), _map(side, "curves")
    takes = take_rows(key, _list(side, "takes"))
    name = words.SIDES.get(key, clean(key, 20))
    kind = str(stage.get("kind") or "undetermined")
    headline, aside = split_name(kind_name(kind, live_pin(stage, facts)))
    return SideView(
        key=clean(key, 20),
        name=name,
        kind=kind,
        headline=headline,
        aside=aside,
        meaning=_meaning(kind, stage, facts),
        confidence=write_share(number(stage, "confidence")),
        undecided=kind == "undetermined",
        reasons=tuple(clean(r, MESSAGE_LIMIT) for r in _list(stage, "reasons")),
        also=tuple(_also(stage, facts)),
        next_take=_next(stage),
        characters=tuple(_characters(stage)),
        faults=tuple(fault(code) for code in _list(stage, "faults")),
        possible_faults=tuple(_possible_faults(stage)),
        glance=tuple(_glance(stage, facts)),
        drawings=tuple(_drawings(key, name, kind, stage, facts, curves)),
        charts=tuple(
            figure
            for figure in (
                level_figure(f"{_id(key)}-level", name, curves),
                impedance_figure(f"{_id(key)}-impedance", name, curves),
            )
            if figure
        ),
        curve_table=curve_table(curves),
        evidence=tuple(_evidence(facts, takes)),
        tie="hot_level_pin_3_tied" in facts or "pin_3_tie_current" in facts,
        unknown=tuple(_unknown(kind, stage, facts)),
        takes=takes,
        warnings=tuple(_warned(w) for w in warnings if _concerns(w, key, side)),
        conditions=tuple(_conditions(_map(side, "conditions"))),
    )


# Names


def kind_name(kind: str, live: int = 2) -> str:
    """Return a kind as people are shown it; ``live`` is the driven pin where only one is."""
    text = words.KINDS.get(kind, clean(kind, 40))
    return text.replace("{live}", str(live)).replace("{other}", str(5 - live))


def split_name(name: str) -> tuple[str, str]:
    """Return a kind's name and the part of it that stood in brackets."""
    head, _, rest = name.partition(" (")
    return head[:1].upper() + head[1:], rest.rstrip(")")


def live_pin(stage: Mapping[str, Any], facts: Mapping[str, Any]) -> int:
    """Return the pin that carries the signal, or that is not inverted: 2 or 3."""
    if stage.get("polarity") == "pin-3-hot":
        return 3
    levels = [
        number(_entry(facts, f"{leg}_level") or _entry(facts, f"{leg}_recorded")) or 0.0
        for leg in ("hot", "cold")
    ]
    return 3 if stage.get("driven_legs") == "one-leg" and levels[1] > levels[0] else 2


def fault(code: object) -> Named:
    """Return a fault's name and meaning; an unknown code is shown as it is."""
    known = words.FAULTS.get(str(code))
    return Named(*known) if known else Named(clean(code).replace("-", " "), "")


def _meaning(kind: str, stage: Mapping[str, Any], facts: Mapping[str, Any]) -> str:
    live = live_pin(stage, facts)
    text = words.MEANINGS.get(kind, "").format(live=live, other=5 - live)
    if kind == "transformer-coupled" and _tapped(facts):
        text += " This winding is tapped: its middle is joined to pin 1."
    return text


def _tapped(facts: Mapping[str, Any]) -> bool:
    coupling = number(_entry(facts, "coupling_cold_into_hot"))
    return coupling is not None and coupling < _TAPPED_COUPLING


# Verdict


def _also(stage: Mapping[str, Any], facts: Mapping[str, Any]) -> Iterable[Doubt]:
    live = live_pin(stage, facts)
    for other in _list(stage, "also_possible"):
        if isinstance(other, Mapping):
            share = number(other, "confidence")
            yield Doubt(kind_name(str(other.get("kind")), live), write_share(share), share)


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
        for entry in _list(stage, "possible_faults_told_by")
        if isinstance(entry, Mapping)
    }
    for code in _list(stage, "possible_faults"):
        known = fault(code)
        yield Named(known.name, told.get(str(code)) or known.text)


def _verdicts(sides: Sequence[SideView]) -> tuple[Verdict, ...]:
    told = [_verdict(side) for side in sides]
    alike = len(told) == 2 and all(
        getattr(told[0], part) == getattr(told[1], part)
        for part in ("headline", "aside", "tone", "meaning")
    )
    if not alike or {s.key for s in sides} != {"left", "right"}:
        return tuple(told)
    notes = told[0].note
    if told[0].note != told[1].note:
        notes = f"left: {told[0].note}; right: {told[1].note}"
    first = told[0]
    return (
        Verdict("Left and right", first.headline, first.aside, notes, first.tone, first.meaning),
    )


def _verdict(side: SideView) -> Verdict:
    tone = "open" if side.undecided else "sound"
    if side.kind == "faulty" or side.faults:
        tone = "fault"
    notes = [] if side.undecided else [f"confidence {side.confidence}"]
    if side.undecided:
        count = len(side.also)
        notes.append(f"{count} kinds still possible" if count > 1 else "more takes needed")
    if side.faults:
        notes.append("fault: " + ", ".join(f.name.lower() for f in side.faults))
    elif not side.undecided:
        notes.append("no fault found")
    sides = side.name if side.key == "mono" else f"{side.name} side"
    return Verdict(sides, side.headline, side.aside, "; ".join(notes), tone, side.meaning)


_GLANCE = (
    ("hot_level", "hot_recorded", "Pin 2"),
    ("cold_level", "cold_recorded", "Pin 3"),
    ("differential_level", "", "Between the pins"),
    ("single_ended_level", "", "Single-ended"),
    ("gain_difference", "", "Balanced over single-ended"),
    ("differential_impedance", "", "Impedance between the pins"),
)


def _glance(stage: Mapping[str, Any], facts: Mapping[str, Any]) -> Iterable[Glance]:
    for name, fallback, title in _GLANCE:
        entry, recorded = _entry(facts, name), False
        if entry is None and fallback:
            entry, recorded = _entry(facts, fallback), True
        if entry is None or number(entry) is None:
            continue
        meant = words.fact_words(name)
        told = write(entry, positive=meant.positive)
        under = told.doubt if not recorded else f"{told.doubt} as recorded".strip()
        yield Glance(title, told.value, told.unit, under)
    polarity = words.POLARITIES.get(str(stage.get("polarity") or ""))
    if polarity and stage.get("polarity") != "undetermined":
        yield Glance("Polarity", polarity, "", "")


# Drawings


def _drawings(
    key: str,
    name: str,
    kind: str,
    stage: Mapping[str, Any],
    facts: Mapping[str, Any],
    curves: Mapping[str, Any],
) -> Iterable[Figure]:
    yield Figure(
        "The stage as identified",
        _schematic(key, name, kind, stage, facts, curves),
        _schematic_caption(kind, facts),
    )
    arrows = phasor_figure(f"{_id(key)}-arrows", name, curves, facts)
    if arrows:
        yield arrows


def _schematic(
    key: str,
    name: str,
    kind: str,
    stage: Mapping[str, Any],
    facts: Mapping[str, Any],
    curves: Mapping[str, Any],
) -> Markup:
    faults = tuple(str(code) for code in _list(stage, "faults"))
    live = live_pin(stage, facts)
    grounded = kind in {"electronically-floating", "transformer-coupled"}
    drawn = Stage(
        kind=kind if kind in words.KINDS else "undetermined",
        live=live,
        tapped=_tapped(facts),
        faults=faults,
        values=Values(
            hot=_value(facts, "hot_impedance"),
            cold=_value(facts, "cold_impedance"),
            between=_value(facts, "differential_impedance"),
            together=_value(facts, "common_mode_impedance"),
            single_ended_level=_value(facts, "single_ended_level"),
            single_ended_impedance=_value(facts, "single_ended_impedance"),
        ),
        capacitor_hot="" if grounded else _capacitor(curves, "hot", faults),
        capacitor_cold="" if grounded else _capacitor(curves, "cold", faults),
    )
    return schematic(f"{_id(key)}-schematic", f"{name}, {kind_name(kind, live)}", drawn)


def _capacitor(curves: Mapping[str, Any], leg: str, faults: Sequence[str]) -> str:
    told = capacitor(curves, f"{leg}_impedance")
    if f"coupling-capacitor-{leg}" in faults:
        return f"suspect: {told}" if told else "suspect capacitor"
    return told


def _schematic_caption(kind: str, facts: Mapping[str, Any]) -> str:
    if kind == "undetermined":
        return "Nothing is drawn that the takes do not show."
    parts = ["A drawing of how the stage behaves at its terminals, not of the parts inside."]
    hz = number(_entry(facts, "hot_impedance"), "at_hz") or number(
        _entry(facts, "hot_level"), "at_hz"
    )
    if hz:
        parts.append(f"Values at {write_hz(hz)} with their 95 % intervals.")
    if "single_ended_level" in facts:
        parts.append("How the single-ended output is fed inside is not told by these takes.")
    return " ".join(parts)


def _value(facts: Mapping[str, Any], name: str) -> str:
    entry = _entry(facts, name)
    return "" if number(entry) is None or entry is None else write(entry, positive=True).whole


# Evidence


def _evidence(facts: Mapping[str, Any], takes: Sequence[TakeRow]) -> Iterable[FactGroup]:
    names = [n for n in words.FACTS if n in facts] + sorted(set(facts) - set(words.FACTS))
    for group in words.GROUPS:
        rows = tuple(
            _fact_row(name, entry, takes)
            for name in names
            if words.fact_words(name).group == group
            and (entry := _entry(facts, name)) is not None
            and number(entry) is not None
        )
        if rows:
            yield FactGroup(group, rows)


def _fact_row(name: str, entry: Mapping[str, Any], takes: Sequence[TakeRow]) -> FactRow:
    meant = words.fact_words(name)
    hz = number(entry, "at_hz")
    return FactRow(
        name=clean(meant.name),
        about=meant.about,
        written=write(entry, positive=meant.positive),
        level=write_dbu(entry) if meant.level else "",
        at=write_hz(hz) if hz else "",
        takes=tuple(_mark(take, takes) for take in _list(entry, "takes")),
        notes=tuple(_notes(entry)),
    )


def _notes(entry: Mapping[str, Any]) -> Iterable[str]:
    if entry.get("bound") in {"above", "below"}:
        yield "Only a bound is known."
    if entry.get("limited_by_bench"):
        yield "Limited by the recorder, not by the device."
    imag = number(entry, "imag")
    if imag is not None:
        yield f"Imaginary part {imag:.3f}.".replace("-", "−")
    limit = number(entry, "limit")
    if limit is not None:
        told = write({"value": limit, "unit": entry.get("unit", "")})
        yield f"The best this bench could have seen: {told.whole}."
    if entry.get("receiver"):
        yield f"Receiver: {clean(entry['receiver'])}."
    if entry.get("note"):
        yield clean(entry["note"], MESSAGE_LIMIT)


def _mark(take: object, takes: Sequence[TakeRow]) -> TakeMark:
    wanted = clean(take)
    for row in takes:
        if wanted in {row.name, row.file}:
            return TakeMark(str(row.number), row.anchor, row.name)
    return TakeMark(clean(take, 32), None, wanted)


def _unknown(kind: str, stage: Mapping[str, Any], facts: Mapping[str, Any]) -> Iterable[Named]:
    for missing in words.MISSING:
        if missing.fact in facts or kind in missing.not_for:
            continue
        takes = " or ".join(words.NEXT_TAKES[code].name for code in missing.takes)
        yield Named(missing.what[:1].upper() + missing.what[1:], takes)
    if stage.get("polarity") == "undetermined":
        yield Named("Polarity", words.NEXT_TAKES["single-ended"].name)
    if stage.get("path") not in words.PATHS:
        yield Named(
            "Whether the legs have separate paths inside",
            "not told by takes of level and impedance; nothing is claimed",
        )


# Takes, warnings, conditions


def take_rows(key: str, takes: Sequence[Any]) -> tuple[TakeRow, ...]:
    """Return the takes of a side in their order, numbered from 1."""
    found = [take for take in takes if isinstance(take, Mapping)]
    return tuple(_take_row(key, index, take) for index, take in enumerate(found, start=1))


def _take_row(key: str, index: int, take: Mapping[str, Any]) -> TakeRow:
    used = "used"
    if take.get("used") is False:
        used = "not used: " + clean(take.get("why_not") or "no reason given", MESSAGE_LIMIT)
    steady = [s for s in _list(take, "steady_s") if isinstance(s, int | float)]
    delay, clock = number(take, "delay_s"), number(take, "clock_ppm")
    residual = number(take, "residual")
    file = clean(take.get("file") or "")
    return TakeRow(
        number=index,
        anchor=f"{_id(key)}-take-{index}",
        name=clean(take.get("take") or "") or file or f"take {index}",
        file=file,
        used=used,
        steady=f"{steady[0]:.2f} to {steady[1]:.2f} s" if len(steady) == 2 else "",
        delay="" if delay is None else f"{1e3 * delay:.4f} ms".replace("-", "−"),
        clock="" if clock is None else f"{clock:+.2f} ppm".replace("-", "−"),
        residual="" if residual is None else f"{residual:.2f}",
    )


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
        for t in _list(side, "takes")
        if isinstance(t, Mapping)
        for part in ("take", "file")
    }
    return bool(take) and take in own


_CONDITION_NAMES = {
    "interface": "Recorder",
    "mains_hz": "Mains, Hz",
    "recorded_on": "Recorded on",
    "repeatability_db": "Level repeats within, dB",
    "volume": "Volume",
    "state": "State",
}


def _conditions(found: Mapping[str, Any]) -> Iterable[Named]:
    for key, value in found.items():
        name = _CONDITION_NAMES.get(key) or clean(key, 40).replace("_", " ").capitalize()
        text = _condition(value)
        if text:
            yield Named(name, text)


def _condition(value: Any) -> str:
    if isinstance(value, Mapping):
        inner = (f"{clean(k, 40).replace('_', ' ')} {_condition(v)}" for k, v in value.items())
        return clean(", ".join(inner), MESSAGE_LIMIT)
    if isinstance(value, list | tuple):
        return clean("; ".join(_condition(v) for v in value[:12]), MESSAGE_LIMIT)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    return "" if value is None else clean(value, 200)


# Comparison

_COMPARED = (
    "hot_level",
    "cold_level",
    "differential_level",
    "single_ended_level",
    "gain_difference",
    "leg_ratio",
    "hot_impedance",
    "cold_impedance",
    "differential_impedance",
    "output_common_mode_rejection",
)


def _comparison(
    left: Mapping[str, Any], right: Mapping[str, Any], sides: Sequence[SideView]
) -> tuple[Compared, ...]:
    views = {side.key: side for side in sides}
    if "left" not in views or "right" not in views:
        return ()
    a, b = views["left"], views["right"]
    rows = [
        Compared("Kind", "", a.headline, b.headline, "" if a.kind == b.kind else "differ"),
        Compared("Confidence", "", a.confidence, b.confidence, ""),
        Compared("Faults", "", _listed(a.faults), _listed(b.faults), ""),
    ]
    for name in _COMPARED:
        entries = [_entry(_map(side, "facts"), name) for side in (left, right)]
        if any(number(entry) is not None for entry in entries):
            rows.append(_compared(name, entries[0], entries[1]))
    return tuple(rows)


def _compared(
    name: str, left: Mapping[str, Any] | None, right: Mapping[str, Any] | None
) -> Compared:
    meant = words.fact_words(name)
    told = [
        "–"
        if entry is None or number(entry) is None
        else write(entry, positive=meant.positive).whole
        for entry in (left, right)
    ]
    title = meant.name
    if meant.group == "Impedances":
        title = f"Impedance, {meant.name[:1].lower()}{meant.name[1:]}"
    return Compared(title, meant.about, told[0], told[1], _difference(meant, left, right))


def _difference(
    meant: words.FactWords, left: Mapping[str, Any] | None, right: Mapping[str, Any] | None
) -> str:
    """Right against left: in dB for voltages, in percent for impedances, else plainly."""
    a, b = number(left), number(right)
    if a is None or b is None or (left or {}).get("bound") or (right or {}).get("bound"):
        return ""
    unit = str((left or {}).get("unit", ""))
    if unit == "dB":
        return f"{b - a:+.2f} dB".replace("-", "−")
    if a <= 0.0 or b <= 0.0:
        return ""
    if unit == "V":
        return f"{ratio_db(b / a):+.2f} dB".replace("-", "−")
    return f"{100.0 * (b / a - 1.0):+.1f} %".replace("-", "−")


def _listed(faults: Sequence[Named]) -> str:
    return ", ".join(f.name for f in faults) or "none found"


# Access


def _map(parent: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = parent.get(key)
    return value if isinstance(value, Mapping) else {}


def _list(parent: Mapping[str, Any], key: str) -> Sequence[Any]:
    value = parent.get(key)
    return value if isinstance(value, list | tuple) else ()


def _entry(facts: Mapping[str, Any], name: str) -> Mapping[str, Any] | None:
    value = facts.get(name)
    return value if isinstance(value, Mapping) else None


def _id(key: str) -> str:
    return "".join(c for c in key if c.isascii() and c.isalnum()) or "side"


def _date(value: object) -> str:
    try:
        when = datetime.fromisoformat(str(value).replace("Z", "+00:00"))
    except ValueError:
        return clean(value or "", 40)
    zone = " UTC" if when.utcoffset() is not None and not when.utcoffset() else ""
    return f"{when.day} {when:%B %Y, %H:%M}{zone}"
