"""``probe figures SOURCE``: named figures for print, with captions and a methods paragraph."""

from __future__ import annotations

import argparse

from probe.cli.source import SOURCE_HELP, add_archive


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("source", metavar="SOURCE", nargs="?", help=SOURCE_HELP)
    add_archive(parser)
    parser.add_argument(
        "--out", metavar="DIR", default="figures", help="folder for the files (default: figures)"
    )
    parser.add_argument("--only", metavar="NAME", nargs="+", help="these figures only; see --list")
    parser.add_argument(
        "--format", metavar="KIND", nargs="+", default=["svg", "pdf", "png"],
        help="svg, pdf, png (default: all three)",
    )  # fmt: skip
    parser.add_argument(
        "--width", metavar="W", default="single",
        help="width on paper: single (85 mm), double (175 mm) or a number of millimetres",
    )  # fmt: skip
    parser.add_argument("--list", action="store_true", help="list the figures and stop")


def run(args: argparse.Namespace) -> int:
    """Draw and write the figures; return the exit status."""
    from pathlib import Path

    from probe.cli.output import write_together
    from probe.cli.progress import counted_progress
    from probe.errors import BadInput
    from probe.figures import FIGURES, write_figures

    if args.list:
        for name, (_, shows) in FIGURES.items():
            print(f"{name:32}{shows}")
        return 0
    if args.source is None:
        raise BadInput("a session folder or facts file is needed; --list shows the figures")
    from probe.cli.source import facts_of

    facts = facts_of(args.source, args.archive)
    files, missing = write_figures(
        facts,
        names=args.only,
        kinds=args.format,
        width_mm=_width(args.width),
        progress=counted_progress("drawing"),
    )
    written = write_together(Path(args.out), files)
    for name in missing:
        print(f"not known: {name}")
    print(f"written: {len(written)} files in {args.out}")
    return 0


def _width(text: str) -> float:
    from probe.errors import BadInput
    from probe.figures import COLUMN_MM

    if text in COLUMN_MM:
        return COLUMN_MM[text]
    try:
        return float(text)
    except ValueError:
        raise BadInput(
            f'--width "{text}": give {", ".join(COLUMN_MM)} or a number of millimetres'
        ) from None
