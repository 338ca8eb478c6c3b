"""A verification as a page to print and sign, and as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from probe.numbers import number, plain, write, write_dbu, write_share, write_signed
from probe.report import cautions, words
from probe.report.document import listing, mapping
from probe.report.page import environment
from probe.report.stated import stated_text
from probe.report.text import MESSAGE_LIMIT, clean, hanging
from probe.report.view import device_name, fault, kind_name, when

OUTCOMES = {
    "meets": "meets",
    "fails": "fails",
    "cannot-tell": "cannot tell",
    "not-measured": "not measured",
    "not-comparable": "not comparable",
    "no-limit": "typical only",
}

COUNTED = {
    "meets": "as stated",
    "fails": "not as stated",
    "cannot-tell": "cannot be told",
    "not-measured": "not measured",
    "not-comparable": "not comparable",
    "no-limit": "typical only",
}
"""The same behind a number of lines."""

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

FURTHER_TAKES = (
    "Every take named here has its cautions in docs/bench.md: read them before anything is "
    "connected, loaded or fed with a tone."
)

DENSE_FROM = 34
"""Lines of text in the table from which a sheet is set smaller, to stay on one side of A4."""


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


@dataclass(frozen=True)
class FaultRow:
    """A fault, how sure it is, what usually causes it and where to look."""

    side: str
    name: str
    certainty: str
    causes: str
    look_first: str
    gone: bool = False


@dataclass(frozen=True)
class Sheet:
    """Everything on the page."""

    title: str
    serial: str
    firmware: str
    specification: str
    verdict: str
    verdict_code: str
    plate: tuple[tuple[str, str], ...]
    rows: tuple[LineRow, ...]
    faults: tuple[FaultRow, ...]
    mended: tuple[FaultRow, ...]
    unseen: tuple[str, ...]
    remarks: tuple[str, ...]
    risk: str
    further_takes: bool
    second_look: bool
    dense: bool
    simulated: bool


SIMULATED = (
    "Simulated session: everything here was calculated from a circuit, nothing was measured on a "
    "real device."
)


def sheet_view(document: Mapping[str, Any]) -> Sheet:
    """Return what the page of a verification document shows."""
    device, measured = mapping(document, "device"), mapping(document, "measured")
    second = bool(document.get("measured_before"))
    rows = tuple(_together([_row(row) for row in listing(document, "lines")]))
    faults = tuple(_fault(row) for row in listing(document, "faults"))
    verdict, code = _verdict(document)
    return Sheet(
        title=device_name(device),
        serial=clean(device.get("serial") or ""),
        firmware=clean(device.get("firmware") or ""),
        specification=_specification(mapping(document, "specification")),
        verdict=verdict,
        verdict_code=code,
        plate=tuple(_plate(document, measured)),
        rows=rows,
        faults=faults,
        mended=tuple(_mended(document)),
        unseen=tuple(clean(t, MESSAGE_LIMIT) for t in listing(document, "cannot_be_seen")),
        remarks=tuple(_remarks(document)),
        risk=_whole_risk(document),
        further_takes=any(row.get("next_take") for row in listing(document, "lines")),
        second_look=second,
        dense=sum(_height(row) for row in rows) + 3 * len(faults) > DENSE_FROM,
        simulated="simulated" in str(mapping(measured, "bench").get("interface") or "").casefold(),
    )


def render_verification(document: dict[str, Any]) -> str:
    """Return the page of a verification document (``probe-verification/1``) as one HTML file."""
    page = environment().get_template("verify.html")
    return page.render(
        sheet=sheet_view(document),
        cautions=cautions,
        further_takes=FURTHER_TAKES,
        simulated=SIMULATED,
    )


def render_verification_text(document: dict[str, Any]) -> str:
    """Return the same as plain text of at most 80 columns, ending in a newline."""
    sheet = sheet_view(document)
    serial = f", serial {sheet.serial}" if sheet.serial else ""
    lines = _wrapped("", f"{sheet.title}{serial} against {sheet.specification}", indent=0)
    if sheet.simulated:
        lines += ["", *_wrapped("", SIMULATED, indent=0)]
    lines += ["", *_wrapped("", sheet.verdict, indent=0)]
    for remark in sheet.remarks:
        lines += ["", *_wrapped("note", remark)]
    for row in sheet.rows:
        side = f", {row.side.lower()}" if row.side else ""
        lines += ["", *_wrapped(row.outcome.upper(), f"{row.title}{side}: {row.stated}")]
        for told in (*row.measured, *row.why, row.risk):
            lines += _wrapped("", told) if told else []
        if row.before:
            lines += _wrapped("", f"before: {row.before}{'; ' * bool(row.change)}{row.change}")
    for found in sheet.faults:
        head = f"{found.name} ({found.certainty})"
        lines += ["", *_wrapped(f"FAULT {found.side.lower()}", head)]
        lines += _wrapped("", f"usual causes: {found.causes}")
        lines += _wrapped("", f"look first at {found.look_first}")
    for found in sheet.mended:
        lines += [
            "",
            *_wrapped(f"GONE {found.side.lower()}", f"{found.name}: seen before, not now"),
        ]
    if sheet.faults:
        lines += ["", *_wrapped("first", cautions.DEFER)]
    if sheet.further_takes:
        lines += ["", *_wrapped("before any take", FURTHER_TAKES)]
    lines += ["", *_wrapped("", sheet.risk, indent=0)] if sheet.risk else []
    lines += ["", *_wrapped("not to be seen", "; ".join(sheet.unseen))]
    return "\n".join(lines) + "\n"


def _wrapped(label: str, text: str, indent: int = 18) -> list[str]:
    """Return lines of at most 80 columns, in ASCII but for names."""
    return hanging(label, plain(text), indent=indent)


# Head


def _specification(found: Mapping[str, Any]) -> str:
    name = clean(found.get("name") or "") or "the specification given"
    where = clean(found.get("stated_in") or "")
    return f"{name} ({where})" if where else name


def _verdict(document: Mapping[str, Any]) -> tuple[str, str]:
    counts = mapping(mapping(document, "summary"), "outcomes")
    told = [f"{counts.get(code)} {name}" for code, name in COUNTED.items() if counts.get(code)]
    faults = [f for f in listing(document, "faults") if f.get("certainty") == "found"]
    code = "fails" if counts.get("fails") or faults else "meets"
    if code == "meets" and (counts.get("cannot-tell") or not counts.get("meets")):
        code = "cannot-tell"
    count = f" {len(faults)} fault{'s' if len(faults) > 1 else ''} found." if faults else ""
    fails = "Not as stated" if counts.get("fails") else "No line fails, but it is not sound"
    head = {
        "fails": fails,
        "meets": "As stated, as far as measured",
        "cannot-tell": "Not all of it can be told",
    }[code]
    return f"{head}. Lines: {', '.join(told) or 'none'}.{count}", code


def _plate(document: Mapping[str, Any], measured: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    bench, made = mapping(measured, "bench"), mapping(document, "made")
    yield "Recorded on", clean(bench.get("recorded_on") or "")
    before = mapping(mapping(document, "measured_before"), "bench")
    if document.get("measured_before"):
        yield "Before it", clean(before.get("recorded_on") or "")
    yield "Verified", when(made.get("on"))
    yield "Bench", clean(bench.get("interface") or "")
    yield "Calibrated on", clean(bench.get("calibrated_on") or "")
    yield "Session", clean(measured.get("session_sha256") or "", 64)[:16]
    for side, conditions in mapping(document, "conditions").items():
        if isinstance(conditions, Mapping) and conditions.get("volume"):
            name = words.SIDES.get(str(side), clean(side, 20))
            yield f"Volume, {name.lower()}", clean(conditions["volume"], 40)


def _whole_risk(document: Mapping[str, Any]) -> str:
    summary, made = mapping(document, "summary"), mapping(document, "made")
    counts, risk = mapping(summary, "outcomes"), number(summary, "any_wrong_acceptance")
    agreed = number(made, "risk")
    if not counts.get("meets") or risk is None or agreed is None:
        return ""
    return (
        f"A line meets where the risk of accepting it wrongly is at most {write_share(agreed)}, "
        "or a bound that holds in 95 cases of 100 keeps its limit; it fails where the risk of "
        "rejecting it wrongly is as small; between, nobody can tell (JCGM 106). "
        f"The risk that any of those that meet is wrong is {_most(risk)}."
    )


def _most(risk: float) -> str:
    told = write_share(risk)
    return told if told.startswith("below") else f"at most {told}"


def _remarks(document: Mapping[str, Any]) -> Iterable[str]:
    for remark in listing(document, "remarks"):
        yield clean(remark, MESSAGE_LIMIT)
    count = len(listing(document, "warnings"))
    if count:
        yield f"The analysis has {count} warning{'s' if count > 1 else ''}: see its report."


# Lines


def _together(rows: Sequence[LineRow]) -> Iterable[LineRow]:
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


def _height(row: LineRow) -> int:
    """Return about how many lines of print a row takes."""
    return max(2, len(row.measured) + 2 * len(row.why), 2 * bool(row.risk) + 1)


def _row(row: Mapping[str, Any]) -> LineRow:
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
    dbu = write_dbu(entry) if decibels and not entry.get("bound") else ""
    return f"{_short(figure)}{told}{f' ({dbu})' if dbu else ''}"


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
        yield "the interval reaches across the limit"
    if row.get("reason"):
        yield clean(row["reason"], MESSAGE_LIMIT)
    reasons = [clean(f["reason"], MESSAGE_LIMIT) for f in figures if f.get("reason")]
    yield from dict.fromkeys(reasons)
    if row.get("next_take"):
        yield f"would be told by: {take_text(str(row['next_take']))}"
    steps = [clean(s, MESSAGE_LIMIT) for f in figures for s in listing(f, "steps")]
    if steps:
        yield "; ".join(dict.fromkeys(steps))
    for figure in figures:
        against = mapping(figure, "against_typical")
        if code == "no-limit" and number(against) is not None:
            beyond = "more" if against.get("larger") else "not more"
            told = write(against).whole
            yield f"{_short(figure)}{told} from the typical figure, {beyond} than the doubt"


def take_text(code: str) -> str:
    """Return a take in words."""
    if code in TAKES:
        return TAKES[code]
    known = words.NEXT_TAKES.get(code)
    return known.name if known else clean(code, 40).replace("-", " ")


def _risk(row: Mapping[str, Any], code: str) -> str:
    accept, reject = (number(row, f"risk_of_wrong_{k}") for k in ("acceptance", "rejection"))
    if code == "meets" and accept is not None:
        return f"risk of wrong acceptance {write_share(accept)}"
    if code == "fails" and reject is not None:
        return f"risk of wrong rejection {write_share(reject)}"
    if code == "cannot-tell" and accept is not None and not row.get("depends_on_meaning"):
        return "" if accept >= 1.0 else f"accepted, it would be wrong at {write_share(accept)}"
    return ""


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


# Faults


def _fault(row: Mapping[str, Any], *, gone: bool = False) -> FaultRow:
    side = words.SIDES.get(str(row.get("side")), "")
    sure = clean(row.get("how_sure") or "", MESSAGE_LIMIT)
    certainty = f"{'found' if row.get('certainty') == 'found' else 'cannot be ruled out'}: {sure}"
    return FaultRow(
        side=side,
        name=clean(row.get("title") or "") or fault(row.get("fault")).name,
        certainty=certainty,
        causes=", or ".join(clean(c, 120) for c in listing(row, "likely_causes")),
        look_first=clean(row.get("look_first") or "", MESSAGE_LIMIT),
        gone=gone,
    )


def _mended(document: Mapping[str, Any]) -> Iterable[FaultRow]:
    """Yield the faults that were found before and are not any more."""
    now = {(f.get("side"), f.get("fault")) for f in listing(document, "faults")}
    for row in listing(document, "faults_before"):
        if row.get("certainty") == "found" and (row.get("side"), row.get("fault")) not in now:
            yield _fault(row, gone=True)
