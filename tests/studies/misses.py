"""Lists the misses of a kept run: ``python -m tests.studies.misses FILE [FACT]``."""

from __future__ import annotations

import pickle
import sys
from pathlib import Path


def main() -> None:
    rows, _ = pickle.loads(Path(sys.argv[1]).read_bytes())
    only = sys.argv[2:] 
    for r in rows:
        for f in r.facts:
            if not f.holds and (not only or f.name in only):
                print(
                    f"{f.form[:5]:5s} {f.name:28s} z{f.z:+8.2f} true {f.true:.6g} said {f.value:.6g} "
                    f"({f.low:.6g}..{f.high:.6g}) @{f.at_hz:g} | {r.index} {r.circuit} / {r.takes} / "
                    f"{r.situation} / {r.drift_db} (rep {r.repeatability_db:.4f}) {r.kind} {r.confidence:.2f}"
                )


if __name__ == "__main__":
    main()
