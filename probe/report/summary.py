"""Half a screen of plain text: what the analysis found, for a terminal of 80 columns.

Only the document's own names may leave ASCII; signs and units are spelt out, and nothing depends
on colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from probe.report import words
from probe.report.numbers import number, plain, write, write_dbu
from probe.report.shown import PageView, SideView, Warned
from probe.report.text import columns, hanging
from probe.report.view import page_view

WIDTH = 80
_MOST_WARNINGS = 4
_NOT_KNOWN = "not known"


def render_summary(facts: dict[str, Any]) -> str:
    """Return the summary of a facts document as text of at most 80 columns, ending in a newline."""
    page = page_view(facts)
    lines = _head(page)
    sides = facts.get("sides") or {}
    for side in page.sides:
        lines += ["", *_side(side, sides.get(side.key) or {})]
    warnings = [w for side in page.sides for w in side.warnings] + list(page.warnings)
    lines += _warnings(warnings)
    return "\n".join(lines) + "\n"


def _head(page: PageView) -> list[str]:
    serial = f", serial {page.serial}" if page.serial else ""
    return hanging("", f"{page.title}{serial}", width=WIDTH, indent=0)


def _side(side: SideView, raw: Mapping[str, Any]) -> list[str]:
    facts = raw.get("facts") or {}
    kind = f"{side.headline} ({side.aside})" if side.aside else side.headline
    rows: list[tuple[str, str]] = [(side.name.upper(), kind + _confidence(side))]
    if side.also:
        rows.append(("  also possible", _also(side)))
    if side.next_take:
        rows.append(("  settled by", _next(side)))
    rows += [
        ("  levels", _levels(facts)),
        ("  single-ended", _value(facts, "single_ended_level", level=True)),
        ("  gain difference", _value(facts, "gain_difference", "balanced over single-ended")),
        ("  impedances", _impedances(facts)),
        ("  output CMRR", _value(facts, "output_common_mode_rejection")),
        ("  polarity", _polarity(side)),
        ("  faults", _faults(side)),
    ]
    return [line for label, body in rows for line in hanging(label, plain(body), width=WIDTH)]


def _confidence(side: SideView) -> str:
    return "" if side.undecided else f", confidence {side.confidence}"


def _also(side: SideView) -> str:
    return "; ".join(f"{d.name.split(' (')[0]} [{d.share}]" for d in side.also)


def _next(side: SideView) -> str:
    found = side.next_take
    if found is None:
        return ""
    shows = f": shows {found.shows}" if found.shows else ""
    return f"{found.name} ({found.code}){shows}. Read the cautions in the report first."


def _levels(facts: Mapping[str, Any]) -> str:
    told = []
    for leg in ("hot", "cold"):
        name, suffix = f"{leg}_level", ""
        if name not in facts:
            name, suffix = f"{leg}_recorded", " as recorded"
        told.append(f"{leg} {_value(facts, name, level=True)}{suffix if name in facts else ''}")
    return "; ".join(told)


def _impedances(facts: Mapping[str, Any]) -> str:
    told = (
        f"{what} {_value(facts, name)}"
        for what, name in (
            ("hot", "hot_impedance"),
            ("cold", "cold_impedance"),
            ("differential", "differential_impedance"),
        )
    )
    return "; ".join(told)


def _value(facts: Mapping[str, Any], name: str, note: str = "", *, level: bool = False) -> str:
    entry = facts.get(name)
    if not isinstance(entry, Mapping) or number(entry) is None:
        return _NOT_KNOWN
    text = write(entry, positive=words.fact_words(name).positive).whole
    if entry.get("limited_by_bench"):
        note = f"{note}, limited by the recorder".lstrip(", ")
    dbu = write_dbu(entry) if level and "bound" not in entry else ""
    notes = ", ".join(part for part in (dbu, note) if part)
    return f"{text} ({notes})" if notes else text


def _polarity(side: SideView) -> str:
    return next((c.text for c in side.characters if c.name == "Polarity"), _NOT_KNOWN)


def _faults(side: SideView) -> str:
    found = "; ".join(f.name for f in side.faults) or "none found"
    possible = "; ".join(f.name for f in side.possible_faults)
    return f"{found}; cannot be ruled out: {possible}" if possible else found


def _warnings(warnings: Sequence[Warned]) -> list[str]:
    if not warnings:
        return ["", "no warnings"]
    rows: Iterable[Warned] = warnings[:_MOST_WARNINGS]
    lines = [""]
    for warning in rows:
        where = f"{warning.take}: " if warning.take else ""
        lines += hanging("warning", plain(f"{where}{warning.message}"), width=WIDTH, indent=10)
    rest = len(warnings) - _MOST_WARNINGS
    if rest > 0:
        lines.append(f"          and {rest} more, in the report")
    return lines


def widest(text: str) -> int:
    """Return the widest line of ``text`` in terminal columns."""
    return max(map(columns, text.splitlines()), default=0)
