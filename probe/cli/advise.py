"""``probe advise SESSION_OR_FACTS DESTINATION.toml``: how to connect the measured device."""

from __future__ import annotations

import argparse

from probe.cli.source import SOURCE_HELP, add_archive

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "subject",
        nargs="?",
        metavar="SESSION_OR_FACTS",
        help=SOURCE_HELP,
    )
    parser.add_argument(
        "destination", nargs="?", metavar="DESTINATION.toml", help="what the lead goes to"
    )
    add_archive(parser)
    parser.add_argument("--json", action="store_true", help="print the advice as JSON")
    parser.add_argument(
        "--template", action="store_true", help="print a commented destination file and stop"
    )


def run(args: argparse.Namespace) -> int:
    """Print the advice; return the exit status."""
    from pathlib import Path

    from probe.errors import BadInput

    if args.template:
        from probe.advice.destination_template import TEMPLATE

        print(TEMPLATE, end="")
        return 0
    if args.subject is None or args.destination is None:
        raise BadInput(
            "advise: a session or facts file and a destination file are needed; "
            "probe advise --template prints a destination to fill in"
        )
    _advise(args.subject, args.archive, Path(args.destination), as_json=args.json)
    return 0


def _advise(subject: str, archive: str | None, destination_path: Path, *, as_json: bool) -> None:
    import json

    from probe.advice.advise import advise
    from probe.advice.destination import read_destination
    from probe.advice.text import render
    from probe.cli.source import facts_of, sources_of

    destination = read_destination(destination_path)
    facts = facts_of(subject, archive)
    advice = advise(facts, sources_of(facts), destination)
    if as_json:
        print(json.dumps(advice.to_json(), indent=1, allow_nan=False, ensure_ascii=False))
    else:
        print(render(advice), end="")
