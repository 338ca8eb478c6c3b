"""``probe advise SOURCE DESTINATION...``: how to connect the measured device."""

from __future__ import annotations

import argparse

from probe.cli import advise_more
from probe.cli.source import SOURCE_HELP, add_archive

TYPE_CHECKING = False
if TYPE_CHECKING:
    from probe.advice.destination import Destination

SOURCES = f"{SOURCE_HELP}; or a source typed from a data sheet"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "subject",
        nargs="?",
        metavar="SOURCE",
        help=SOURCES,
    )
    parser.add_argument(
        "destination",
        nargs="*",
        metavar="DESTINATION",
        help="what the leads go to: files, or typed as rca:47k:1.5V or xlr:20k/leg:2V "
        "(inputs of one box joined with +); several hang on the device at once",
    )
    parser.add_argument("--to", action="append", default=[], metavar="DESTINATION",
                        help="one more destination")  # fmt: skip
    parser.add_argument("--ground", metavar="WORD", help="how the boxes are earthed, in place of "
                        "what the files say: see --grounds; or 20mV/100ohm")  # fmt: skip
    parser.add_argument("--mains", metavar="MAINS", help="of the place it plays in, as 120V/60Hz: "
                        "some situations of --grounds rest on them")  # fmt: skip
    parser.add_argument("--cable", metavar="LENGTH", help="length of the leads, for example 5m")
    parser.add_argument("--level", metavar="VOLTS", help="the most that is ever played")
    parser.add_argument("--gain", metavar="DB", help="wanted loudness against the RCA link")
    add_archive(parser)
    parser.add_argument("--details", action="store_true", help="say of every way why it cannot "
                        "be judged yet, and what would settle it")  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print the advice as JSON")
    parser.add_argument("--html", metavar="FILE", help="write the advice as a page, too")
    advise_more.add_arguments(parser)
    parser.add_argument(
        "--template", action="store_true", help="print a commented destination file and stop"
    )
    parser.add_argument(
        "--source-template", action="store_true", help="print a commented source file and stop"
    )
    parser.add_argument(
        "--grounds", action="store_true", help="list the situations that --ground knows and stop"
    )


def run(args: argparse.Namespace) -> int:
    """Print the advice; return the exit status."""
    from probe.errors import BadInput

    asked = _asked(args)
    if asked is not None:
        print(asked, end="")
        return 0
    destinations = [*args.destination, *args.to]
    if args.subject is None or not destinations:
        raise BadInput(
            "advise: a session, facts or source file and a destination are needed; "
            "probe advise --template prints a destination to fill in, or type rca:47k:1.5V"
        )
    _advise(args, destinations)
    return 0


def _asked(args: argparse.Namespace) -> str | None:
    """Return the text of a template or list that was asked for."""
    if args.template:
        from probe.advice.destination_template import TEMPLATE

        return TEMPLATE
    if args.source_template:
        from probe.advice.source_file import TEMPLATE as SOURCE

        return SOURCE
    if args.grounds:
        from probe.advice.ground import describe

        return describe()
    return None


def _advise(args: argparse.Namespace, named: list[str]) -> None:
    import json
    from pathlib import Path

    from probe.advice.destination import MAINS_HZ, together
    from probe.advice.ground import MAINS_VOLTS
    from probe.advice.source_file import is_source, read_source, says_what_it_is
    from probe.advice.subject import mains_of, mains_volts_of, playing_at
    from probe.advice.text import render
    from probe.cli.output import check_file, write_all
    from probe.cli.progress import counted_progress
    from probe.cli.source import facts_of, sources_of
    from probe.formats.mains import typed_mains
    from probe.report import render_html

    # a slip in a destination is told before a long session is analysed
    check_file(args.html, "--html")
    more = advise_more.read(args)
    for one in named:
        _destination(one, (MAINS_HZ, MAINS_VOLTS), args)
    place = None if args.mains is None else typed_mains(args.mains)
    path = Path(args.subject)
    if is_source(path):
        facts, sources = read_source(path)
    else:
        says_what_it_is(path)
        facts = facts_of(args.subject, args.archive, SOURCES)
        sources = sources_of(facts)
    measured = facts
    facts = measured if place is None else playing_at(measured, place)
    mains = mains_of(facts), mains_volts_of(facts)
    destination = more.fit(together([_destination(o, mains, args) for o in named]))
    told = counted_progress("solving") or (lambda *_: None)
    advice, destination = more.advised(facts, sources, destination, told)
    advice = more.picked(advice, destination, facts, sources, told)
    told(2, 2, "")
    document = more.document(advice, destination, facts, sources)
    pages = {} if args.html is None else {args.html: render_html(measured, advice=document)}
    options = {} if args.html is None else {args.html: "--html"}
    if args.page is not None:
        pages[args.page], options[args.page] = more.page(document), "--page"
    write_all(pages, options)
    if args.json:
        print(json.dumps(document, indent=1, allow_nan=False, ensure_ascii=False))
    else:
        print(render(advice, details=args.details) + more.text(), end="")
        if args.html is not None:
            print(f"written: {args.html}")


def _destination(named: str, mains: tuple[float, float], args: argparse.Namespace) -> Destination:
    from pathlib import Path

    from probe.advice.destination import read_destination
    from probe.advice.typed import changed, looks_typed, typed_destination

    found = (
        typed_destination(named, *mains)
        if looks_typed(named)
        else read_destination(Path(named), *mains)
    )
    return changed(found, ground=args.ground, cable=args.cable, level=args.level, gain=args.gain)
