"""``probe calibrate``: the bench's own figures, by a guided calibration, as bench.toml."""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from probe.bench.calibration.wanted import Options
    from probe.bench.planned.kit import Kit


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--out", metavar="FILE", help="write here; default: kept on this machine")
    parser.add_argument(
        "--meter",
        metavar="ACCURACY",
        help="of the multimeter: 1%%+3 (percent, last digits), a class (basic, ordinary, good, "
        "bench), or none",
    )
    parser.add_argument(
        "--full-scale", metavar="V", help="without a meter: volts peak of input 1 by its data sheet"
    )
    add_parts(parser)
    parser.add_argument("--shunt", metavar="OHM", help="resistor across, or OHM,PERCENT")
    parser.add_argument("--gain", default="", metavar="WORDS", help="how the knobs stand")
    parser.add_argument("--leads", default="", metavar="WORDS", help="which leads")
    parser.add_argument("--mains", default="50Hz", metavar="MAINS",
                        help="default 50Hz; for advice with the voltage, as 120V/60Hz")  # fmt: skip
    parser.add_argument("--rate", type=int, metavar="HZ", help="default: as chosen for the card")
    parser.add_argument("--show", metavar="FILE", help="show the figures of a bench.toml and stop")
    parser.add_argument(
        "--template", action="store_true", help="print a commented bench.toml and stop"
    )


def add_parts(parser: argparse.ArgumentParser) -> None:
    """Declare what calibration and check share."""
    parser.add_argument("--series", metavar="OHM", help="injector resistor, or OHM,PERCENT")
    parser.add_argument("--kit", metavar="FILE", help="kit to use; default: the remembered one")
    parser.add_argument(
        "--practice", action="store_true", help="on an invented interface, without hardware"
    )


def run(args: argparse.Namespace) -> int:
    """Calibrate; return the exit status."""
    from pathlib import Path

    if args.template:
        from probe.bench.calibration.document import TEMPLATE

        print(TEMPLATE, end="")
        return 0
    if args.show is not None:
        from probe.bench.calibration.document import read_bench
        from probe.bench.calibration.words import bench_shown

        print(bench_shown(read_bench(Path(args.show))), end="")
        return 0
    return _calibrate(args)


def _calibrate(args: argparse.Namespace) -> int:
    from datetime import UTC, datetime
    from pathlib import Path

    from probe.bench.calibration import store
    from probe.bench.calibration.document import write_bench
    from probe.bench.calibration.opened import opened
    from probe.bench.calibration.run import calibrate
    from probe.bench.calibration.wanted import wanted
    from probe.bench.calibration.words import bench_shown
    from probe.cli.desk import Terminal
    from probe.cli.output import check_file

    check_file(args.out, "--out")
    kit = kit_of(args)
    options = _options(args)
    asked, assumed = wanted("", options, kit)
    for line in assumed:
        print(line)
    with opened(practice=args.practice, rate=args.rate) as bench:
        asked, _ = wanted(bench.interface, options, kit)
        today = datetime.now(UTC).date()
        figures = calibrate(bench.player, Terminal(bench.practice), asked, today)
    if args.out is None:
        path = store.keep(figures)
    else:
        path = Path(args.out)
        write_bench(figures, path)
    print()
    print(bench_shown(figures), end="")
    print(path)
    return 0


def kit_of(args: argparse.Namespace) -> Kit | None:
    """Return the kit named or remembered, or None."""
    from pathlib import Path

    from probe.bench.planned.kit import read_kit, remembered

    return read_kit(Path(args.kit)) if args.kit else remembered()


def _options(args: argparse.Namespace) -> Options:
    from probe.bench.calibration.wanted import Options

    return Options(
        series=args.series,
        shunt=args.shunt,
        meter=args.meter,
        full_scale=args.full_scale,
        gain=args.gain,
        leads=args.leads,
        mains=args.mains,
    )
