"""``probe draft FOLDER``: a first session.toml from recordings made elsewhere."""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from probe.bench.draft.text import Said


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("folder", metavar="FOLDER", help="recordings (and TOMLs of tone files)")
    parser.add_argument("--print", action="store_true", help="print it instead of writing it")
    parser.add_argument(
        "--likely", action="store_true", help="take likely answers, each with a remark, not asked"
    )
    parser.add_argument("--hot", type=int, metavar="CHANNEL", help="on pin 2 in most takes, from 1")
    parser.add_argument("--side", choices=("left", "right", "mono"), help="of all recordings")
    parser.add_argument("--maker")
    parser.add_argument("--model")
    parser.add_argument("--bench", metavar="FILE", help="figures of the recorder (bench.toml)")
    parser.add_argument("--mains", type=float, metavar="HZ")
    parser.add_argument("--kit", metavar="FILE", help="resistors used; default: the remembered kit")
    for place in ("leg", "across", "single-ended", "inject"):
        parser.add_argument(f"--{place}-ohm", metavar="OHM", help="resistor used, or OHM,PERCENT")
    parser.add_argument("--inject-volts", type=float, metavar="V", help="e.m.f. rms per tone")
    parser.add_argument("--inject-volts-off", type=float, metavar="V", help="same, device off")


def run(args: argparse.Namespace) -> int:
    """Write or print the draft; return the exit status."""
    from pathlib import Path

    from probe.bench.draft.draft import check_free, draft, write_draft
    from probe.bench.draft.options import channel_of
    from probe.cli.progress import counted_progress

    folder = Path(args.folder)
    if not args.print:
        check_free(folder)
    said, hot = _said(args), channel_of(args.hot)
    text, questions = draft(folder, said, hot=hot, told=counted_progress("listening to"))
    if args.print:
        print(text, end="")
        return 0
    place = write_draft(text, folder)
    print(f"{place}: drafted, with {questions} left in it")
    return 0


def _said(args: argparse.Namespace) -> Said:
    from pathlib import Path

    from probe.bench.calibration.document import read_bench
    from probe.bench.draft.options import parts_of, volts_of
    from probe.bench.draft.text import Said
    from probe.cli.calibrate import kit_of

    typed = {
        "leg": args.leg_ohm,
        "across": args.across_ohm,
        "single-ended": args.single_ended_ohm,
        "inject": args.inject_ohm,
    }
    loads, injector = parts_of(kit_of(args), typed)
    return Said(
        side=args.side,
        maker=args.maker,
        model=args.model,
        bench=None if args.bench is None else read_bench(Path(args.bench)),
        loads=loads,
        injector=injector,
        inject_volts=volts_of(args.inject_volts, "--inject-volts"),
        inject_volts_off=volts_of(args.inject_volts_off, "--inject-volts-off"),
        mains_hz=args.mains,
        likely=args.likely,
    )
