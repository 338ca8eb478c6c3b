"""The page that follows a session: one file in its folder, rewritten whole, that reloads itself."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

from probe.bench.planned.cautions import Caution
from probe.bench.planned.steps import Step
from probe.bench.shown.drawing import sentences, svg

PAGE = "follow.html"
RELOAD_S = 2


@dataclass(frozen=True)
class Shown:
    """What the page shows now.

    Attributes
    ----------
    device
        Its name.
    title, status
        The step, and what is going on with it.
    step
        Drawn where there is one.
    cautions
        Before it.
    takes
        Names of the takes made, and what was said of each.
    facts
        Labels and values found so far.
    over
        The run has ended: the page stops reloading.
    """

    device: str
    title: str
    status: str
    step: Step | None = None
    cautions: tuple[Caution, ...] = ()
    takes: tuple[tuple[str, str], ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    alarms: tuple[str, ...] = field(default=())
    over: bool = False


class FollowPage:
    """Writes the page into a folder; a page that cannot be written stops nothing."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / PAGE

    def show(self, shown: Shown) -> None:
        """Rewrite the page."""
        beside = self.path.with_name(f".{PAGE}.new")
        try:
            beside.write_text(render(shown), encoding="utf-8")
            beside.replace(self.path)
        except OSError:
            with suppress(OSError):
                beside.unlink(missing_ok=True)


def render(shown: Shown) -> str:
    """Return the page: self-contained, without scripts, reloading itself while the run goes on."""
    reload_ = "" if shown.over else f'<meta http-equiv="refresh" content="{RELOAD_S}">'
    parts = [
        f"<h1>{escape(shown.title)}</h1>",
        f'<p class="status" role="status">{escape(shown.status)}</p>',
        *(f'<p class="alarm" role="alert">{escape(a)}</p>' for a in shown.alarms),
        *(_caution(c) for c in shown.cautions),
        _drawing(shown.step),
        _table("So far", shown.facts),
        _table("Takes", shown.takes),
    ]
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">{reload_}'
        f"<title>{escape(shown.title)} - {escape(shown.device)}</title>"
        f"<style>{_STYLE}</style></head><body><header>{escape(shown.device)}</header><main>"
        + "".join(parts)
        + "</main></body></html>\n"
    )


def _caution(caution: Caution) -> str:
    return (
        f'<section class="caution"><h2>Caution: {escape(caution.title)}</h2>'
        f"<p>{escape(caution.text)}</p></section>"
    )


def _drawing(step: Step | None) -> str:
    if step is None:
        return ""
    listed = "".join(f"<li>{escape(s)}</li>" for s in sentences(step))
    return f'<section class="plug"><h2>Plug</h2>{svg(step)}<ul>{listed}</ul></section>'


def _table(title: str, rows: Sequence[tuple[str, str]]) -> str:
    if not rows:
        return ""
    body = "".join(
        f'<tr><th scope="row">{escape(a)}</th><td>{escape(b)}</td></tr>' for a, b in rows
    )
    return f"<section><h2>{escape(title)}</h2><table>{body}</table></section>"


_STYLE = """
:root{color-scheme:light dark;--ink:#1a1d21;--paper:#fbfaf7;--line:#8a8f98;--warn:#8a4b00;
--warnpaper:#fff3df;--bad:#a01818}
@media (prefers-color-scheme:dark){:root{--ink:#e9e6df;--paper:#17191c;--line:#7d838c;
--warn:#ffc078;--warnpaper:#33260f;--bad:#ff9a8f}}
body{margin:0 auto;max-width:60rem;padding:1rem;background:var(--paper);color:var(--ink);
font:1.15rem/1.45 system-ui,sans-serif}
header{color:var(--ink)}h1{font-size:1.9rem;margin:.2rem 0}
h2{font-size:1.15rem;margin:1rem 0 .3rem}
.status{font-size:1.3rem;margin:.2rem 0 .8rem;
border-left:.4rem solid var(--line);padding-left:.7rem}
.alarm{color:var(--bad);font-weight:600}
.caution{background:var(--warnpaper);border:2px solid var(--warn);border-radius:.5rem;
padding:.1rem .9rem;margin:.6rem 0}.caution h2{color:var(--warn)}
svg{width:100%;height:auto;display:block}
svg text{fill:var(--ink);font:600 17px system-ui,sans-serif}
.wire{stroke:var(--ink);stroke-width:3}
.gap{stroke:var(--paper);stroke-width:15}
.box{fill:none;stroke:var(--line);stroke-width:2}
.part{fill:var(--paper);stroke:var(--ink);stroke-width:3}.dot{fill:var(--ink)}
table{border-collapse:collapse;width:100%}th,td{text-align:left;vertical-align:top;
padding:.25rem .8rem .25rem 0;border-bottom:1px solid var(--line)}th{font-weight:600;width:35%}
"""
