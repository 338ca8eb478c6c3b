"""The page: a facts document in, one self-contained HTML file out."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

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
        HTML that loads nothing and is the same for the same document. The one script in it sorts
        tables; the document itself stands inside as JSON, so that the report is also the facts
        file (``probe.facts.read_facts`` takes either).
    """
    advised: Mapping[str, Any] = advice or {}
    return (
        environment()
        .get_template("page.html")
        .render(
            page=page_view(facts),
            advice=advice_view(advised) if advised else None,
            cautions=cautions,
            script=sort_script(),
            embedded=_embedded(facts),
        )
    )


@dataclass(frozen=True)
class _Script:
    """A script and the one policy that lets it run: its own digest."""

    text: Markup
    allowed: str


@cache
def sort_script() -> _Script:
    """Return the script that sorts tables, with the digest that lets it run."""
    from importlib.resources import files

    text = files("probe.report").joinpath("templates", "sort.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
    return _Script(Markup(text), f"sha256-{digest}")


def _embedded(facts: Mapping[str, Any]) -> Markup:
    """Return the document as JSON in which nothing can end the element it stands in."""
    text = json.dumps(facts, allow_nan=False, separators=(",", ":"))
    return Markup(text.translate({ord("<"): "\\u003c", ord(">"): "\\u003e", ord("&"): "\\u0026"}))


@cache
def environment() -> jinja2.Environment:
    """Return the templates of this room, with escaping on."""
    import jinja2

    return jinja2.Environment(
        loader=jinja2.PackageLoader("probe.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
