"""Draws a plot with matplotlib, in memory."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from probe.figures import style
from probe.figures.plot import Arrow, Panel, Plot, Trace

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MM_PER_INCH = 25.4


def render(plot: Plot, width_mm: float, kinds: Sequence[str]) -> dict[str, bytes]:
    """Return the figure as files in memory.

    Parameters
    ----------
    plot
        What to draw.
    width_mm
        Width on paper, mm.
    kinds
        Out of ``svg``, ``pdf``, ``png``.

    Returns
    -------
    dict
        The bytes of each kind; the same plot gives the same bytes.
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    with mpl.rc_context(style.RC):
        figure = _figure(plot, width_mm)
        FigureCanvasAgg(figure)
        try:
            return {kind: _saved(figure, plot, kind) for kind in kinds}
        finally:
            figure.clear()


def _figure(plot: Plot, width_mm: float) -> Figure:
    from matplotlib.figure import Figure

    width = width_mm / _MM_PER_INCH
    rows = max(1, len(plot.panels))
    share = 1.0 if plot.arrows else style.HEIGHT_OF_WIDTH * (1.0 if rows == 1 else 0.8)
    figure = Figure(figsize=(width, min(width, 4.5) * share * rows))
    if plot.arrows:
        _arrows(figure.add_subplot(projection="polar"), plot.arrows)
        return figure
    axes = figure.subplots(rows, 1, sharex=True, squeeze=False)[:, 0]
    for i, (one, panel) in enumerate(zip(axes, plot.panels, strict=True)):
        _panel(one, panel, last=i == rows - 1)
    return figure


def _saved(figure: Figure, plot: Plot, kind: str) -> bytes:
    out = io.BytesIO()
    about: dict[str, Any] = {"Title": plot.title}
    if kind == "pdf":
        about |= {"Subject": plot.caption, "Creator": "probe", "CreationDate": None}
    elif kind == "svg":
        about |= {"Description": plot.caption, "Creator": "probe", "Date": None}
    else:
        about |= {"Description": plot.caption, "Software": "probe"}
    figure.savefig(out, format=kind, metadata=about)
    return out.getvalue()


def _panel(axes: Axes, panel: Panel, *, last: bool) -> None:
    if panel.x_log:
        axes.set_xscale("log")
    if panel.y_log:
        axes.set_yscale("log")
    if panel.kind == "bars":
        _bars(axes, panel.traces)
    else:
        for i, trace in enumerate(panel.traces):
            _line(axes, trace, i)
        _limit(axes, panel)
    axes.set_ylabel(panel.y_label)
    if last:
        axes.set_xlabel(panel.x_label)
    _plain_ticks(axes, panel)
    if len(panel.traces) > 1:
        axes.legend(loc="best")


def _line(axes: Axes, trace: Trace, i: int) -> None:
    colour, dashes = style.LINES[i % len(style.LINES)]
    marker = "o" if len(trace.x) < 40 else None
    axes.plot(
        trace.x, trace.y, dashes, color=colour, label=trace.label, marker=marker, markersize=1.8
    )
    band = [
        (x, low, high)
        for x, low, high in zip(trace.x, trace.low, trace.high, strict=False)
        if low is not None and high is not None
    ]
    if band:
        x, low, high = zip(*band, strict=True)
        axes.fill_between(x, low, high, color=colour, alpha=0.18, linewidth=0.0)


def _limit(axes: Axes, panel: Panel) -> None:
    """Hatch what lies below the worst of the limits: the bench could not have seen it."""
    known = [
        (x, one)
        for t in panel.traces
        for x, one in zip(t.x, t.limit, strict=False)
        if one is not None and (one > 0.0 or not panel.y_log)
    ]
    if not known:
        return
    worst: dict[float, float] = {}
    for at, one in known:
        worst[at] = max(one, worst.get(at, one))
    bottom = axes.get_ylim()[0]
    axes.fill_between(
        sorted(worst),
        bottom,
        [worst[at] for at in sorted(worst)],
        facecolor="none",
        edgecolor="#808080",
        hatch="////",
        linewidth=0.0,
    )
    axes.set_ylim(bottom=bottom)


def _bars(axes: Axes, traces: Sequence[Trace]) -> None:
    places = sorted({x for t in traces for x in t.x})
    width = 0.8 / len(traces)
    for i, trace in enumerate(traces):
        colour, _ = style.LINES[i % len(style.LINES)]
        axes.bar(
            [places.index(x) + (i - (len(traces) - 1) / 2.0) * width for x in trace.x],
            trace.y,
            width,
            label=trace.label,
            facecolor="white" if style.HATCHES[i % 4] else colour,
            edgecolor=colour,
            hatch=style.HATCHES[i % 4],
            linewidth=0.8,
        )
    axes.set_xticks(range(len(places)), [f"{x:.4g}" for x in places])


def _plain_ticks(axes: Axes, panel: Panel) -> None:
    """Write decades as plain numbers: 100, 1000, 10000; no powers, no offsets."""
    from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullFormatter

    def text(value: float, _place: int | None = None) -> str:
        return f"{value:.6g}" if abs(value) < 1e6 else f"{value:.0e}"

    for axis, log in ((axes.xaxis, panel.x_log), (axes.yaxis, panel.y_log)):
        if axis is axes.xaxis and panel.kind == "bars":
            continue
        if log:
            low, high = axis.get_view_interval()
            short = math.log10(high / low) < 1.5 if low > 0.0 else False
            axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0) if short else (1.0,)))
            axis.set_minor_formatter(NullFormatter())
        elif axis is axes.xaxis:
            axis.set_major_locator(MaxNLocator(integer=True))
        axis.set_major_formatter(FuncFormatter(text))


def _arrows(axes: Any, arrows: Sequence[Arrow]) -> None:
    longest = max(a.volts for a in arrows)
    for i, arrow in enumerate(arrows):
        colour, dashes = style.LINES[i % len(style.LINES)]
        angle = math.radians(arrow.degrees)
        axes.plot([angle, angle], [0.0, arrow.volts], dashes, color=colour, label=arrow.label)
        axes.plot([angle], [arrow.volts], "ov^s"[i % 4], color=colour, markersize=4.0)
        if arrow.u95:
            ends = [max(arrow.volts - arrow.u95, 0.0), arrow.volts + arrow.u95]
            axes.plot([angle, angle], ends, "-", color=colour, alpha=0.35, linewidth=5.0)
    axes.set_rlim(0.0, 1.15 * longest)
    axes.set_rlabel_position(60.0)
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, -0.22), ncols=len(arrows))
