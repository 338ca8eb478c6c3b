"""Writes figures and their captions to a folder, all of them or none."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from probe.advice.words import FAULTS
from probe.errors import BadInput
from probe.figures import style
from probe.figures.captions import caption
from probe.figures.draw import render
from probe.figures.methods import methods_paragraph
from probe.figures.named import FIGURES, figure_plots
from probe.figures.plot import Plot
from probe.formats.text import nearest, quoted
from probe.simulated import SIMULATED, is_simulated

COLUMN_MM = style.COLUMN_MM
FORMATS = ("svg", "pdf", "png")


def write_figures(
    facts: Mapping[str, Any],
    *,
    names: Sequence[str] | None = None,
    kinds: Sequence[str] = FORMATS,
    width_mm: float = COLUMN_MM["single"],
    progress: Callable[[int, int, str], None] | None = None,
) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """Return the files of the figures a facts document supports, by file name.

    Parameters
    ----------
    facts
        A facts document (``probe-facts/1``).
    names
        Which figures; None for all that are supported.
    kinds
        Out of ``FORMATS``.
    width_mm
        Width on paper, mm.
    progress
        Called with (figures done, figures in all, name of the next).

    Returns
    -------
    files, missing
        ``NAME-SIDE.KIND`` with the bytes, ``captions.txt`` and ``methods.txt``; and what was asked
        for by name but is not known.

    Raises
    ------
    BadInput
        An unknown name or kind, a width that is none, or nothing at all to draw.
    """
    _check(names, kinds, width_mm)
    plots, missing = figure_plots(facts, names)
    if not plots:
        raise BadInput(
            "nothing to draw: the facts hold none of the curves of "
            + ", ".join(names or FIGURES)
            + "; analyse a session with more takes"
        )
    plots = tuple(_with_origin(plot, facts) for plot in plots)
    files: dict[str, bytes] = {}
    captions = []
    for done, plot in enumerate(plots):
        name = f"{plot.name}-{plot.side}"
        if progress is not None:
            progress(done, len(plots), name)
        files |= {f"{name}.{k}": data for k, data in render(plot, width_mm, kinds).items()}
        captions.append(f"{name}\n{plot.caption}\n")
    files["captions.txt"] = "\n".join(captions).encode()
    files["methods.txt"] = (methods_paragraph(facts) + "\n").encode()
    return files, missing if names is not None else ()


def _with_origin(plot: Plot, facts: Mapping[str, Any]) -> Plot:
    """Say in picture and caption that a device is simulated, and in the caption what is broken."""
    invented = is_simulated(facts.get("made"))
    side = facts["sides"].get(plot.side, {})
    codes = [str(code) for code in side.get("stage", {}).get("faults", ())]
    faults = [FAULTS.get(code, code.replace("-", " ")) for code in codes]
    said = caption(
        plot.caption,
        f"Found: {', '.join(faults)}." if faults else "",
        f"Simulated: {SIMULATED}." if invented else "",
    )
    return replace(plot, caption=said, foot="Simulated" if invented else "")


def _check(names: Sequence[str] | None, kinds: Sequence[str], width_mm: float) -> None:
    for what, given, allowed in (
        ("figure", names or (), tuple(FIGURES)),
        ("format", kinds, FORMATS),
    ):
        for one in given:
            if one not in allowed:
                close = nearest(one, allowed)
                hint = f'; did you mean "{close}"?' if close else ""
                raise BadInput(f"no {what} {quoted(one)}{hint}; there are {', '.join(allowed)}")
    if not style.NARROWEST_MM <= width_mm <= style.WIDEST_MM:
        raise BadInput(
            f"width {width_mm:g} mm: allowed are {style.NARROWEST_MM:g} to {style.WIDEST_MM:g}, "
            f"or {' and '.join(COLUMN_MM)}"
        )
