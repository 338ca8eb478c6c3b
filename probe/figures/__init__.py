"""Figures for print from a facts document, and the paragraph that says how they were measured."""

from probe.figures.methods import methods_paragraph
from probe.figures.named import FIGURES, figure_plots
from probe.figures.write import COLUMN_MM, FORMATS, write_figures

__all__ = [
    "COLUMN_MM",
    "FIGURES",
    "FORMATS",
    "figure_plots",
    "methods_paragraph",
    "write_figures",
]
