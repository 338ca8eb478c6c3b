"""One line of a verification in words: what is stated, measured, why, and what it was before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from probe.numbers import fixed, number, ratio_db, write, write_dbu, write_share, write_signed
from probe.report import words
from probe.report.document import listing, mapping
from probe.report.names import kind_name
from probe.report.stated import stated_text
from probe.report.text import MESSAGE_LIMIT, clean

OUTCOMES = {
    "meets": "meets",
    "fails": "fails",
    "cannot-tell": "cannot tell",
    "not-measured": "not measured",
    "not-comparable": "not comparable",
    "no-limit": "typical only",
}

TAKES = {
    "open": "the open take: both legs on the recorder, nothing else connected",
    "drive": "an open take whose session states the drive (drive_volts)",
    "single-ended-loaded": "the single-ended output with a resistor of about 600 Ω to its shell",
    "idle": "an idle take: device on, drive muted, both legs recorded for a minute",
    "tone": "a take of one tone at the stated level",
    "level-steps": "a take of rising levels up to the device's maximum",
    "sweep": "a sweep, or an open take with tones near both ends of the band",
    "other-side": "the open takes of both sides at one setting",
    "crosstalk": "a take of each side while only the other one plays",
    "meter": "a meter reading of direct voltage from each pin to pin 1, before anything else",
}
"""Takes that a specification may want, beside those that settle the kind."""


@dataclass(frozen=True)
class LineRow:
    """One line of the specification on one side."""

    number: int
    side: str
    title: str
    stated: str
    measured: tuple[str, ...]
    code: str
    outcome: str
    why: tuple[str, ...]
    risk: str
    before: str
    before_code: str
    change: str


def together(rows: Sequence[LineRow]) -> Iterable[LineRow]:
    """Yield the rows, those of two sides as one where both say the same."""
    waiting: LineRow | None = None
    for row in rows:
        if waiting is not None and replace(row, side=waiting.side) == waiting:
            yield replace(waiting, side=f"{waiting.side}, {row.side.lower()}")
            waiting = None
            continue
        if waiting is not None:
            yield waiting
        waiting = row
    if waiting is not None:
        yield waiting


def height(row: LineRow) -> int:
    """Return about how many lines of print a row takes."""
    return max(2, len(row.measured) + 2 * len(row.why), 2 * bool(row.risk) + 1)


def line_row(row: Mapping[str, Any]) -> LineRow:
    """Return what is shown of one line of the document."""
    code = str(row.get("outcome"))
    before = mapping(row, "before")
    return LineRow(
        number=int(row.get("line") or 0),
        side=words.SIDES.get(str(row.get("side")), ""),
        title=clean(row.get("title") or ""),
        stated=stated_text(mapping(row, "stated")),
        measured=tuple(_measured(row)),
        code=code if code in OUTCOMES else "cannot-tell",
        outcome=OUTCOMES.get(code, clean(code, 20)),
        why=tuple(_why(row, code)),
        risk=_risk(row, code),
        before=_before(row, before),
        before_code=str(before.get("outcome") or ""),
        change="; ".join(_changes(row)),
    )


def _measured(row: Mapping[str, Any]) -> Iterable[str]:
    if row.get("found"):
        yield _word(row.get("found"))
    decibels = str(mapping(row, "stated").get("unit") or "").startswith("dB")
    for reading in listing(row, "readings"):
        told = list(filter(None, (_figure(f, "measured", decibels) for f in reading["figures"])))
        if told:
            meaning = f"{reading['meaning']}: " if reading.get("meaning") else ""
            yield meaning + "; ".join(told)


def _word(found: object) -> str:
    code = str(found)
    if code in words.POLARITIES and code != "undetermined":
        return words.POLARITIES[code]
    return kind_name(code) if code in words.KINDS else clean(code, 40)


def _figure(figure: Mapping[str, Any], key: str, decibels: bool) -> str:
    entry = figure.get(key)
    if not isinstance(entry, Mapping) or number(entry) is None:
        return ""
    told = write(entry, positive=entry.get("unit") == "ohm").whole
    return f"{_short(figure)}{told}{_in_decibels(entry) if decibels else ''}"


def _in_decibels(entry: Mapping[str, Any]) -> str:
    """Return a figure once more as a line in decibels states it: distortion, levels."""
    value = number(entry)
    if entry.get("unit") == "%" and value is not None and value > 0.0:
        return f" ({fixed(ratio_db(value / 100.0), 1)} dB)"
    dbu = "" if entry.get("bound") else write_dbu(entry)
    return f" ({dbu})" if dbu else ""


def _short(figure: Mapping[str, Any]) -> str:
    """Return what tells the figures of one line apart."""
    name = str(figure.get("fact"))
    for part in ("hot", "cold"):
        if name.startswith(f"{part}_"):
            return f"{part} "
    for way in ("left_to_right", "right_to_left"):
        if way in name:
            return f"{way.replace('_', ' ')} "
    return ""


def _why(row: Mapping[str, Any], code: str) -> Iterable[str]:
    figures = [f for r in listing(row, "readings") for f in r["figures"]]
    if row.get("depends_on_meaning"):
        told = ", ".join(
            f"{OUTCOMES.get(r['outcome'], '')} if meant {r['meaning']}"
            for r in listing(row, "readings")
        )
        yield f"depends on what the maker means: {told}"
    elif code == "cannot-tell" and figures and not any(f.get("problem") for f in figures):
        yield _undecided(row, figures)
    if row.get("reason"):
        yield clean(row["reason"], MESSAGE_LIMIT)
    reasons = [clean(f["reason"], MESSAGE_LIMIT) for f in figures if f.get("reason")]
    yield from dict.fromkeys(reasons)
    if row.get("next_take"):
        yield f"would be told by: {take_text(str(row['next_take']))}"
    yield from (f"{_SETTLED[code]}: {t}" for t in _settled(row) if code in _SETTLED)
    steps = [clean(s, MESSAGE_LIMIT) for f in figures for s in listing(f, "steps")]
    if steps:
        yield "; ".join(dict.fromkeys(steps))
    if code == "no-limit":
        yield from _against_typical(row)


def _undecided(row: Mapping[str, Any], figures: Sequence[Mapping[str, Any]]) -> str:
    """Return why figures that are known do not decide a line."""
    risks = [number(row, f"risk_of_wrong_{k}") for k in ("acceptance", "rejection")]
    if all(f.get("outcome") == "meets" for f in figures):
        return "each figure meets, but the risks together are more than is agreed on"
    if not any(mapping(f, "measured").get("bound") for f in figures):
        return "the interval reaches across the limit"
    if any(r is not None and r < 1.0 for r in risks):
        return "the bound lies nearer the limit than the risk agreed on allows"
    return "the bound reaches across the limit"


_SETTLED = {"cannot-tell": "would be told by", "no-limit": "not said"}


def _settled(row: Mapping[str, Any]) -> Iterable[str]:
    return (clean(t, MESSAGE_LIMIT) for t in listing(row, "settled_by"))


def _against_typical(row: Mapping[str, Any]) -> Iterable[str]:
    """Yield what each figure is from the typical one; of several meanings, under which."""
    for reading in listing(row, "readings"):
        told = []
        for figure in reading["figures"]:
            against = mapping(figure, "against_typical")
            if number(against) is not None:
                beyond = "more" if against.get("larger") else "not more"
                told.append(f"{_short(figure)}{write(against).whole}, {beyond} than the doubt")
        if told:
            meaning = f"if meant {reading['meaning']}: " if reading.get("meaning") else ""
            yield f"{meaning}from the typical figure {'; '.join(told)}"


def take_text(code: str) -> str:
    """Return a take in words."""
    if code in TAKES:
        return TAKES[code]
    known = words.NEXT_TAKES.get(code)
    return known.name if known else clean(code, 40).replace("-", " ")


def _risk(row: Mapping[str, Any], code: str) -> str:
    accept, reject = (number(row, f"risk_of_wrong_{k}") for k in ("acceptance", "rejection"))
    if code == "meets" and accept is not None:
        return f"risk of wrong acceptance {_share(row, accept)}"
    if code == "fails" and reject is not None:
        return f"risk of wrong rejection {_share(row, reject)}"
    if code == "cannot-tell" and not row.get("depends_on_meaning"):
        if accept is not None and _tells(row, accept):
            return f"accepted, the risk of being wrong is {_share(row, accept)}"
        if reject is not None and accept is not None and _tells(row, reject):
            return f"rejected, the risk of being wrong is {_share(row, reject)}"
    return ""


def _share(row: Mapping[str, Any], risk: float) -> str:
    """Return a risk; the most it can be as such."""
    return at_most(risk) if _is_most(row) else write_share(risk)


def _is_most(row: Mapping[str, Any]) -> bool:
    """Tell whether a risk is the most it can be.

    That is what it is where it rests on a bound, which may lie far inside its limit, and where
    several figures must all keep the limit: nothing is said then of how they hang together.
    """
    readings = [list(reading["figures"]) for reading in listing(row, "readings")]
    several = any(sum(bool(f.get("outcome")) for f in figures) > 1 for figures in readings)
    return several or any(mapping(f, "measured").get("bound") for fs in readings for f in fs)


def _tells(row: Mapping[str, Any], risk: float) -> bool:
    """Tell whether a risk says anything: that it is at most all cases does not."""
    return risk < 1.0 and not (_is_most(row) and write_share(risk).startswith("above"))


def at_most(risk: float) -> str:
    """Return the most a risk can be, in words."""
    told = write_share(risk)
    if told.startswith("above"):
        return "at most 100\u00a0%"
    return told if told.startswith("below") else f"at most {told}"


def _before(row: Mapping[str, Any], before: Mapping[str, Any]) -> str:
    if not before:
        return ""
    told = [OUTCOMES.get(str(before.get("outcome")), "")]
    if before.get("found"):
        told.append(_word(before["found"]))
    decibels = str(mapping(row, "stated").get("unit") or "").startswith("dB")
    for reading in listing(row, "readings"):
        told += filter(None, (_figure(f, "before", decibels) for f in reading["figures"]))
    return "; ".join(told)


def _changes(row: Mapping[str, Any]) -> Iterable[str]:
    for reading in listing(row, "readings"):
        for figure in reading["figures"]:
            change = mapping(figure, "change")
            if listing(change, "apart"):
                yield f"{_short(figure)}not comparable, other {', '.join(change['apart'])}"
            elif number(change) is not None:
                larger = "" if change.get("larger") else ", within the doubt"
                value, doubt = number(change) or 0.0, number(change, "u95") or 0.0
                unit = words.UNITS.get(str(change.get("unit")), clean(change.get("unit"), 16))
                told = write_signed(value, unit, doubt, 2).strip()
                yield f"{_short(figure)}changed by {told}{larger}"
