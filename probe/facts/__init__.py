"""The facts document: its shape, how it is written, read and turned back into a source."""

from probe.facts.analyse import analyse, analyse_session
from probe.facts.document import read_facts, source_from_facts, to_json

__all__ = ["analyse", "analyse_session", "read_facts", "source_from_facts", "to_json"]
