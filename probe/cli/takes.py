"""``probe takes``: a list of takes to print, with wiring, cautions, boxes and blanks."""

from __future__ import annotations

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    look = parser.add_mutually_exclusive_group()
    look.add_argument(
        "--html", action="store_true", help="a page for print: a block a take, several sheets"
    )
    look.add_argument("--text", action="store_true", help="plain text, 78 columns (default)")
    parser.add_argument("--kit", metavar="FILE", help="kit to use; default: the remembered one")
    parser.add_argument("--out", metavar="FILE", help="write here instead of printing")
    parser.add_argument("--side", choices=("left", "right", "both", "mono"), default="left")
    parser.add_argument("--no-rca", action="store_true", help="the device has no RCA output")
    parser.add_argument("--minimum-load", type=float, metavar="OHM", help="what the maker allows")
    parser.add_argument("--valve", action="store_true", help="valves drive the output")
    parser.add_argument("--player", action="store_true", help="the device plays files itself")


def run(args: argparse.Namespace) -> int:
    """Print or write the list; return the exit status."""
    from probe.bench.planned.able import Setting
    from probe.bench.planned.kit import usual
    from probe.bench.shown import takelist
    from probe.cli.calibrate import kit_of
    from probe.cli.output import check_file, write_one
    from probe.errors import BadInput
    from probe.session.model import Device, Side

    check_file(args.out, "--out")
    if args.minimum_load is not None and not 1.0 <= args.minimum_load <= 1e7:
        raise BadInput(f"--minimum-load {args.minimum_load:g}: 1 to 1e7 ohm can be meant")
    device = Device(
        maker="",
        model="",
        connectors=("xlr",) if args.no_rca else ("xlr", "rca"),
        minimum_load_ohm=args.minimum_load,
    )
    setting = Setting(
        device, kit_of(args) or usual(), "left", valve=args.valve, plays_files=args.player
    )
    sides: tuple[Side, ...] = ("left", "right") if args.side == "both" else (args.side,)
    takes = takelist.take_list(takelist.side_settings(setting, sides))
    shown = takelist.html(takes) if args.html else takelist.text(takes)
    if args.out is None:
        print(shown, end="")
    else:
        print(write_one(args.out, shown))
    return 0
