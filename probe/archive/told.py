"""What the archive says on a terminal: lists, drift, families. At most 80 columns, plain text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from probe.archive.entry import Entry
from probe.archive.exchange import Exchanged
from probe.archive.family import FEWEST, Kin
from probe.archive.keep import Archive
from probe.archive.words import title
from probe.archive.years import Look, Moved, faults_since
from probe.compare.difference import Difference
from probe.facts.made import NO_DAY
from probe.formats.text import counted
from probe.numbers import plain, write, write_signed
from probe.report import words
from probe.report.text import clean, columns, hanging
from probe.simulated import SIMULATED, told_of_several

Document = dict[str, Any]


def entry_json(entry: Entry) -> Document:
    """Return an entry as plain values."""
    return {
        "entry": entry.id, "maker": entry.maker, "model": entry.model, "serial": entry.serial,
        "measured_on": entry.measured_on, "firmware": entry.firmware, "added_on": entry.added_on,
        "note": entry.note, "faults": entry.faults,
        "simulated": entry.simulated, "session_sha256": entry.key,
    }  # fmt: skip


def listed(entries: Sequence[Entry]) -> str:
    """Return entries as lines: number, day, device, serial."""
    if not entries:
        return "no entries\n"
    return "".join(_line(entry) for entry in entries)


SHORT = 200
"""Characters of a note or of faults in a list; `show` and the JSON have them whole."""


def day_of(entry: Entry) -> str:
    """Return the day of an entry's recording in words."""
    return clean(entry.measured_on, 10) or NO_DAY


def _line(entry: Entry) -> str:
    device = clean(f"{entry.maker} {entry.model}".strip() or "unnamed device", 36)
    serial = clean(entry.serial, 18)
    pad = " " * max(1, 37 - columns(device))
    lines = [f"{entry.id:>5}  {day_of(entry):<10}  {device}{pad}{serial}".rstrip()]
    if entry.simulated:
        lines += hanging(f"{'SIMULATED':>17}", "from a circuit, no real device", indent=19)
    if entry.note:
        lines += hanging("", plain(clean(entry.note, SHORT)), indent=19)
    if entry.faults:
        lines += hanging(f"{'FAULT':>17}", plain(clean(entry.faults, SHORT)), indent=19)
    return "\n".join(lines) + "\n"


def shown(archive: Archive, entry: Entry) -> str:
    """Return one entry with what is kept of it."""
    files = archive.kept_files(entry.id)
    size = sum(f.bytes for f in files)
    rows = [
        ("entry", str(entry.id)),
        ("device", clean(f"{entry.maker} {entry.model}")),
        ("simulated", SIMULATED if entry.simulated else ""),
        ("serial", clean(entry.serial) or "not stated"),
        ("firmware", clean(entry.firmware)),
        ("measured", day_of(entry)),
        ("added", clean(entry.added_on, 40)),
        ("note", clean(entry.note, 600)),
        ("faults", clean(entry.faults, 600) or "none found"),
        ("session", clean(entry.key, 64)),
        ("files", f"{len(files)}, {size / 1e6:.1f} MB" if files else "none kept"),
    ]
    return _wrapped(rows)


def exchanged(done: Exchanged) -> str:
    """Return what became of the entries."""
    lines = [
        f"{counted(done.added, 'entry') if done.added == 1 else f'{done.added} entries'} added"
    ]
    if done.known:
        lines.append(f"{done.known} already there, left as they are")
    lines += [f"left out: {clean(what, 300)}" for what in done.left_out]
    return "\n".join(lines) + "\n"


MOST_MOVED = 12
"""Facts that moved told with their figures; those that moved least are named only."""

BECAME = {
    "found": "found, also at the last look",
    "possible": "cannot be ruled out at the last look",
    "gone": "not at the last look",
    "not-shown": "the last look could not have shown it",
}


def undated(entries: Sequence[Entry]) -> str:
    """Say which looks have no place among those of a device, and how they get one; or nothing."""
    if not entries:
        return ""
    which = ", ".join(str(entry.id) for entry in entries)
    one = len(entries) == 1
    return (
        f"{'entry' if one else 'entries'} {which} left out: no date of recording. Write "
        f"recorded_on into [bench] of {'its' if one else 'their'} session.toml, analyse and add it "
        "again, and remove this entry"
    )


def drifted(looks: Sequence[Look], rows: Sequence[Moved], left_out: Sequence[Entry] = ()) -> str:
    """Return what became of the faults, and what moved, the largest movement first.

    ``left_out``: looks that state no day.
    """
    entry = looks[-1].entry
    days = ", ".join(day_text(look) for look in looks)
    head = clean(f"{entry.maker} {entry.model}, serial {entry.serial}", 120)
    lines = hanging("", f"{head}: {len(looks)} looks ({days})", indent=0)
    if nowhere := undated(left_out):
        lines += ["", *hanging("", nowhere, indent=0)]
    if simulated := simulated_looks(looks):
        lines += ["", *hanging("", simulated, indent=0)]
    for label, side, told in became(looks):
        lines += ["", *hanging(f"{label} {side}", plain(told))]
    moved = [row for row in rows if row.moved]
    for row in moved[:MOST_MOVED]:
        told = "; ".join(_look(look, row, k) for k, look in enumerate(looks) if row.values[k])
        lines += ["", *hanging(f"MOVED {row.side}", plain(f"{fact_name(row.fact)}: {told}"))]
        if row.rate is not None:
            lines += hanging("", plain(rate_text(row)))
    less = [f"{row.side} {fact_name(row.fact)}" for row in moved[MOST_MOVED:]]
    if less:
        lines += ["", *hanging("moved less", plain("; ".join(dict.fromkeys(less))))]
    compared = sum(row.compared for row in rows)
    lines += ["", *hanging("within doubt", _within(compared - len(moved), bool(moved)))]
    for word, why in (
        ("measured once", "there is nothing to compare with"),
        ("not comparable", "the looks differ in what they hang on"),
    ):
        if count := sum(row.word == word for row in rows):
            lines += hanging(word, f"{counted(count, 'fact')}: {why}")
    if moved:
        lines += ["", *hanging("", by_chance(compared), indent=0)]
    return "\n".join(lines) + "\n"


def rate_text(row: Moved) -> str:
    """Return the rate of a fact, or nothing where it cannot be told."""
    if row.rate is None:
        return ""
    rate = {"value": row.rate[0], "unit": row.unit, "u95": row.rate[1]}
    return f"{write(rate).whole} a year"


def became(looks: Sequence[Look]) -> list[tuple[str, str, str]]:
    """Return what became of each fault ever found: a word, its side, and a sentence."""
    return [
        (
            "GONE" if fault.now == "gone" else "FAULT",
            clean(fault.side, 10),
            f"{clean(title(fault), 100)}: found {day_text(look)}, {BECAME[fault.now]}",
        )
        for look, fault in faults_since(looks)
    ]


def _within(count: int, some: bool) -> str:
    facts = "fact" if some and count == 1 else counted(count, "fact")
    return f"{'the other ' * some}{facts}; --json lists them, --fact NAME shows one"


def by_chance(count: int) -> str:
    """Return how many of so many facts move by chance."""
    share = f"about {0.05 * count:.0f} of {count} facts" if count >= 20 else "one fact in twenty"
    verb = "move" if count >= 20 else "moves"
    return (
        f"Intervals are of 95 %: {share} {verb} by chance by no more than a little beyond them. "
        "What comes first counts."
    )


def simulated_looks(looks: Sequence[Look]) -> str:
    """Return which looks are no measurements, or nothing."""
    return told_of_several([(day_text(look), look.entry.simulated) for look in looks])


def day_text(look: Look) -> str:
    """Return the day of a look."""
    return day_of(look.entry)


def _look(look: Look, row: Moved, at: int) -> str:
    return f"{value_text(row, at)} {day_text(look)}"


def value_text(row: Moved, at: int) -> str:
    """Return one value of a fact with its difference from the first."""
    value, against, other = row.values[at], row.against_first[at], row.apart[at]
    told = write(value or {}, positive=words.fact_words(row.fact).positive).whole
    if other:
        told += f" (other {', '.join(other)}: not compared)"
    elif against is not None and against.value is not None:
        told += f" ({_difference(against)})"
    return told


def _difference(found: Difference) -> str:
    unit = words.UNITS.get(found.unit, clean(found.unit, 16))
    doubt = ((found.high or 0.0) - (found.low or 0.0)) / 2.0
    beyond = "" if found.larger else ", within the doubt"
    return f"{write_signed(found.value or 0.0, unit, doubt, 2).strip()}{beyond}"


def drift_json(
    looks: Sequence[Look], rows: Sequence[Moved], left_out: Sequence[Entry] = ()
) -> Document:
    """Return the same as plain values, ``probe-drift/1``."""
    return {
        "format": "probe-drift/1",
        "looks": [entry_json(look.entry) for look in looks],
        "without_a_day": [entry_json(entry) for entry in left_out],
        "faults": [
            {**fault.to_json(), "found_on": look.entry.measured_on}
            for look, fault in faults_since(looks)
        ],
        "facts": [
            {
                "side": row.side, "fact": row.fact, "unit": row.unit, "moved": row.moved,
                "values": [None if v is None else dict(v) for v in row.values],
                "against_first": [None if d is None else d.to_json() for d in row.against_first],
                "apart": [list(a) for a in row.apart],
                "rate_per_year": None if row.rate is None else
                {"value": row.rate[0], "u95": row.rate[1], "unit": row.unit},
            }
            for row in rows
        ],
    }  # fmt: skip


STANDS = {True: "OUTSIDE", False: "inside", None: "cannot tell"}
"""Of a fact judged against its sisters; ``compare`` where there are too few to judge."""


def related(entry: Entry, rows: Sequence[Kin], left_out: int = 0) -> str:
    """Return an example against its sisters, what is outside first.

    ``left_out``: sisters that are simulated where this one is real, or the other way round.
    """
    head = clean(f"{entry.maker} {entry.model}, serial {entry.serial}", 120)
    lines = hanging("", f"{head}, against its sisters in the archive", indent=0)
    for text in family_told(entry, left_out):
        lines += ["", *hanging("", text, indent=0)]
    for row in in_order(rows):
        told = f"{row.side}: {fact_name(row.fact)}: {own_text(row)}; {against_text(row)}"
        lines += ["", *hanging(stands(row), plain(told))]
    lines += ["", *hanging("", plain(rule(rows)), indent=0)]
    return "\n".join(lines) + "\n"


def family_told(entry: Entry, left_out: int) -> list[str]:
    """Return what must be known of an example and its sisters before any figure."""
    own = told_of_several([("", entry.simulated)])
    other = "measured on real devices" if entry.simulated else "simulated"
    kept = f"Left out: {counted(left_out, 'sister')}, {other}." if left_out else ""
    return [text for text in (own, kept) if text]


def in_order(rows: Sequence[Kin]) -> list[Kin]:
    """Return what there is to say: outside, cannot tell, inside, then what is only shown."""
    order = ("OUTSIDE", "cannot tell", "inside", "compare")
    return sorted((r for r in rows if r.values), key=lambda r: order.index(stands(r)))


def stands(row: Kin) -> str:
    """Return how a fact stands to its sisters, in a word."""
    return "compare" if row.middle is None else STANDS[row.outside]


def own_text(row: Kin) -> str:
    """Return the example's own figure."""
    return write(row.own, positive=words.fact_words(row.fact).positive).whole


def against_text(row: Kin) -> str:
    """Return the sisters: median and spread, or their figures where they are few."""
    sisters = counted(row.sisters, "sister")
    if row.middle is None:
        theirs = ", ".join(write({"value": v, "unit": row.unit}).whole for v in row.values)
        return f"{sisters}: {theirs}"
    middle = write({"value": row.middle, "unit": row.unit, "u95": row.spread}).whole
    return f"{sisters}: median and spread {middle}, allowed {row.factor:g} spreads"


def rule(rows: Sequence[Kin]) -> str:
    """Return how much to make of it."""
    judged = [row for row in rows if row.middle is not None]
    few = [row for row in rows if row.middle is None and row.values]
    if not judged and not few:
        return "No sister was measured under the same conditions: nothing to compare with."
    told: list[str] = []
    if judged:
        told.append(
            f"Of healthy examples one in a hundred is outside by chance for each fact, so about "
            f"{0.01 * len(judged):.1f} of these {len(judged)}: look at it, do not condemn it."
        )
    if few:
        told.append(f"Below {FEWEST} sisters nothing is judged, only shown.")
    return " ".join(told)


def family_json(entry: Entry, rows: Iterable[Kin]) -> Document:
    """Return the same as plain values, ``probe-family/1``."""
    return {
        "format": "probe-family/1",
        "entry": entry_json(entry),
        "facts": [
            {
                "side": row.side, "fact": row.fact, "unit": row.unit, "own": dict(row.own),
                "sisters": row.sisters, "values": list(row.values), "median": row.middle,
                "spread": row.spread, "allowed_spreads": row.factor, "outside": row.outside,
            }
            for row in rows
        ],
    }  # fmt: skip


def fact_name(fact: str) -> str:
    """Return a fact as people are shown it."""
    meant = words.fact_words(fact)
    return clean(f"{meant.name}, {meant.about}" if meant.about else meant.name, 100)


def _wrapped(rows: Iterable[tuple[str, str]]) -> str:
    lines = [line for name, text in rows if text for line in hanging(name, text, indent=12)]
    return "\n".join(lines) + "\n"
