"""``probe shelf``: templates of the dealer's parts file, and the transformers of the library."""

from __future__ import annotations

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("shelf", nargs="?", metavar="SHELF.toml", help="a file of parts to check")
    parser.add_argument("--template", action="store_true", help="print a commented shelf file")
    parser.add_argument(
        "--transformers", action="store_true", help="list the transformers of the library"
    )
    parser.add_argument(
        "--transformer-template", action="store_true", help="print a commented transformer file"
    )


def run(args: argparse.Namespace) -> int:
    """Print what was asked for; return the exit status."""
    from probe.advice import transformers

    if args.template:
        from probe.advice.shelf import TEMPLATE

        print(TEMPLATE, end="")
    elif args.shelf is not None:
        from pathlib import Path

        from probe.advice.shelf import listed, read_shelf

        print(listed(read_shelf(Path(args.shelf))), end="")
    elif args.transformers:
        print(transformers.listed(), end="")
    elif args.transformer_template:
        print(transformers.TEMPLATE, end="")
    else:
        from probe.errors import BadInput

        raise BadInput(
            "shelf: give a file of parts to check, or --template, --transformers, "
            "--transformer-template"
        )
    return 0
