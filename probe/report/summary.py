"""Half a screen of plain text: what the analysis found, for a terminal of 80 columns.

Only the document's own names may leave ASCII; signs and units are spelt out, and nothing depends
on colour.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from probe.numbers import number, plain, write, write_dbu, write_hz, write_number
from probe.report import words
from probe.report.alarms import SUSPECTED, alarms_after, suspect
from probe.report.shown import Alarm, PageView, SideView, Warned
from probe.report.text import columns, hanging
from probe.report.view import page_view

WIDTH = 80
_MOST_WARNINGS = 4
_NOT_KNOWN = "not known"
GLUE = "\u00a0"


def render_summary(facts: dict[str, Any]) -> str:
    """Return the summary of a facts document as text of at most 80 columns, ending in a newline."""
    page = page_view(facts)
    lines = [*_head(page), *_alarms(page.alarms_before)]
    if page.typed:
        return "\n".join([*lines, "", "typed from a data sheet, nothing was measured"]) + "\n"
    sides = facts.get("sides") or {}
    for side in page.sides:
        lines += ["", *_side(side, sides.get(side.key) or {})]
    warnings = [w for side in page.sides for w in side.warnings] + list(page.warnings)
    lines += _warnings(warnings, direct=suspect(facts))
    return "\n".join(lines) + "\n"


def _head(page: PageView) -> list[str]:
    serial = f", serial {page.serial}" if page.serial else ""
    return hanging("", f"{page.title}{serial}", width=WIDTH, indent=0)


def _alarms(alarms: Sequence[Alarm]) -> list[str]:
    """Return the lines nobody may miss: dangers between exclamation marks, notes plainly."""
    lines = []
    for alarm in alarms:
        head = f"!!! {alarm.name.upper()}:" if alarm.tone == "danger" else f"{alarm.name}:"
        lines += ["", *hanging("", _unbroken(f"{head} {alarm.text}"), width=WIDTH, indent=0)]
    return [line.replace(GLUE, " ") for line in lines]


def _side(side: SideView, raw: Mapping[str, Any]) -> list[str]:
    facts = raw.get("facts") or {}
    kind = f"{side.headline} ({side.aside})" if side.aside else side.headline
    rows: list[tuple[str, str]] = [(side.name.upper(), kind + _confidence(side))]
    alarms = alarms_after({"sides": {side.key: raw}})
    rows += [("  !!!", f"{alarm.name.upper()}: {alarm.text}") for alarm in alarms]
    if side.also:
        rows.append(("  also possible", _also(side)))
    if side.no_take:
        rows.append(("  settled by", side.no_take))
    if side.next_take:
        rows.append(("  settled by", _next(side)))
    rows += [
        ("  levels", _levels(facts)),
        ("  single-ended", _value(facts, "single_ended_level", level=True)),
        ("  gain difference", _value(facts, "gain_difference", "balanced over single-ended")),
        ("  impedances", _impedances(facts)),
        ("  output CMRR", _value(facts, CMRR, tone=_mixed(facts, CMRR))),
        *_quality(facts),
        ("  polarity", _polarity(side)),
        ("  faults", side.faults_told or "see the verdict"),
    ]
    if side.path and side.path.decided:
        rows.append(("  signal path", side.path.verdict))
    return [
        line.replace(GLUE, " ")
        for label, body in rows
        for line in hanging(label, _unbroken(body), width=WIDTH)
    ]


_UNITS = "(?:[munpkM]?(?:V|ohm|A|Hz|s)|dBu?|deg|%)"
_PLUS_MINUS = re.compile(r"(?<=[\d.]) (\+/-) (?=\d)")
_NUMBER_AND_UNIT = re.compile(rf"(?<=[\d.]) (?={_UNITS}\b|%)")


def _unbroken(text: str) -> str:
    """Return ``text`` in ASCII but for the spaces within a quantity, which must not break."""
    text = _PLUS_MINUS.sub(rf"{GLUE}\1{GLUE}", plain(text))
    return _NUMBER_AND_UNIT.sub(GLUE, text)


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


SAME_TONE = 0.005
"""Share by which two frequencies differ that are one tone, seen with the recorder's own clock."""


def _mixed(facts: Mapping[str, Any], *names: str) -> bool:
    """Tell whether figures that stand in one line, or the levels above it, are of several tones."""
    held = [number(facts.get(name), "at_hz") for name in (*names, *LEVELS)]
    known = [hz for hz in held if hz is not None]
    return bool(known) and max(known) > (1.0 + SAME_TONE) * min(known)


CMRR = "output_common_mode_rejection"
LEVELS = ("hot_level", "cold_level", "single_ended_level")
IMPEDANCES = ("hot_impedance", "cold_impedance", "differential_impedance",
              "single_ended_impedance")  # fmt: skip


def _levels(facts: Mapping[str, Any]) -> str:
    told = []
    for leg in ("hot", "cold"):
        name, suffix = f"{leg}_level", ""
        if name not in facts:
            name, suffix = f"{leg}_recorded", " as recorded"
        told.append(f"{leg} {_value(facts, name, level=True)}{suffix if name in facts else ''}")
    if number(facts.get("differential_level")) is not None:
        told.append(f"differential {_value(facts, 'differential_level', level=True)}")
    return "; ".join(told)


def _impedances(facts: Mapping[str, Any]) -> str:
    tones = _mixed(facts, *IMPEDANCES)
    told = (
        f"{what} {_value(facts, name, tone=tones)}"
        for what, name in (
            ("hot", "hot_impedance"),
            ("cold", "cold_impedance"),
            ("differential", "differential_impedance"),
            ("single-ended", "single_ended_impedance"),
        )
        if what != "single-ended" or name in facts
    )
    return "; ".join(told)


_QUALITY = (
    ("noise", "_noise_a", "A-weighted"),
    ("distortion", "_thd", ""),
    ("maximum", "_maximum", ""),
)


def _quality(facts: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    """Yield noise, distortion and maximum of both outputs, where a take was made for them."""
    outputs = (("balanced", "differential"), ("single-ended", "single_ended"))
    for label, ending, note in _QUALITY:
        told = [
            f"{output} {_value(facts, f'{name}{ending}', note)}"
            for output, name in outputs
            if f"{name}{ending}" in facts
        ]
        if told:
            yield f"  {label}", "; ".join(told)


def _value(
    facts: Mapping[str, Any], name: str, note: str = "", *, level: bool = False, tone: bool = False
) -> str:
    """Return a fact with what has to be said of it; ``tone``: its frequency, too."""
    entry = facts.get(name)
    if not isinstance(entry, Mapping) or number(entry) is None:
        return _NOT_KNOWN
    text = write(entry, positive=words.fact_words(name).positive).whole
    at = number(entry, "at_volts")
    if at is not None:
        note = f"{note}, at {write_number(at, 'V')}".lstrip(", ")
    if entry.get("limited_by_bench"):
        note = f"{note}, limited by the recorder".lstrip(", ")
    elif entry.get("near_limit"):
        note = f"{note}, near the bench's limit".lstrip(", ")
    hz = number(entry, "at_hz")
    if tone and hz is not None:
        note = f"at {write_hz(hz)}{', ' if note else ''}{note}"
    dbu = write_dbu(entry) if level and "bound" not in entry else ""
    notes = ", ".join(part for part in (dbu, note) if part)
    if notes and text.endswith(")"):
        return f"{text[:-1]}; {notes})"
    return f"{text} ({notes})" if notes else text


def _polarity(side: SideView) -> str:
    return next((c.text for c in side.characters if c.name == "Polarity"), _NOT_KNOWN)


def _warnings(warnings: Sequence[Warned], *, direct: bool) -> list[str]:
    if not warnings:
        return ["", f"{SUSPECTED}; no other warnings" if direct else "no warnings"]
    rows: Iterable[Warned] = warnings[:_MOST_WARNINGS]
    lines = [""]
    for warning in rows:
        where = f"{warning.take}: " if warning.take else ""
        told = hanging("warning", _unbroken(f"{where}{warning.message}"), width=WIDTH, indent=10)
        lines += [line.replace(GLUE, " ") for line in told]
    rest = len(warnings) - _MOST_WARNINGS
    if rest > 0:
        lines.append(f"          and {rest} more, in the report")
    return lines


def widest(text: str) -> int:
    """Return the widest line of ``text`` in terminal columns."""
    return max(map(columns, text.splitlines()), default=0)
