"""Finds out by measurement what a balanced audio output is, and how to connect it."""

__version__ = "0.1.0"
