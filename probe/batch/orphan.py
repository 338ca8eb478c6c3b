"""Workers that end with the process that asked for them, also where that one was killed."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

LOOK_S = 1.0
"""How often a worker looks for its parent: nothing beside a job, and soon enough for a person."""

_watching: set[int] = set()
_at_work = threading.Lock()


@contextmanager
def working_for(parent: int) -> Iterator[None]:
    """Do a job for the process ``parent``, and end when that one is gone and the job is done.

    A killed process cannot tell its workers, which would wait minutes for more to do. Nothing
    changes in the process itself, in one of another back end (a cluster's, whose parent is
    another), or where a system does not hand orphans on (Windows: the back end's own time of
    idleness holds there).
    """
    if os.getppid() != parent:
        yield
        return
    if parent not in _watching:
        _watching.add(parent)
        threading.Thread(target=_watch, args=(parent,), name="parent", daemon=True).start()
    with _at_work:
        yield


def _watch(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(LOOK_S)
    with _at_work:  # what is being written is finished first
        os._exit(1)
