"""What a piece of work costs, on a machine that does other things at the same time.

Processor time of what is promised to be little work: others on the machine hardly add to it, while
a clock on the wall counts what they do.
"""

from __future__ import annotations

import resource
import subprocess
import time
from collections.abc import Iterator, Mapping, Sequence
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


def least_each(
    commands: Sequence[Sequence[str]], environment: Mapping[str, str], runs: int
) -> list[float]:
    """Processor seconds of each command, run in turn: the least of ``runs``."""
    rounds = [[_of_child(one, environment) for one in commands] for _ in range(runs)]
    return [min(times) for times in zip(*rounds, strict=True)]


def _of_child(command: Sequence[str], environment: Mapping[str, str]) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, env=environment, capture_output=True, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
