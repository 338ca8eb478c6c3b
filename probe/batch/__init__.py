"""Many sessions at once: every one analysed, none able to stop the others."""

from probe.batch.batch import Outcome, analyse_all, find_sessions

__all__ = ["Outcome", "analyse_all", "find_sessions"]
