"""What a piece of work costs, on a machine that does other things at the same time.

Processor time of what is promised to be little work: others on the machine hardly add to it, while
a clock on the wall counts what they do.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def at_most(seconds: float) -> Iterator[None]:
    """What is done inside takes this process no more than ``seconds`` of processor."""
    start = time.process_time()
    try:
        yield
    finally:  # a refusal, too
        spent = time.process_time() - start
        assert spent < seconds, f"{spent:.1f} s of processor, at most {seconds:g}"
