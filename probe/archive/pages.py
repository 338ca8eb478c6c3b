"""What the archive says of one device over the years, and of one among its sisters, as pages."""

from __future__ import annotations

from collections.abc import Sequence

from probe.archive import told
from probe.archive.entry import Entry
from probe.archive.family import Kin
from probe.archive.years import Look, Moved
from probe.report.table import TablePage, TableRow, render_table
from probe.report.text import clean


def family_page(entry: Entry, rows: Sequence[Kin], left_out: int = 0) -> str:
    """Return an example against its sisters as one HTML file, what is outside first.

    ``left_out``: sisters that are simulated where this one is real, or the other way round.
    """
    kin = told.in_order(rows)
    outside = sum(told.stands(row) == "OUTSIDE" for row in kin)
    page = TablePage(
        title=_device(entry),
        what="against its sisters in the archive",
        plate=(("Serial", clean(entry.serial, 40)), ("Measured", told.day_of(entry))),
        lead=(
            *told.family_told(entry, left_out),
            *((f"{outside} of {len(kin)} facts outside the family.",) if outside else ()),
        ),
        caption="Each figure with its 95 % doubt, beside the sisters measured under the same "
        "conditions",
        heads=("Fact", "Side", "This one", "Sisters", "Stands"),
        rows=tuple(
            TableRow(
                told.fact_name(row.fact),
                "",
                (row.side, told.own_text(row), told.against_text(row), told.stands(row).lower()),
                strong=told.stands(row) == "OUTSIDE",
            )
            for row in kin
        ),
        after=(told.rule(rows),),
    )
    return render_table(page)


def drift_page(looks: Sequence[Look], rows: Sequence[Moved], left_out: Sequence[Entry] = ()) -> str:
    """Return a device over the years as one HTML file, the largest movement first."""
    entry = looks[-1].entry
    moved = sum(row.moved for row in rows)
    compared = sum(row.compared for row in rows)
    page = TablePage(
        title=_device(entry),
        what=f"over {len(looks)} looks",
        plate=(("Serial", clean(entry.serial, 40)), ("Last look", told.day_text(looks[-1]))),
        lead=(
            *filter(None, [told.undated(left_out), told.simulated_looks(looks)]),
            *(f"{side}: {text}" for _, side, text in told.became(looks)),
        ),
        caption=f"Every fact at every look with its 95 % doubt and its difference from the first; "
        f"{moved} of {compared} that could be compared moved by more than their doubts",
        heads=("Fact", "Side", *(told.day_text(look) for look in looks), "Rate", "Moved"),
        rows=tuple(
            TableRow(
                told.fact_name(row.fact),
                "",
                (
                    row.side,
                    *(told.value_text(row, k) if row.values[k] else "" for k in range(len(looks))),
                    told.rate_text(row),
                    row.word,
                ),
                strong=row.moved,
            )
            for row in rows
        ),
        after=(told.by_chance(compared),) if moved else (),
    )
    return render_table(page)


def _device(entry: Entry) -> str:
    return clean(f"{entry.maker} {entry.model}".strip() or "unnamed device", 80)
