"""``probe verify SOURCE SPECIFICATION.toml``: a maker's figures against what was measured."""

from __future__ import annotations

import argparse

from probe.cli.source import SOURCE_HELP, add_archive

NOT_SOUND = 1


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("source", nargs="?", metavar="SOURCE", help=SOURCE_HELP)
    parser.add_argument(
        "specification", nargs="?", metavar="SPECIFICATION.toml", help="what the maker states"
    )
    parser.add_argument(
        "--before", metavar="SOURCE", help="an earlier look, before a repair: shown beside"
    )
    parser.add_argument(
        "--side", choices=("left", "right", "mono"), help="judge this side only (default: all)"
    )
    parser.add_argument(
        "--risk",
        type=float,
        default=2.5,
        metavar="PERCENT",
        help="risk agreed on of a wrong decision on a line (default 2.5)",
    )
    add_archive(parser)
    parser.add_argument("--json", action="store_true", help="print the verification as JSON")
    parser.add_argument("--html", metavar="FILE", help="write the page to print and sign")
    parser.add_argument(
        "--template", action="store_true", help="print a commented specification and stop"
    )


def run(args: argparse.Namespace) -> int:
    """Print the verification; return 0, or 1 where a line fails or a fault is found."""
    from probe.errors import BadInput

    if args.template:
        from probe.verify import TEMPLATE

        print(TEMPLATE, end="")
        return 0
    if args.source is None or args.specification is None:
        raise BadInput(
            "verify: a measured device and a specification file are needed; "
            "probe verify --template prints a specification to fill in"
        )
    if not 0.01 <= args.risk < 50.0:
        raise BadInput(f"--risk {args.risk:g}: allowed are 0.01 to below 50 (percent)")
    return _verify(args)


def _verify(args: argparse.Namespace) -> int:
    import json

    from probe.cli.output import check_file, write_one
    from probe.cli.source import facts_of, with_side
    from probe.errors import BadInput
    from probe.report import render_verification, render_verification_text
    from probe.verify import read_specification, verify

    check_file(args.html, "--html")
    specification = read_specification(args.specification)
    facts = with_side(facts_of(args.source, args.archive), args.side)
    if not facts["sides"]:
        raise BadInput("verify: these facts hold no measured side, so nothing can be judged")
    before = None if args.before is None else facts_of(args.before, args.archive)
    sides = None if args.side is None else [args.side]
    found = verify(facts, specification, before=before, risk=args.risk / 100.0, sides=sides)
    document = found.to_json()
    if args.html is not None:
        written = write_one(args.html, render_verification(document))
    if args.json:
        print(json.dumps(document, indent=1, allow_nan=False, ensure_ascii=False))
    else:
        print(render_verification_text(document), end="")
        if args.html is not None:
            print(f"written: {written}")
    return 0 if found.sound else NOT_SOUND
