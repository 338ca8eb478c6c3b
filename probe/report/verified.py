"""A verification as a page to print and sign, and as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from probe.numbers import number, plain, write_share
from probe.report import cautions, words
from probe.report.document import listing, mapping
from probe.report.judged_line import LineRow, at_most, height, line_row, together
from probe.report.names import device_name, fault, when
from probe.report.page import environment
from probe.report.text import MESSAGE_LIMIT, clean, hanging
from probe.simulated import is_simulated, told_of_several

COUNTED = {
    "meets": "as stated",
    "fails": "not as stated",
    "cannot-tell": "cannot be told",
    "not-measured": "not measured",
    "not-comparable": "not comparable",
    "no-limit": "typical only",
}
"""Outcomes behind a number of lines."""

FURTHER_TAKES = (
    "Every take named here has its cautions (probe takes prints them): read them before anything "
    "is connected, loaded or fed with a tone."
)

DENSE_FROM = 34
"""Lines of text in the table from which a sheet is set smaller, to stay on one side of A4."""


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
    open: str
    unseen: tuple[str, ...]
    remarks: tuple[str, ...]
    risk: str
    first: tuple[str, ...]
    further_takes: bool
    second_look: bool
    dense: bool
    simulated: str


def sheet_view(document: Mapping[str, Any]) -> Sheet:
    """Return what the page of a verification document shows."""
    device, measured = mapping(document, "device"), mapping(document, "measured")
    second = bool(document.get("measured_before"))
    rows = tuple(together([line_row(row) for row in listing(document, "lines")]))
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
        open=_open(document),
        unseen=tuple(clean(t, MESSAGE_LIMIT) for t in listing(document, "cannot_be_seen")),
        remarks=tuple(_remarks(document)),
        risk=_whole_risk(document),
        first=tuple(clean(t, MESSAGE_LIMIT) for t in listing(document, "remarks")),
        further_takes=any(
            row.get("next_take") or (row.get("settled_by") and row.get("outcome") == "cannot-tell")
            for row in listing(document, "lines")
        ),
        second_look=second,
        dense=sum(height(row) for row in rows) + 3 * len(faults) > DENSE_FROM,
        simulated=_simulated(measured, document.get("measured_before")),
    )


def _simulated(measured: object, before: object) -> str:
    """Return which look is no measurement, or nothing."""
    looks = [("this look", is_simulated(measured))]
    return told_of_several([*looks, *([("look before", is_simulated(before))] if before else [])])


def render_verification(document: dict[str, Any]) -> str:
    """Return the page of a verification document (``probe-verification/1``) as one HTML file."""
    page = environment().get_template("verify.html")
    return page.render(
        sheet=sheet_view(document),
        cautions=cautions,
        further_takes=FURTHER_TAKES,
    )


def render_verification_text(document: dict[str, Any]) -> str:
    """Return the same as plain text of at most 80 columns, ending in a newline."""
    sheet = sheet_view(document)
    serial = f", serial {sheet.serial}" if sheet.serial else ""
    lines = _wrapped("", f"{sheet.title}{serial} against {sheet.specification}", indent=0)
    if sheet.simulated:
        lines += ["", *_wrapped("", sheet.simulated, indent=0)]
    for remark in sheet.first:
        lines += ["", *_wrapped("", remark, indent=0)]
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
            *_wrapped(
                f"{'GONE' if found.gone else 'OPEN'} {found.side.lower()}",
                f"{found.name}: {found.certainty}",
            ),
        ]
    if sheet.open:
        lines += ["", *_wrapped("not looked for", sheet.open)]
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
    many = f"{len(faults)} fault{'s' if len(faults) > 1 else ''} found"
    count = f" {many}." if faults and counts.get("fails") else ""
    fails = "Not as stated" if counts.get("fails") else f"Not sound: {many}, though no line fails"
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
        f"A line meets where the risk of accepting it wrongly is at most {write_share(agreed)}; "
        "it fails where the risk of rejecting it wrongly is as small; between, nobody can tell "
        "(JCGM 106). A bound, right in 95 cases of 100, has to lie inside its limit for that. "
        f"The risk that any of those that meet is wrong is {at_most(risk)}."
    )


def _remarks(document: Mapping[str, Any]) -> Iterable[str]:
    count = len(listing(document, "warnings"))
    if count:
        yield f"The analysis has {count} warning{'s' if count > 1 else ''}: see its report."


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


def _open(document: Mapping[str, Any]) -> str:
    """Return the faults that the takes could not have shown, by side; or nothing."""
    told = [
        f"{words.SIDES.get(str(side), clean(side, 20)).lower()}: "
        f"{', '.join(clean(t, MESSAGE_LIMIT) for t in names)}"
        for side, names in mapping(document, "not_looked_for").items()
        if isinstance(names, list | tuple) and names
    ]
    return "; ".join(told)


def _mended(document: Mapping[str, Any]) -> Iterable[FaultRow]:
    """Yield the faults that were found before and are not any more, or could not be seen."""
    for row in listing(document, "faults_before"):
        if row.get("certainty") == "found" and row.get("now") in BECAME:
            yield replace(_fault(row, gone=row["now"] == "gone"), certainty=BECAME[row["now"]])


BECAME = {
    "gone": "seen before, not now",
    "possible": "found before; now it cannot be ruled out",
    "not-shown": "found before; the takes of this look could not have shown it",
}
