"""Facts as something to look at: one self-contained HTML file, and half a screen of text."""

from probe.report.compared import render_comparison, render_comparison_text
from probe.report.leaflet import render_leaflet
from probe.report.page import render_html
from probe.report.summary import render_summary
from probe.report.verified import render_verification, render_verification_text

__all__ = [
    "render_comparison",
    "render_comparison_text",
    "render_html",
    "render_leaflet",
    "render_summary",
    "render_verification",
    "render_verification_text",
]
