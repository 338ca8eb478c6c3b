"""``probe kit [FILE]``: what is at hand, declared once."""

from __future__ import annotations

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("file", nargs="?", metavar="FILE", help="kit to check and remember")
    parser.add_argument(
        "--template", action="store_true", help="print a commented kit file and stop"
    )


def run(args: argparse.Namespace) -> int:
    """Print the template, remember a kit, or say what the remembered one can find out."""
    from pathlib import Path

    from probe.bench.planned.kit import TEMPLATE, kit_place, remember, remembered
    from probe.errors import BadInput

    if args.template:
        print(TEMPLATE, end="")
        return 0
    if args.file is not None:
        place = remember(Path(args.file))
        print(f"remembered: {place}")
    kit = remembered()
    if kit is None:
        raise BadInput(
            f"no kit is remembered ({kit_place()}); probe kit --template > kit.toml, change it, "
            "then probe kit kit.toml"
        )
    from probe.bench.planned.learn import told

    print(told(kit), end="")
    return 0
