"""``probe compare SOURCE SOURCE...``: devices, channels, dates or firmware beside each other."""

from __future__ import annotations

import argparse

from probe.cli.source import SOURCE_HELP, add_archive


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("sources", nargs="+", metavar="SOURCE", help=SOURCE_HELP)
    parser.add_argument(
        "--side",
        action="append",
        default=[],
        choices=("left", "right", "mono"),
        help="only this side of each (default: every side); repeat for two",
    )
    parser.add_argument(
        "--sort",
        default="facts",
        choices=("facts", "name", "difference"),
        help="order of the rows: as facts are listed, by name, largest difference first",
    )
    parser.add_argument(
        "--against",
        default="A",
        metavar="LETTER",
        help="column the others are taken against (default A)",
    )
    parser.add_argument(
        "--fact",
        action="append",
        default=[],
        metavar="NAME",
        help="this fact or curve only; repeat for more",
    )
    add_archive(parser)
    parser.add_argument("--json", action="store_true", help="print the comparison as JSON")
    parser.add_argument("--html", metavar="FILE", help="write the page with curves")


def run(args: argparse.Namespace) -> int:
    """Print the comparison; return the exit status."""
    import json

    from probe.cli.output import check_file, write_one
    from probe.cli.progress import counted_progress
    from probe.cli.source import facts_of
    from probe.compare.compare import compare, items_of
    from probe.report import render_comparison, render_comparison_text

    check_file(args.html, "--html")
    show = counted_progress("reading") or (lambda *_: None)
    named = []
    for at, source in enumerate(args.sources):
        show(at, len(args.sources), source)
        named.append((source, facts_of(source, args.archive)))
    show(len(args.sources), len(args.sources), "")
    items = items_of(named, args.side)
    reference = _reference(args.against, len(items))
    found = compare(items, reference=reference, order=args.sort, facts=args.fact)
    document = found.to_json()
    if args.html is not None:
        written = write_one(args.html, render_comparison(document))
    if args.json:
        print(json.dumps(document, indent=1, allow_nan=False, ensure_ascii=False))
    else:
        print(render_comparison_text(document), end="")
        if args.html is not None:
            print(f"written: {written}")
    return 0


def _reference(letter: str, columns: int) -> int:
    """Return the position of a column by its letter."""
    from probe.errors import BadInput
    from probe.formats.text import quoted

    letters = "ABCDEFGHIJKL"[:columns]
    if len(letter) != 1 or letter.upper() not in letters:
        raise BadInput(f"--against {quoted(letter, 20)}: the columns are {', '.join(letters)}")
    return letters.index(letter.upper())
