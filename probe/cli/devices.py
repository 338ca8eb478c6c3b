"""``probe devices``: the sound cards of this machine, and which one the bench uses."""

from __future__ import annotations

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--json", action="store_true", help="print the list for programs")
    parser.add_argument(
        "--choose", type=int, metavar="NUMBER", help="use this card on this machine from now on"
    )
    parser.add_argument("--rate", type=int, metavar="HZ", help="with --choose: sample rate")
    parser.add_argument(
        "--inputs", type=_channels, metavar="1,2", help="with --choose: input channels to use"
    )
    parser.add_argument(
        "--outputs", type=_channels, metavar="1,2", help="with --choose: output channels to use"
    )
    parser.add_argument(
        "--latency",
        choices=("low", "high"),
        help="with --choose: high where blocks are lost; a tone then stops later",
    )


def run(args: argparse.Namespace) -> int:
    """Print or choose; return the exit status."""
    import json

    from probe.bench.cards.devices import cards, chosen, remember
    from probe.bench.cards.devices_shown import chosen_entry, chosen_text, document, text
    from probe.bench.cards.portaudio import find_devices
    from probe.errors import BadInput

    more = (args.rate, args.inputs, args.outputs, args.latency)
    if args.choose is None and any(value is not None for value in more):
        raise BadInput("devices: --rate, --inputs, --outputs and --latency go with --choose")
    found = find_devices()
    listed = cards(found)
    if args.choose is None:
        now = chosen(found, missing_ok=True)
        print(json.dumps(document(listed, now), indent=1) if args.json else text(listed, now))
        return 0
    if not 1 <= args.choose <= len(listed):
        raise BadInput(
            f"devices: there is no card {args.choose}; "
            + (f"1 to {len(listed)}" if listed else "none")
        )
    kept = remember(
        listed[args.choose - 1],
        args.rate,
        input_channels=args.inputs,
        output_channels=args.outputs,
        latency=args.latency,
    )
    print(json.dumps(chosen_entry(kept), indent=1) if args.json else chosen_text(kept))
    return 0


def _channels(text: str) -> list[int]:
    try:
        return [int(part) for part in text.split(",")]
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is no list of channels, as 1,2') from None
