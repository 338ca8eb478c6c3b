"""The facts document: its shape, how it is written, read and turned back into a source."""

from probe.facts.analyse import analyse, analyse_session
from probe.facts.document import read_facts, source_from_facts, to_json
from probe.facts.results import Fact, Results, SideResult, results

__all__ = [
    "Fact",
    "Results",
    "SideResult",
    "analyse",
    "analyse_session",
    "read_facts",
    "results",
    "source_from_facts",
    "to_json",
]
