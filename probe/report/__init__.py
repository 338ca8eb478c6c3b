"""Facts as something to look at: one self-contained HTML file, and half a screen of text."""

from probe.report.page import render_html
from probe.report.summary import render_summary

__all__ = ["render_html", "render_summary"]
