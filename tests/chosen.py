"""Which rows of a published table are made again: nobody picks them, and chance does not either.

The code that makes them does: any change of it asks for other rows, while the same code is asked
for the same ones everywhere, so that a failure stands until somebody mends it.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import probe


def of_this_code(what: str) -> int:
    """Return a seed out of the whole program; ``what`` tells those who ask apart."""
    digest = hashlib.sha256(what.encode())
    for path in sorted(Path(probe.__file__).parent.rglob("*.py")):
        digest.update(path.read_bytes())
    return int.from_bytes(digest.digest()[:4])
