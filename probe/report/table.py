"""A page that is one table: what the archive says of years and of sisters."""

from __future__ import annotations

from dataclasses import dataclass

from probe.report.page import environment, sort_script


@dataclass(frozen=True)
class TableRow:
    """One fact: its name and what it is about, its cells; ``strong``: the last one is bold."""

    name: str
    about: str
    cells: tuple[str, ...]
    strong: bool = False


@dataclass(frozen=True)
class TablePage:
    """Everything on the page; texts are cleaned by whoever fills it.

    Attributes
    ----------
    title, what
        The device, and what is said of it.
    plate
        Names and texts at the head.
    lead
        Sentences before the table, those that must not be missed.
    caption, heads, rows
        The table; heads begin with that of the names.
    after
        Sentences under it.
    """

    title: str
    what: str
    plate: tuple[tuple[str, str], ...]
    lead: tuple[str, ...]
    caption: str
    heads: tuple[str, ...]
    rows: tuple[TableRow, ...]
    after: tuple[str, ...]


def render_table(page: TablePage) -> str:
    """Return the page as one HTML file that loads nothing."""
    return environment().get_template("table.html").render(page=page, script=sort_script())
