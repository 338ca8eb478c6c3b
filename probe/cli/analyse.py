"""``probe analyse SESSION``: recordings in, the output stage out."""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("session", metavar="SESSION", help="session folder or its session.toml")
    parser.add_argument(
        "--out", metavar="DIR", help="folder for facts.json and report.html (default: the session)"
    )
    parser.add_argument(
        "--json", action="store_true", help="print the facts on standard output and write nothing"
    )
    parser.add_argument(
        "--csv", metavar="DIR", help="folder for facts.csv and curves.csv, beside the report"
    )
    parser.add_argument(
        "--draws", type=int, default=2000, metavar="N", help="Monte Carlo draws (default 2000)"
    )
    parser.add_argument("--seed", type=int, default=1, help="of the draws (default 1)")


def run(args: argparse.Namespace) -> int:
    """Analyse, write facts and report, print half a screen; return the exit status."""
    from pathlib import Path

    from probe.cli.progress import counted_progress
    from probe.errors import BadInput
    from probe.facts import analyse_session, to_json

    if not 100 <= args.draws <= 1_000_000:
        raise BadInput(f"--draws {args.draws}: allowed are 100 to 1000000")
    if args.seed < 0:
        raise BadInput(f"--seed {args.seed}: allowed are whole numbers from 0 on")
    if args.out == "":
        raise BadInput("--out: is empty; name a folder, or leave --out away")
    if args.csv == "" or (args.csv and args.json):
        raise BadInput("--csv: name a folder, and leave --json away, which writes nothing")
    path = Path(args.session)
    facts = analyse_session(
        path, draws=args.draws, seed=args.seed, progress=counted_progress("measuring take")
    )
    if args.json:
        print(to_json(facts), end="")
        return 0
    from probe.cli.output import write_together
    from probe.report import render_html, render_summary

    folder = Path(args.out) if args.out else _folder(path)
    written = write_together(
        folder, {"facts.json": to_json(facts), "report.html": render_html(facts)}
    )
    if args.csv:
        from probe.facts.tables import csv_files

        written += write_together(Path(args.csv), csv_files(facts))
    print(render_summary(facts), end="")
    print("written: " + ", ".join(str(p) for p in written))
    return 0


def _folder(path: Path) -> Path:
    return path if path.is_dir() else path.parent
