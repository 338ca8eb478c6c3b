"""Draws a plot with matplotlib, in memory."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from textwrap import fill
from typing import TYPE_CHECKING, Any

from probe.figures import style
from probe.figures.plot import Arrow, Panel, Plot, Trace

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Key = tuple[Any, str]
"""Of a legend: what is drawn, and its name."""

_MM_PER_INCH = 25.4

_NARROW, _SHORT = 0.5, 1.5
"""Decades of a logarithmic axis below which round steps, or 1-2-5, make its numbers: powers of ten
alone would leave it with one number or none."""

_LEAST_INCH = 1.7
"""Height of a panel at which the name of its axis can still be read in full."""

_LEGEND_SHARE = 0.78
"""Of the figure's width, what the axes have beside their numbers and label on a single column."""

_BROKEN_AT = 20
"""Characters of a line in a legend, where the paper is too narrow for its names."""

_BELOW_ARROWS = 2.4
"""Heights of a letter that the number at the foot of a circle (270°) takes."""

_MOST_LABELS = 12
"""Bars that can each be numbered at the width of one column."""


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
    each = max(min(width, 4.5) * share, _LEAST_INCH)
    figure = Figure(figsize=(width, each * rows))
    if plot.foot:
        figure.supxlabel(plot.foot, x=0.99, ha="right", fontsize=style.FOOT_SIZE, style="italic")
    if plot.arrows:
        circle = figure.add_subplot(projection="polar")
        _arrows(circle, plot.arrows)
        _legend(figure, circle, below=True)
        return figure
    axes = figure.subplots(rows, 1, sharex=True, squeeze=False)[:, 0]
    for i, (one, panel) in enumerate(zip(axes, plot.panels, strict=True)):
        keys = _panel(one, panel, last=i == rows - 1)
        if len(panel.traces) > 1 and (i == 0 or _labels(panel) != _labels(plot.panels[i - 1])):
            _legend(figure, one, keys)
    return figure


def _labels(panel: Panel) -> list[str]:
    return [trace.label for trace in panel.traces]


def _legend(figure: Figure, axes: Any, keys: Sequence[Key] = (), *, below: bool = False) -> None:
    """Name the lines outside the axes, in as few rows as fit: inside, they would lie over data.

    They stand above, or below the number at the foot of a circle. A name too long for the paper
    is broken. The figure grows by what the rows take, so that the axes keep their height. ``keys``:
    what is drawn beside each name, where a line or a bar by itself does not tell it.
    """
    from matplotlib.legend_handler import HandlerTuple

    handles, labels = axes.get_legend_handles_labels()
    if keys:
        handles, labels = [list(column) for column in zip(*keys, strict=True)]
    most = figure.get_figwidth() * figure.dpi * _LEGEND_SHARE
    for columns in [*range(len(labels), 0, -1), 0]:
        legend = axes.legend(
            handles,
            labels if columns else [fill(label, _BROKEN_AT) for label in labels],
            ncols=max(columns, 1),
            loc="upper center" if below else "lower center",
            bbox_to_anchor=(0.5, 0.0 if below else 1.0),
            borderaxespad=_BELOW_ARROWS if below else 0.3,
            columnspacing=1.2,
            handler_map={tuple: HandlerTuple(ndivide=None)},
        )
        if legend.get_window_extent().width <= most:
            break
    height = legend.get_window_extent().height
    figure.set_figheight(figure.get_figheight() + height / figure.dpi)


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


def _panel(axes: Axes, panel: Panel, *, last: bool) -> tuple[Key, ...]:
    """Draw a panel; return the keys of its legend where they are not those of its lines."""
    keys: tuple[Key, ...] = ()
    if panel.x_log:
        axes.set_xscale("log")
    if panel.y_log:
        axes.set_yscale("log")
    if panel.kind == "bars":
        keys = _bars(axes, panel.traces)
    else:
        for i, trace in enumerate(panel.traces):
            _line(axes, trace, i)
        _limit(axes, panel)
    axes.set_ylabel(panel.y_label)
    if last:
        axes.set_xlabel(panel.x_label)
    _plain_ticks(axes, panel)
    return keys


def _line(axes: Axes, trace: Trace, i: int) -> None:
    colour, dashes = style.LINES[i % len(style.LINES)]
    marker = "o" if len(trace.x) < 40 else None
    bounds = _bounds(trace)
    if any(bounds):
        _triangles(axes, colour, dashes, list(zip(trace.x, trace.y, bounds, strict=True)))
    # A bound is no value: the line breaks there.
    y = [math.nan if bound else v for v, bound in zip(trace.y, bounds, strict=True)]
    axes.plot(trace.x, y, dashes, color=colour, label=trace.label, marker=marker, markersize=1.8)
    band = [
        (x, math.nan, math.nan) if bound or low is None or high is None else (x, low, high)
        for x, low, high, bound in zip(trace.x, trace.low, trace.high, bounds, strict=False)
    ]
    if any(low == low for _, low, _ in band):
        x, low, high = zip(*band, strict=True)
        axes.fill_between(x, low, high, color=colour, alpha=0.18, linewidth=0.0)


def _bounds(trace: Trace) -> tuple[str | None, ...]:
    return trace.bound or (None,) * len(trace.x)


def _triangles(
    axes: Axes,
    colour: str,
    dashes: str,
    points: Sequence[tuple[float, float, str | None]],
    filled: str = "none",
) -> Any:
    """Mark bounds: the triangle points to where the value may be; ``dashes`` say whose it is.

    Where nothing joins them ``filled`` says that: which part of the triangle. Returns what was
    drawn last, None where there is no bound.
    """
    drawn = None
    for bound, marker in (("above", "^"), ("below", "v")):
        y = [v if one == bound else math.nan for _, v, one in points]
        if any(v == v for v in y):
            (drawn,) = axes.plot(
                [x for x, _, _ in points], y, linestyle=dashes or "none", marker=marker,
                color=colour, linewidth=0.5, markersize=3.5 if dashes else 4.5,
                fillstyle=filled, markerfacecoloralt="white", markeredgewidth=0.6,
                markerfacecolor="white" if filled == "none" else colour,
            )  # fmt: skip
    return drawn


def _limit(axes: Axes, panel: Panel) -> None:
    """Hatch what lies below the worst of the limits: the bench could not have seen it."""
    lines = [
        known
        for t in panel.traces
        if (known := sorted(p for p in t.limit if p[1] > 0.0 or not panel.y_log))
    ]
    if not lines:
        return
    places = sorted({x for line in lines for x, _ in line})
    worst = [max(v for line in lines if (v := _between(line, x)) is not None) for x in places]
    bottom = axes.get_ylim()[0]
    axes.fill_between(
        places, bottom, worst, facecolor="none", edgecolor="#808080", hatch="////", linewidth=0.0
    )
    axes.set_ylim(bottom=bottom)


def _between(line: Sequence[tuple[float, float]], x: float) -> float | None:
    """Return a line at ``x``, straight between its points; None beyond its ends."""
    for (a, left), (b, right) in zip(line, [*line[1:], line[-1]], strict=True):
        if a <= x <= b:
            return left if a == b else left + (right - left) * (x - a) / (b - a)
    return None


def _bars(axes: Axes, traces: Sequence[Trace]) -> tuple[Key, ...]:
    """Draw bars and the triangles of bounds; return the keys: both where a trace has both."""
    keys: list[Key] = []
    places = sorted({x for t in traces for x in t.x})
    width = 0.8 / len(traces)
    for i, trace in enumerate(traces):
        colour, _ = style.LINES[i % len(style.LINES)]
        hatch = style.HATCHES[i % len(style.HATCHES)]
        at = [places.index(x) + (i - (len(traces) - 1) / 2.0) * width for x in trace.x]
        bounds = _bounds(trace)
        filled = style.MARKS[i % len(style.MARKS)]
        marks = _triangles(axes, colour, "", list(zip(at, trace.y, bounds, strict=True)), filled)
        known = [k for k, bound in enumerate(bounds) if not bound]
        ends = zip(trace.low or trace.y, trace.high or trace.y, strict=True)
        reach = [
            (v - (v if low is None else low), (v if high is None else high) - v)
            for v, (low, high) in zip(trace.y, ends, strict=True)
        ]
        drawn = axes.bar(
            [at[k] for k in known],
            [trace.y[k] for k in known],
            width,
            yerr=[[max(reach[k][end], 0.0) for k in known] for end in (0, 1)],
            error_kw={"elinewidth": 0.7, "ecolor": "#000000"},
            facecolor="white" if hatch else colour,
            edgecolor=colour,
            hatch=hatch,
            linewidth=0.8,
        )
        key = tuple(one for one in (drawn.patches[0] if known else None, marks) if one is not None)
        keys.append((key, trace.label))
    every = 1 if len(places) <= _MOST_LABELS else 2
    axes.set_xticks(
        range(len(places)), [f"{x:.4g}" if i % every == 0 else "" for i, x in enumerate(places)]
    )
    return tuple(keys)


_SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def tick(value: float) -> str:
    """Return a number at an axis as it is printed: 20, 0.001, 5·10⁻⁵."""
    if value == 0.0 or 1e-3 <= abs(value) < 1e6:
        return f"{value:.6g}".replace("-", "−")
    digits, power = f"{value:.3e}".split("e")
    factor = digits.rstrip("0").rstrip(".").replace("-", "−")
    ten = f"10{str(int(power)).translate(_SUPERSCRIPT)}"
    return ten if factor == "1" else f"{factor}·{ten}"


def _plain_ticks(axes: Axes, panel: Panel) -> None:
    """Write decades as plain numbers: 100, 1000, 10000; powers only of what is longer."""
    from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullFormatter

    def text(value: float, _place: int | None = None) -> str:
        return tick(value)

    for axis, log in ((axes.xaxis, panel.x_log), (axes.yaxis, panel.y_log)):
        if axis is axes.xaxis and panel.kind == "bars":
            continue
        if log:
            low, high = axis.get_view_interval()
            span = math.log10(high / low) if low > 0.0 else math.inf
            axis.set_major_locator(
                MaxNLocator(5, steps=[1, 2, 5, 10])
                if span < _NARROW
                else LogLocator(subs=(1.0, 2.0, 5.0) if span < _SHORT else (1.0,))
            )
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
    axes.set_title("V rms", fontsize="medium", loc="left")
