"""``probe check``: one take with the reference resistor, before a session."""

from __future__ import annotations

import argparse

from probe.cli.calibrate import add_parts, kit_of

TYPE_CHECKING = False
if TYPE_CHECKING:
    from probe.bench.calibration.figures import BenchFigures

NOT_AS_CALIBRATED = 1
"""Exit status where something was moved."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--bench", metavar="FILE", help="calibration to check against; default: the one kept here"
    )
    add_parts(parser)
    parser.add_argument("--reference", metavar="OHM", help="reference resistor, or OHM,PERCENT")
    parser.add_argument("--gain", default="", metavar="WORDS", help="of the calibration kept here")
    parser.add_argument("--leads", default="", metavar="WORDS", help="of the calibration kept here")
    parser.add_argument(
        "--both", action="store_true", help="there are two injectors, one for each input"
    )


def run(args: argparse.Namespace) -> int:
    """Check; return 0 if all is as calibrated, else 1."""
    from probe.bench.calibration.check import check
    from probe.bench.calibration.opened import opened
    from probe.bench.calibration.wanted import Options, check_parts
    from probe.bench.calibration.words import check_shown
    from probe.cli.desk import Terminal

    options = Options(series=args.series, reference=args.reference)
    parts, assumed = check_parts(options, kit_of(args), both=args.both)
    figures = None if args.bench is None else _read(args.bench)
    with opened(practice=args.practice, rate=None) as bench:
        known = figures or _kept(bench.interface, args.gain, args.leads, args.practice)
        for line in assumed:
            print(line)
        result = check(bench.player, Terminal(bench.practice), known, parts)
    print(check_shown(result), end="")
    return 0 if result.fine else NOT_AS_CALIBRATED


def _read(name: str) -> BenchFigures:
    from pathlib import Path

    from probe.bench.calibration.document import read_bench

    return read_bench(Path(name))


def _kept(interface: str, gain: str, leads: str, practice: bool) -> BenchFigures:
    from probe.bench.calibration import store
    from probe.errors import BadInput
    from probe.formats.text import quoted

    found = store.remembered(interface, gain, leads)
    if found is None:
        command = "probe calibrate --practice" if practice else "probe calibrate"
        raise BadInput(
            f"check: no calibration of {quoted(interface)} is kept here for this gain and these "
            f"leads; run {command} once, or name a file with --bench"
        )
    return found
