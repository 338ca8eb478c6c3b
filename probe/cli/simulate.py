"""``probe simulate STAGE.toml OUT``: a session of takes from a circuit."""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("stage", nargs="?", metavar="STAGE.toml", help="circuit, bench and takes")
    parser.add_argument("out", nargs="?", metavar="OUT", help="session folder to be made")
    other = parser.add_mutually_exclusive_group()
    other.add_argument("--list", action="store_true", help="list the circuits and stop")
    other.add_argument(
        "--template", action="store_true", help="print a commented stage file and stop"
    )
    other.add_argument(
        "--rebuild",
        metavar="FOLDER",
        help="make every session in FOLDER anew from the stage.toml it holds",
    )


def run(args: argparse.Namespace) -> int:
    """Make the session; return the exit status."""
    from pathlib import Path

    from probe.errors import BadInput

    special = args.list or args.template or args.rebuild is not None
    if special and args.stage is not None:
        raise BadInput("simulate: --list, --template and --rebuild stand alone, without STAGE.toml")
    if args.template:
        from probe.simulate.template import TEMPLATE

        print(TEMPLATE, end="")
    elif args.list:
        from probe.simulate.library import listing

        print(listing())
    elif args.rebuild is not None:
        from probe.simulate.write import rebuild

        for folder in rebuild(Path(args.rebuild)):
            print(folder)
    else:
        if args.stage is None or args.out is None:
            raise BadInput(
                "simulate: a stage file and the folder to be made are needed; "
                "probe simulate --template prints a stage to start from"
            )
        _simulate(Path(args.stage), Path(args.out))
        print(args.out)
    return 0


def _simulate(stage: Path, out: Path) -> None:
    from probe.simulate.build import read_stage
    from probe.simulate.write import simulate

    simulate(read_stage(stage), out)
