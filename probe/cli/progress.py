"""Progress of long work: one line on standard error, and only where somebody can see it."""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable


def counted_progress(doing: str) -> Callable[[int, int, str], None] | None:
    """Return what shows ``doing 2 of 7: name``, or None where standard error is no terminal."""
    import sys

    if not sys.stderr.isatty():
        return None

    def show(done: int, total: int, name: str) -> None:
        line = f"{doing} {done + 1} of {total}: {name}" if done < total else ""
        sys.stderr.write(f"\r{line[:78]:<78}\r")
        sys.stderr.flush()

    return show
