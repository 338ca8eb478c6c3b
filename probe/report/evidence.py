"""The evidence: facts as rows of a table, and the takes they rest on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from probe.compare.taken_beside import taken_beside
from probe.numbers import fixed, number, write, write_dbu, write_hz, write_number
from probe.report import words
from probe.report.document import entry_of, identifier, listing
from probe.report.shown import FactGroup, FactRow, TakeMark, TakeRow
from probe.report.text import MESSAGE_LIMIT, clean


def evidence(facts: Mapping[str, Any], takes: Sequence[TakeRow]) -> Iterable[FactGroup]:
    """Yield the facts in groups, each as a row that refers to ``takes``."""
    names = [n for n in words.FACTS if n in facts] + sorted(set(facts) - set(words.FACTS))
    for group in words.GROUPS:
        rows = tuple(
            _fact_row(name, entry, takes)
            for name in names
            if words.fact_words(name).group == group
            and (entry := entry_of(facts, name)) is not None
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
        at=_at(entry, hz),
        limit=_limit(entry),
        near=bool(entry.get("near_limit")),
        takes=tuple(_mark(take, takes) for take in listing(entry, "takes")),
        notes=tuple(_notes(entry)),
    )


_FIRST = {
    "hot": "The hot leg clips first.",
    "cold": "The cold leg clips first.",
    "together": "Both legs clip together.",
}


def _at(entry: Mapping[str, Any], hz: float | None) -> str:
    """Return the conditions of a fact: its tone and level, or its band."""
    volts = number(entry, "at_volts")
    if hz:
        level = "" if volts is None else f", {write_number(volts, 'V')}"
        return write_hz(hz) + level
    band = [b for b in listing(entry, "band_hz") if isinstance(b, int | float)]
    if len(band) != 2:
        return ""
    weighted = ", A-weighted" if entry.get("weighting") == "A" else ""
    return f"{write_hz(band[0])} to {write_hz(band[1])}{weighted}"


def _limit(entry: Mapping[str, Any]) -> str:
    limit = number(entry, "limit")
    if limit is None:
        return ""
    most = "at most " if entry.get("limit_is") == "most" else ""
    return most + write_number(limit, str(entry.get("unit", "")))


def _notes(entry: Mapping[str, Any]) -> Iterable[str]:
    if entry.get("bound") in {"above", "below"}:
        yield "Only a bound is known."
    if entry.get("limited_by_bench"):
        yield "Limited by the recorder, not by the device."
    imag = number(entry, "imag")
    if imag is not None:
        yield f"Imaginary part {fixed(imag, 3)}."
    if entry.get("near_limit"):
        yield "Within twice the bench's limit."
    if entry.get("first") in _FIRST:
        yield _FIRST[str(entry["first"])]
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


def take_rows(
    key: str, takes: Sequence[Any], facts: Mapping[str, Any] | None = None
) -> tuple[TakeRow, ...]:
    """Return the takes of a side in their order, numbered from 1.

    Those that ``facts`` alone name (noise, distortion, the bench) come last, so that every take a
    fact is from can be looked up.
    """
    found = [take for take in takes if isinstance(take, Mapping)]
    known = {clean(take.get(name) or "") for take in found for name in ("take", "file")}
    named = (
        clean(take)
        for entry in (facts or {}).values()
        if isinstance(entry, Mapping)
        for take in listing(entry, "takes")
    )
    found += [{"take": name} for name in dict.fromkeys(named) if name and name not in known]
    beside = set(map(clean, taken_beside((facts or {}).values(), found)))
    resting = {
        clean(take.get("take") or "")
        for take in found
        if {clean(take.get(name) or "") for name in ("take", "file")} & beside
    }
    return tuple(
        _take_row(key, index, take, rests=clean(take.get("take") or "") in resting)
        for index, take in enumerate(found, start=1)
    )


def _take_row(key: str, index: int, take: Mapping[str, Any], *, rests: bool) -> TakeRow:
    """Return a row; ``rests``: a fact rests on it, if the others were solved without it or not."""
    used = "used"
    if take.get("used") is False:
        said = "used beside the others" if rests else "not used"
        used = f"{said}: {clean(take.get('why_not') or 'no reason given', MESSAGE_LIMIT)}"
    steady = [s for s in listing(take, "steady_s") if isinstance(s, int | float)]
    delay, clock = number(take, "delay_s"), number(take, "clock_ppm")
    residual = number(take, "residual")
    file = clean(take.get("file") or "")
    return TakeRow(
        number=index,
        anchor=f"{identifier(key)}-take-{index}",
        name=clean(take.get("take") or "") or file or f"take {index}",
        file=file,
        used=used,
        steady=f"{steady[0]:.2f} to {steady[1]:.2f} s" if len(steady) == 2 else "",
        delay="" if delay is None else f"{1e3 * delay:.4f} ms".replace("-", "−"),
        clock="" if clock is None else f"{clock:+.2f} ppm".replace("-", "−"),
        residual="" if residual is None else f"{residual:.2f}",
    )
