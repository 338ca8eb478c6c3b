"""``probe measure [FOLDER]``: the guided run, from an unplugged device to a session."""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from typing import Any

    from probe.bench.guided.equipment import Equipment
    from probe.cli.dialogue import PlainDialogue, RichDialogue
    from probe.session.model import Side


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "folder", nargs="?", metavar="FOLDER", help="session folder: new, or to be continued"
    )
    parser.add_argument("--kit", metavar="FILE", help="kit to use (default: the remembered one)")
    parser.add_argument(
        "--plain",
        action="store_true",
        help="plain lines for a screen reader, without drawing",
    )
    parser.add_argument(
        "--answers", metavar="FILE", help="TOML with answers by question; others take the default"
    )
    parser.add_argument(
        "--seconds", type=float, default=3.0, metavar="S", help="length of a take (default 3)"
    )
    parser.add_argument(
        "--rate", type=int, default=48000, metavar="HZ", help="of --virtual (default 48000)"
    )
    parser.add_argument(
        "--tone-level",
        action="append",
        metavar="V",
        help="level of the output in takes of one tone, rms: what a data sheet states its "
        "distortion at (2V; of one output alone: xlr=2V, rca=1V; may be given again; default: the "
        "peak of all tones together)",
    )
    parser.add_argument(
        "--maximum",
        action="store_true",
        help="drive the outputs until they clip, too: a stress; nothing that amplifies connected",
    )
    parser.add_argument("--bench", metavar="FILE", help="figures of the interface (bench.toml)")
    virtual = parser.add_argument_group("without hardware")
    virtual.add_argument(
        "--virtual", metavar="CIRCUIT", help="a simulated device: a circuit's name or a stage.toml"
    )
    virtual.add_argument(
        "--mishap",
        action="append",
        default=[],
        metavar="NAME[@TAKE]",
        help="something that goes wrong there; --mishap list lists them",
    )
    virtual.add_argument("--fast", action="store_true", help="faster than real time")
    virtual.add_argument("--seed", type=int, default=1, help="of everything that is drawn")
    virtual.add_argument(
        "--sides", choices=("left", "right", "both", "mono"), default="left", help="of the device"
    )
    virtual.add_argument("--inputs", type=int, default=2, help="recorder inputs (default 2)")


def run(args: argparse.Namespace) -> int:
    """Guide through a session; return the exit status."""
    from pathlib import Path

    from probe.bench.guided.guide import Guide
    from probe.errors import BadInput

    if args.mishap == ["list"]:
        from probe.bench.virtual.mishaps import listing

        print(listing())
        return 0
    if args.folder is None:
        raise BadInput("measure: a folder for the session is needed, new or to be continued")
    if not 1.0 <= args.seconds <= 600.0:
        raise BadInput(f"--seconds {args.seconds:g}: allowed are 1 to 600")
    tone_volts = _tone_levels(args.tone_level or ())
    equipment = _virtual(args) if args.virtual else _real(args)
    equipment.options, equipment.tone_volts = _again(args), tone_volts
    equipment.maximum = args.maximum
    talk = _dialogue(args)
    done = Guide(talk, Path(args.folder), equipment).run()
    never = talk.never_asked()
    if never:
        talk.say(f"Of --answers never asked, so without effect: {', '.join(sorted(never))}.")
    return 0 if done else 3


LEAST_TONE, MOST_TONE = 0.01, 30.0
"""V rms that a line output is measured at; beyond, a unit was mistaken."""


OUTPUTS = {"xlr": "differential", "rca": "single_ended"}
"""What --tone-level calls the outputs, and what facts call them."""


def _tone_levels(typed: Sequence[str]) -> dict[str, float]:
    """Return V rms by output: one level for both, or ``xlr=2V``, ``rca=1V``, which count before it.

    The same output twice is refused.
    """
    from probe.errors import BadInput

    found: dict[str, float] = {}
    for text in typed:
        word, apart, level = text.partition("=")
        name = word.strip().lower() if apart else ""
        if apart and name not in OUTPUTS:
            raise BadInput(f'--tone-level "{text}": allowed are xlr=... and rca=..., as rca=1V')
        if name in found:
            raise BadInput(f'--tone-level "{text}": {name or "a level for both"} is given twice')
        found[name] = _tone_volts(level if apart else text)
    levels = {output: found.get(name, found.get("")) for name, output in OUTPUTS.items()}
    return {output: level for output, level in levels.items() if level is not None}


def _tone_volts(text: str) -> float:
    from probe.errors import BadInput
    from probe.formats.quantity import typed_quantity

    found = typed_quantity(text, "V")
    if found is None or not LEAST_TONE <= found.value <= MOST_TONE:
        raise BadInput(
            f'--tone-level "{text}": allowed are {LEAST_TONE:g} to {MOST_TONE:g} V rms, as 2V'
        )
    return found.value


def _again(args: argparse.Namespace) -> str:
    """Return the options given, as they are typed to go on with the session."""
    import shlex

    usual = {"seconds": 3.0, "rate": 48000, "seed": 1, "sides": "left", "inputs": 2, "mishap": []}
    found: list[str] = []
    for name in (
        "virtual",
        "kit",
        "bench",
        "tone_level",
        "maximum",
        *usual,
        "answers",
        "fast",
        "plain",
    ):
        value = getattr(args, name)
        if value is None or value is False or value == usual.get(name):
            continue
        values = value if isinstance(value, list) else [value]
        for one in values:
            text = f"{one:g}" if isinstance(one, float) else str(one)
            option = f"--{name.replace('_', '-')}"
            found += [option] if one is True else [option, shlex.quote(text)]
    return "".join(f" {word}" for word in found)


def _dialogue(args: argparse.Namespace) -> PlainDialogue | RichDialogue:
    from probe.cli.dialogue import PlainDialogue, RichDialogue

    answers = None if args.answers is None else _answers(args.answers)
    return PlainDialogue(answers) if args.plain else RichDialogue(answers)


def _answers(name: str) -> dict[str, Any]:
    """Return the answers of a file; ``-`` takes the default everywhere."""
    import tomllib
    from pathlib import Path

    from probe.errors import BadInput
    from probe.formats.toml import read_bytes

    if name == "-":
        return {}
    try:
        return tomllib.loads(read_bytes(Path(name)).decode("utf-8"))
    except ValueError as error:
        raise BadInput(f"{name}: damaged TOML: {error}") from error


def _kit(args: argparse.Namespace) -> Any:
    from pathlib import Path

    from probe.bench.planned.kit import read_kit, remembered

    return read_kit(Path(args.kit)) if args.kit else remembered()


def _virtual(args: argparse.Namespace) -> Equipment:
    from probe.bench.planned.kit import usual
    from probe.bench.virtual.equipment import virtual_equipment
    from probe.bench.virtual.mishaps import mishap

    sides: dict[str, tuple[Side, ...]] = {"both": ("left", "right")}
    return virtual_equipment(
        args.virtual,
        kit=_kit(args) or usual(),
        mishaps=[mishap(word) for word in args.mishap],
        fast=args.fast,
        seed=args.seed,
        sides=sides.get(args.sides, (args.sides,)),
        inputs=args.inputs,
        rate=args.rate,
        seconds=args.seconds,
    )


def _real(args: argparse.Namespace) -> Equipment:
    from probe.errors import BadInput

    for name, given in (("--mishap", args.mishap), ("--fast", args.fast)):
        if given:
            raise BadInput(f"{name} belongs to --virtual: real devices have their own")
    from probe.bench.guided.real import real_equipment

    return real_equipment(_path(args.bench), kit=_kit(args), seconds=args.seconds)


def _path(name: str | None) -> Path | None:
    from pathlib import Path

    return None if name is None else Path(name)
