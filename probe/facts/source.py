"""The source inside a facts document: written in full precision with its draws, and read back."""

from probe.stage.source import FROM_MODAL, TERMINALS, TO_MODAL, Source

__all__ = ["FROM_MODAL", "TERMINALS", "TO_MODAL", "Source"]
