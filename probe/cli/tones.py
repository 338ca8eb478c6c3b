"""``probe tones KIND FILE``: a sound file of the bench's tones, for any player."""

from __future__ import annotations

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "kind",
        metavar="KIND",
        choices=("multitone", "tone", "inject", "level-steps", "sweep", "silence"),
        help="multitone, tone, inject (the tones that are injected), level-steps, sweep or silence",
    )
    parser.add_argument("file", metavar="FILE", help="to be made: .wav or .flac")
    parser.add_argument("--rate", type=int, default=48000, metavar="HZ", help="default 48000")
    parser.add_argument("--bits", choices=("16", "24", "float"), default="24", help="default 24")
    parser.add_argument("--channels", type=int, choices=(1, 2), default=1, help="alike; default 1")
    parser.add_argument(
        "--peak", type=float, default=-6.0, metavar="DBFS", help="of the whole sum; default -6"
    )
    parser.add_argument(
        "--level", type=float, metavar="DBFS", help="of each tone, instead of --peak"
    )
    parser.add_argument("--tones", metavar="HZ,HZ,...", help="other tones than the usual ones")
    parser.add_argument(
        "--seconds", type=float, help="length; default 10, of a sweep 10, of silence 60"
    )
    parser.add_argument(
        "--period",
        type=float,
        default=10.0,
        metavar="S",
        help="of multitones: each tone fills it with whole cycles; default 10",
    )
    parser.add_argument(
        "--loop", action="store_true", help="whole periods only, to be repeated by the player"
    )
    parser.add_argument("--step", type=float, default=1.0, metavar="S", help="of level-steps")
    parser.add_argument(
        "--sweep", default="20,20000", metavar="HZ,HZ", help="from, to; default 20,20000"
    )
    parser.add_argument("--replace", action="store_true", help="write over files that exist")


def run(args: argparse.Namespace) -> int:
    """Write the file and its TOML; return the exit status."""
    from pathlib import Path

    from probe.bench.tones.files import Layout, write_tones
    from probe.bench.tones.request import Request, make, numbers

    sweep = numbers(args.sweep, "--sweep", 2)
    made = make(
        Request(
            kind=args.kind,
            rate=args.rate,
            hz=None if args.tones is None else numbers(args.tones, "--tones"),
            period_s=args.period,
            seconds=args.seconds,
            peak_dbfs=args.peak,
            tone_dbfs=args.level,
            loop=args.loop,
            step_s=args.step,
            sweep_hz=(sweep[0], sweep[1]),
        )
    )
    path = Path(args.file)
    beside = write_tones(made, path, Layout(args.bits, args.channels), replace=args.replace)
    for line in made.told:
        print(line)
    print(path)
    print(beside)
    return 0
