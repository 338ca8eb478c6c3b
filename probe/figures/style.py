"""How figures look on paper: sizes, type, and lines that a photocopier keeps apart."""

from __future__ import annotations

from typing import Any

COLUMN_MM = {"single": 85.0, "double": 175.0}
"""Widths of one and of two columns of a page. Common practice, no source."""

NARROWEST_MM, WIDEST_MM = 40.0, 400.0
"""Below, the labels would not fit; above, it is no longer a page."""

FOOT_SIZE = 6.0
"""Points of the word at the foot that tells a simulated device."""

HEIGHT_OF_WIDTH = 0.62
"""Height of a panel as a share of the width: about the golden section."""

LINES = (
    ("#000000", "-"),
    ("#0060a0", "--"),
    ("#c05000", ":"),
    ("#606060", "-."),
)
"""Colour and dashes of each line. Dashes alone tell them apart on a photocopier; the colours
differ in lightness, so that they also do for eyes that see few of them."""

HATCHES = ("", "////", "....", "xxxx")
"""Fills of bars, in the same order."""

MARKS = ("full", "none", "left", "bottom")
"""Which part of a triangle is filled, in the same order: bounds of bars, told apart without
colour."""

RC: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "axes.linewidth": 0.6,
    "axes.grid": True,
    "grid.linewidth": 0.3,
    "grid.color": "#b0b0b0",
    "lines.linewidth": 1.2,
    "hatch.linewidth": 0.4,
    "legend.frameon": False,
    "legend.handlelength": 3.0,
    "figure.constrained_layout.use": True,
    # TrueType fonts inside the PDF, outlines inside the SVG: neither asks the reader's machine.
    "pdf.fonttype": 42,
    "svg.fonttype": "path",
    "svg.hashsalt": "probe",
    "savefig.dpi": 600,
    "axes.unicode_minus": True,
    "mathtext.default": "regular",
}
"""Settings of the drawing library; the font comes with it, so figures look alike everywhere."""
