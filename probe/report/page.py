"""The page: a facts document in, one self-contained HTML file out."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

from probe.report import cautions
from probe.report.advised import advice_view
from probe.report.view import page_view

if TYPE_CHECKING:
    import jinja2


def render_html(facts: dict[str, Any], *, advice: dict[str, Any] | None = None) -> str:
    """Return the report of a facts document as one HTML file.

    Parameters
    ----------
    facts
        A facts document (``probe-facts/1``). Whatever it lacks is left out or listed as not known.
    advice
        An advice document (``probe-advice/1``) to be shown after the sides, or None.

    Returns
    -------
    str
        HTML that loads nothing, runs no script and is the same for the same document.
    """
    advised: Mapping[str, Any] = advice or {}
    return (
        _environment()
        .get_template("page.html")
        .render(
            page=page_view(facts),
            advice=advice_view(advised) if advised else None,
            cautions=cautions,
        )
    )


@cache
def _environment() -> jinja2.Environment:
    import jinja2

    return jinja2.Environment(
        loader=jinja2.PackageLoader("probe.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
