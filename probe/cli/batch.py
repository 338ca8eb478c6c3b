"""``probe batch FOLDER...``: every session in and below folders, on all cores."""

from __future__ import annotations

import argparse

SOME_FAILED = 1

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from probe.batch.batch import Progress


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "folders", nargs="+", metavar="FOLDER", help="session folders, or folders that hold them"
    )
    parser.add_argument(
        "--out",
        metavar="DIR",
        help="folder for all results, as the sessions lie (default: each session's own)",
    )
    parser.add_argument(
        "--jobs", type=int, default=-1, metavar="N", help="processes (default: one for each core)"
    )
    parser.add_argument("--draws", type=int, metavar="N", help="Monte Carlo draws of each")
    parser.add_argument(
        "--again", action="store_true", help="analyse also what was analysed already"
    )
    parser.add_argument("--csv", metavar="FILE", help="write the summary as CSV")


def run(args: argparse.Namespace) -> int:
    """Analyse all, print the summary; return 0, or 1 where a session failed."""
    from pathlib import Path

    from probe.batch.batch import COLUMNS, analyse_all, find_sessions, table
    from probe.batch.told import summary
    from probe.cli.output import check_file, write_one, write_together
    from probe.errors import BadInput
    from probe.facts.tables import csv_text

    if args.jobs != -1 and not 1 <= args.jobs <= 4096:
        raise BadInput(f"--jobs {args.jobs}: allowed are 1 to 4096, or -1 for one for each core")
    if args.draws is not None and not 100 <= args.draws <= 1_000_000:
        raise BadInput(f"--draws {args.draws}: allowed are 100 to 1000000")
    if args.out == "" or args.csv == "":
        raise BadInput("--out or --csv: is empty; name it, or leave it away")
    among_results = bool(args.csv and args.out) and Path(args.csv).parent == Path(args.out)
    if not among_results:
        check_file(args.csv, "--csv")
    folders = [Path(f) for f in args.folders]
    sessions = find_sessions(folders)
    outcomes = analyse_all(
        sessions,
        write_together,
        targets=targets(sessions, args.out),
        jobs=args.jobs,
        draws=args.draws,
        again=args.again,
        progress=_progress(),
    )
    if args.csv is not None:
        if among_results:  # their folder is made, even where no session could be analysed
            Path(args.out).mkdir(parents=True, exist_ok=True)
        write_one(args.csv, csv_text(table(outcomes), COLUMNS))
    print(summary(outcomes), end="")
    return SOME_FAILED if any(o.status == "failed" for o in outcomes) else 0


def targets(sessions: Sequence[Path], out: str | None) -> dict[Path, Path]:
    """Return where each session's files go: below one folder as they lie, or beside the takes."""
    import os
    from pathlib import Path

    if out is None:
        return {}
    absolute = [s.resolve() for s in sessions]
    top = Path(os.path.commonpath([s.parent for s in absolute]))
    return {s: Path(out) / a.relative_to(top) for s, a in zip(sessions, absolute, strict=True)}


def _progress() -> Progress | None:
    from probe.batch.told import time_left
    from probe.cli.progress import counted_progress

    show = counted_progress("analysed")
    if show is None:
        return None
    shown = show

    def tell(done: int, total: int, name: str, left: float | None) -> None:
        shown(done - 1 if done < total else total, total, f"{time_left(left)}  {name[-30:]}")

    return tell
