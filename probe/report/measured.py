"""Responses, rejection, balance and crosstalk as figures and tables, and the path as evidence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from probe.numbers import fixed, interval, number, write, write_hz
from probe.report import words
from probe.report.chart import Curve, chart
from probe.report.curves import Figure, finite
from probe.report.document import listing, mapping
from probe.report.shown import MeasuredView, PathView, Reason, Table
from probe.report.text import MESSAGE_LIMIT, clean

_BELOW_ALL_DB = -400.0
"""Lower end of a region that reaches down to nothing; the axis cuts it at its own end."""

LEAST_LOSS_DB = 0.01
"""A loss all of whose interval is smaller than this is told as that. [judgement]"""

_OUTPUTS = (
    ("pair", "between the legs", "differential"),
    ("single", "single-ended", "single_ended"),
)


def measured_view(key: str, name: str, side: Mapping[str, Any]) -> MeasuredView:
    """Return figures and tables of one side; empty where nothing was measured."""
    curves, rows = mapping(side, "curves"), listing(side, "facts_at")
    figures = (
        _response(f"{key}-response", name, curves),
        _rejection(f"{key}-rejection", name, curves),
        _gain_difference(f"{key}-difference", name, curves),
    )
    tables = (*_receivers(rows), *_loads(rows), *_volumes(rows))
    return MeasuredView(tuple(f for f in figures if f), tables)


def between_view(between: Mapping[str, Any]) -> MeasuredView:
    """Return figures and tables of both sides together."""
    curves = mapping(between, "curves")
    figures = (_balance(curves), _crosstalk(curves))
    return MeasuredView(
        tuple(f for f in figures if f), (*_between_facts(between), *_balances(between))
    )


# Figures


def _response(key: str, name: str, curves: Mapping[str, Any]) -> Figure | None:
    drawn, at, notes = [], None, []
    for style, told, output in _OUTPUTS:
        entry = mapping(curves, f"{output}_response")
        found = decibel_curve(style, told, entry, curves)
        if found is None:
            continue
        drawn.append(found)
        at = at or number(entry, "reference_hz")
        if entry.get("limited_by_bench"):
            notes.append(f"{told}: as recorded, with the recorder connected")
        if entry.get("note"):
            notes.append(f"{told}: {clean(entry['note'], MESSAGE_LIMIT)}")
    where = "" if at is None else f" against {write_hz(at)}"
    caption = f"Level{where}, open circuit. " + _shaded(notes)
    return _figure(key, "Response", f"{name}: response", drawn, "level, dB", caption)


def _gain_difference(key: str, name: str, curves: Mapping[str, Any]) -> Figure | None:
    entry = mapping(curves, "gain_difference")
    found = decibel_curve("pair", "between the legs over single-ended", entry, curves)
    notes = ["the single-ended output as recorded"] if entry.get("limited_by_bench") else []
    caption = "Balanced against single-ended, same drive, open circuit. " + _shaded(notes)
    return _figure(
        key, "Balanced against single-ended", f"{name}: balanced against single-ended",
        [found] if found else [], "difference, dB", caption,
    )  # fmt: skip


def _rejection(key: str, name: str, curves: Mapping[str, Any]) -> Figure | None:
    drawn: list[Curve] = []
    for style, bounded, told, source in (
        ("hot", "cold", "signal balance", "signal_balance"),
        ("pair", "common", "output rejection", "output_common_mode_rejection"),
    ):
        drawn += _with_bounds(style, bounded, told, mapping(curves, source), curves)
    caption = (
        "Signal balance: level between the legs over their mean, open circuit; it says nothing of "
        "hum. Output rejection: a common-mode voltage through 300 Ω + 300 Ω, 600 Ω across. "
        "“At least”: what stands against it cannot be told from nothing. " + _shaded([])
    )
    return _figure(key, "Balance and rejection", f"{name}: balance and rejection", drawn,
                   "ratio, dB", caption)  # fmt: skip


def _balance(curves: Mapping[str, Any]) -> Figure | None:
    drawn = [
        found
        for style, told, output in _OUTPUTS
        if (found := decibel_curve(style, told, mapping(curves, f"{output}_channel_balance"), {}))
    ]
    caption = "Right over left, same drive, open circuit. " + _shaded([])
    return _figure("between-balance", "Channel balance", "Channel balance", drawn, "level, dB",
                   caption)  # fmt: skip


def _crosstalk(curves: Mapping[str, Any]) -> Figure | None:
    drawn: list[Curve] = []
    limits: list[Mapping[str, Any]] = []
    styles = iter((("hot", "cold"), ("pair", "common"), ("single", "single"), ("hot", "cold")))
    for _, told, output in _OUTPUTS:
        for way in ("left_to_right", "right_to_left"):
            entry = mapping(curves, f"{output}_crosstalk_{way}")
            if not entry:
                continue
            style, bounded = next(styles)
            label = f"{way.replace('_', ' ')}, {'legs' if told == _OUTPUTS[0][1] else 'single'}"
            drawn += _with_bounds(style, bounded, label, entry, {}, below=True)
            limits.append(entry)
    if limits:
        drawn.append(_limit(limits[0]))
    caption = (
        "What a side carries while only the other one plays, over its own level when it plays; "
        "between the legs, or single-ended. Shaded from below: under the recorder's noise beside "
        "the tone, in as long a take. " + _shaded([])
    )
    return _figure("between-crosstalk", "Crosstalk", "Crosstalk", drawn, "level, dB", caption)


def _limit(entry: Mapping[str, Any]) -> Curve:
    pairs = zip(listing(entry, "hz"), listing(entry, "limit"), strict=False)
    known = [(f, finite(v)) for h, v in pairs if (f := finite(h)) is not None and f > 0.0]
    hz, ends = [f for f, _ in known], [v for _, v in known]
    low = [None if v is None else _BELOW_ALL_DB for v in ends]
    return Curve("single", "limit of the bench", hz, ends, low, ends)


def _shaded(notes: Sequence[str]) -> str:
    plain = "Shaded: 95\u00a0% band; where none shows, it is narrower than the line."
    return " ".join([plain, *(f"{n[:1].upper()}{n[1:]}." for n in notes)])


def _figure(
    key: str, name: str, title: str, drawn: Sequence[Curve], unit: str, caption: str
) -> Figure | None:
    known = [c for c in drawn if any(v is not None for v in c.value)]
    if not known:
        return None
    spoken = "; ".join(_spoken(c) for c in known) + "."
    return Figure(name, chart(key, title, spoken, known, unit=unit, logarithmic=False), caption)


def _spoken(curve: Curve) -> str:
    known = [(f, v) for f, v in zip(curve.hz, curve.value, strict=True) if v is not None]
    ends = [f"{fixed(v, 2)} dB at {write_hz(f)}" for f, v in (known[0], known[-1])]
    return f"{curve.name}: " + ", ".join(dict.fromkeys(ends))


def decibel_curve(
    style: str, name: str, entry: Mapping[str, Any], curves: Mapping[str, Any]
) -> Curve | None:
    """Return a curve in decibels of a facts document, or None; on its own axis or the tones'."""
    hz = [finite(f) for f in (listing(entry, "hz") or listing(curves, "hz"))]
    value = [finite(v) for v in listing(entry, "value")]
    doubt = [finite(u) for u in listing(entry, "u95")]
    ends = [[finite(e) for e in listing(entry, name)] for name in ("low", "high")]
    columns = [[*column, *[None] * len(value)] for column in (doubt, *ends)]
    points = [
        (
            f,
            v,
            None if v is None else interval({"value": v, "u95": u or 0.0, "low": lo, "high": hi}),
        )
        for f, v, u, lo, hi in zip(hz, value, *columns, strict=False)
        if f is not None and f > 0.0
    ]
    if not any(v is not None for _, v, _ in points):
        return None
    return Curve(
        style,
        name,
        [p[0] for p in points],
        [p[1] for p in points],
        [None if e is None else e[0] for _, _, e in points],
        [None if e is None else e[1] for _, _, e in points],
    )


def _with_bounds(
    style: str,
    bounded: str,
    name: str,
    entry: Mapping[str, Any],
    curves: Mapping[str, Any],
    *,
    below: bool = False,
) -> list[Curve]:
    """Return the known part of a curve, and where it is only a bound another line."""
    whole = decibel_curve(style, name, entry, curves)
    if whole is None:
        return []
    bounds = [b in ("above", "below") for b in listing(entry, "bound")]
    bounds += [False] * (len(whole.value) - len(bounds))
    found = []
    for look, told, wanted in (
        (style, name, False),
        (bounded, f"{name}, {'at most' if below else 'at least'}", True),
    ):
        kept = [
            [v if b is wanted else None for v, b in zip(part, bounds, strict=False)]
            for part in (whole.value, whole.low, whole.high)
        ]
        if any(v is not None for v in kept[0]):
            found.append(Curve(look, told, whole.hz, *kept))
    return found


# Tables


def _rows_with(rows: Sequence[Any], key: str) -> list[Mapping[str, Any]]:
    return [r for r in rows if isinstance(r, Mapping) and key in mapping(r, "condition")]


def _cell(entry: object) -> str:
    if not isinstance(entry, Mapping) or number(entry) is None:
        return "–"
    return write(entry, positive=False).whole


def _lost(entry: object) -> str:
    """Return a loss as text: one that nobody can hear or check is not told in millionths."""
    ends = interval(entry) if isinstance(entry, Mapping) else None
    if ends is not None and ends[0] > -LEAST_LOSS_DB and ends[1] < LEAST_LOSS_DB:
        return f"below {LEAST_LOSS_DB:g} dB"
    return _cell(entry)


def _receivers(rows: Sequence[Any]) -> Iterable[Table]:
    """Rejection of connections: a line for each receiver, a column for each condition."""
    cells: dict[tuple[str, float], dict[tuple[float, float], str]] = {}
    for row in _rows_with(rows, "receiver"):
        condition = mapping(row, "condition")
        mismatch = number(condition, "receiver_mismatch_percent")
        extra, hz = number(condition, "added_ohm"), number(condition, "hz")
        if mismatch is None or extra is None or hz is None:
            continue
        told = _cell(mapping(row, "facts").get("common_mode_rejection"))
        line = (clean(condition["receiver"], 60), mismatch)
        cells.setdefault(line, {})[hz, extra] = told
    columns = sorted({c for line in cells.values() for c in line})
    if not columns:
        return
    heads = ["receiver", "its legs differ by"]
    heads += [f"{write_hz(hz)}{f', +{ohm:g} Ω' if ohm else ''}" for hz, ohm in columns]
    yield Table(
        "Rejection of a connection",
        "Straight through into these receivers, without a lead: signal over what a ground "
        "difference leaves between the inputs. The worse sign of the receiver's mismatch; with "
        "+10 Ω that much in one leg, then in the other, the worse. Above: what the measured "
        "impedances leave cannot be told from nothing.",
        tuple(heads),
        tuple(
            (name, f"{mismatch:g} %", *(line.get(c, "–") for c in columns))
            for (name, mismatch), line in cells.items()
        ),
    )


def _loads(rows: Sequence[Any]) -> Iterable[Table]:
    found = []
    for row in _rows_with(rows, "load_ohm"):
        condition, facts = mapping(row, "condition"), mapping(row, "facts")
        ohm = number(condition, "load_ohm")
        for _, told, output in _OUTPUTS:
            loss, low = (facts.get(f"{output}_{n}") for n in ("bass_loss", "low_corner"))
            if ohm is None or (loss is None and low is None):
                continue
            at = number(loss, "at_hz") if isinstance(loss, Mapping) else None
            found.append(
                (told, f"{ohm / 1e3:g} kΩ, {clean(condition.get('load_is', ''), 40)}",
                 _lost(loss), "–" if at is None else write_hz(at), _cell(low))
            )  # fmt: skip
    if found:
        yield Table(
            "Bass into a load",
            "Calculated from the solved stage: what a coupling capacitor costs.",
            ("output", "load", "lost", "at", "−3 dB"),
            tuple(found),
        )


_AT_VOLUME = (
    ("differential_gain", "gain, between the legs"),
    ("single_ended_gain", "gain, single-ended"),
    ("gain_difference", "gain difference"),
    ("leg_ratio", "cold over hot"),
)


def _volumes(rows: Sequence[Any]) -> Iterable[Table]:
    at = _rows_with(rows, "volume")
    present = [(n, t) for n, t in _AT_VOLUME if any(n in mapping(r, "facts") for r in at)]
    if at and present:
        yield Table(
            "Against the volume setting",
            "Near 1 kHz, open circuit.",
            ("volume", *(t for _, t in present)),
            tuple(
                (clean(mapping(r, "condition").get("volume") or "not stated", 60),
                 *(_cell(mapping(r, "facts").get(n)) for n, _ in present))
                for r in at
            ),
        )  # fmt: skip


def _between_facts(between: Mapping[str, Any]) -> Iterable[Table]:
    facts = mapping(between, "facts")
    rows = []
    for name, entry in facts.items():
        if isinstance(entry, Mapping) and number(entry) is not None:
            hz, limit = number(entry, "at_hz"), number(entry, "limit")
            best = "–" if limit is None else write({"value": limit, "unit": "dB"}).whole
            told = words.BETWEEN.get(name, clean(name, 60).replace("_", " "))
            rows.append((told, _cell(entry), "–" if hz is None else write_hz(hz), best))
    if rows:
        yield Table(
            "Left against right",
            "With 95 % doubt. Limit: the least this bench could have seen.",
            ("what", "value", "at", "limit"),
            tuple(rows),
        )


def _balances(between: Mapping[str, Any]) -> Iterable[Table]:
    at = _rows_with(listing(between, "facts_at"), "volume")
    present = [
        (f"{output}_channel_balance", told)
        for _, told, output in _OUTPUTS
        if any(f"{output}_channel_balance" in mapping(r, "facts") for r in at)
    ]
    if at and present:
        yield Table(
            "Channel balance against the volume setting",
            "Right over left, near 1 kHz, open circuit.",
            ("volume", *(t for _, t in present)),
            tuple(
                (clean(mapping(r, "condition").get("volume") or "not stated", 60),
                 *(_cell(mapping(r, "facts").get(n)) for n, _ in present))
                for r in at
            ),
        )  # fmt: skip


# One path or two


def path_view(stage: Mapping[str, Any]) -> PathView | None:
    """Return the evidence of the path as a list; None where no take shows anything of it."""
    rows = [r for r in listing(stage, "path_evidence") if isinstance(r, Mapping)]
    if not any(number(r) is not None for r in rows):
        return None
    verdict = str(stage.get("path") or "undetermined")
    return PathView(
        verdict=words.path_words(verdict, stage.get("path_separate_from")),
        decided=verdict in words.PATHS,
        reasons=tuple(clean(r, MESSAGE_LIMIT) for r in listing(stage, "path_reasons")),
        evidence=tuple(_indication(r) for r in rows),
    )


def _indication(row: Mapping[str, Any]) -> Reason:
    code = str(row.get("indication") or "")
    name, quantity = words.INDICATIONS.get(code, (clean(code, 40).replace("-", " "), ""))
    says = str(row.get("says") or "nothing")
    value = "not measured"
    if number(row) is not None:
        entry = {k: row.get(k) for k in ("value", "unit", "u95")}
        value = f"{quantity} {write(entry, positive=False).whole}".strip()
    strength = str(row.get("strength") or "none")
    told = words.PATH_SAYS.get(says, clean(says, 20))
    if says != "nothing":
        told += f", {clean(strength, 10)}ly" if strength in ("weak", "strong") else ""
    ratio = number(row, "likelihood_ratio")
    weight = "" if ratio is None or says == "nothing" or ratio <= 0.0 else _odds(ratio)
    text = row.get("meaning") if says != "nothing" else row.get("why_nothing")
    return Reason(name, value, told, weight, clean(text or "", MESSAGE_LIMIT), says)


def _odds(ratio: float) -> str:
    """Return a likelihood ratio as people say it."""
    if ratio >= 1.0:
        return f"{fixed(ratio, 0)} to 1 for one path"
    return f"{fixed(1.0 / ratio, 0)} to 1 for two paths"
