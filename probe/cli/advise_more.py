"""What ``probe advise`` does besides: parts from a shelf, the customer's page, what if."""

from __future__ import annotations

import argparse

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path
    from typing import Any

    from probe.advice.basket import Lists
    from probe.advice.destination import Destination
    from probe.advice.model import Advice
    from probe.advice.shelf import Shelf
    from probe.advice.vary import Axis, Sweep


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what these take."""
    parser.add_argument("--shelf", metavar="FILE", help="pick the parts from this shelf file")
    parser.add_argument(
        "--system-price", type=float, metavar="PRICE", help="set the parts' price beside this one"
    )
    parser.add_argument("--transformer", metavar="NAME", help="of the library, or a file of data")
    parser.add_argument(
        "--attenuate",
        type=float,
        metavar="DB",
        help="an attenuator of so many dB in the plug of every box",
    )
    parser.add_argument("--page", metavar="FILE", help="write the half page for the customer")
    for name, what in (("customer", "whose page it is"), ("dealer", "who gives it"),
                       ("date", "the day")):  # fmt: skip
        parser.add_argument(
            f"--{name}", metavar="TEXT", default="",
            help=f"{what}, at the head of the page; without it a line for the pen",
        )  # fmt: skip
    parser.add_argument(
        "--vary",
        metavar="WHAT",
        help="see where the choice flips: cable-length=1..50, receiver-impedance=1k..100k, "
        "volume=-40..0, ground=0..500, kind",
    )


def read(args: argparse.Namespace) -> More:
    """Read and check what was asked for, before anything long is done.

    Raises
    ------
    BadInput
        A file or figure is not what it should be.
    """
    from pathlib import Path

    from probe.cli.output import check_file
    from probe.errors import BadInput

    shelf = None
    if args.shelf is not None:
        from probe.advice.shelf import read_shelf

        shelf = read_shelf(Path(args.shelf))
    if args.system_price is not None and (shelf is None or not 0.0 < args.system_price < 1e9):
        raise BadInput("--system-price: a price above 0 beside --shelf is needed")
    check_file(args.page, "--page")
    if args.page is None and (args.customer or args.dealer or args.date):
        raise BadInput("--customer, --dealer and --date stand on the page: --page FILE is needed")
    _check_heading(args)
    axis = None
    if args.vary is not None:
        from probe.advice.vary import read_axis

        axis = read_axis(args.vary)
    return More(args, shelf, axis)


def _check_heading(args: argparse.Namespace) -> None:
    """Refuse what would be cut off at the head of the page."""
    from probe.errors import BadInput
    from probe.report.text import NAME_LIMIT

    for name in ("customer", "dealer", "date"):
        if (length := len(getattr(args, name))) > NAME_LIMIT:
            raise BadInput(
                f"--{name}: {length} characters; at most {NAME_LIMIT} go on its line of the page"
            )


class More:
    """What was asked for, and what came of it."""

    def __init__(self, args: argparse.Namespace, shelf: Shelf | None, axis: Axis | None) -> None:
        from probe.advice.memory import Memories

        self._args, self._shelf, self._axis = args, shelf, axis
        self.memories = Memories()
        """What is solved for one part of the work serves the others."""
        self._lists: Lists | None = None
        self._alike: tuple[tuple[str, ...], ...] = ()
        self._sweep: Sweep | None = None
        self._written: list[Path] = []

    def fit(self, destination: Destination) -> Destination:
        """Return the destination with the parts that are at hand."""
        from dataclasses import replace

        from probe.advice.attenuator import MOST_DB
        from probe.errors import BadInput

        if self._args.transformer is not None:
            from probe.advice.transformers import find_transformer

            part = find_transformer(self._args.transformer)
            destination = destination.with_transformer(part)
        if self._args.attenuate is not None:
            if not 1.0 <= self._args.attenuate <= MOST_DB:
                raise BadInput(
                    f"--attenuate: {self._args.attenuate:g} dB; 1 to {MOST_DB:g} is allowed"
                )
            bare = tuple(replace(s, attenuation_db=None) for s in destination.inputs)
            destination = replace(destination, inputs=bare, attenuation_db=self._args.attenuate)
        if self._shelf is not None:
            from probe.advice.basket import with_shelf_parts

            destination = with_shelf_parts(destination, self._shelf)
        return destination

    def advised(
        self, facts: Mapping[str, Any], sources: Mapping[str, Any], destination: Destination,
        told: Callable[[int, int, str], None],
    ) -> tuple[Advice, Destination]:  # fmt: skip
        """Return the advice, and the destination with the leads that ways work with alone."""
        from probe.advice.advise import advise_from

        return advise_from(self._shelf, facts, sources, destination, told, self.memories)

    def picked(
        self, advice: Advice, destination: Destination, facts: Mapping[str, Any],
        sources: Mapping[str, Any], told: Callable[[int, int, str], None],
    ) -> Advice:  # fmt: skip
        """Pick from the shelf; return the advice with the figures of the leads that are taken."""
        if self._shelf is None:
            return advice
        from probe.advice.from_shelf import from_shelf
        from probe.advice.text import alike_boxes

        def looking(count: int, box: str) -> None:
            told(1, 2, f"what is taken from the shelf (lead {count}, {box})")

        advice, self._lists = from_shelf(
            advice, facts, sources, destination, self._shelf, self._args.system_price,
            self.memories, looking,
        )  # fmt: skip
        self._alike = alike_boxes(advice)
        return advice

    def document(
        self, advice: Advice, destination: Destination, facts: Mapping[str, Any],
        sources: Mapping[str, Any],
    ) -> dict[str, Any]:  # fmt: skip
        """Return the advice as plain values, with what was asked for besides."""
        document = advice.to_json()
        if self._lists is not None:
            from probe.advice.in_all import all_in_all

            document["shelf"] = [basket.to_json() for basket in self._lists.own]
            if whole := all_in_all(self._lists.own, self._lists.branches):
                document["shelf_total"] = list(whole)
        if self._axis is not None:
            from probe.advice.vary import sweep

            self._sweep = sweep(self._axis, facts, sources, destination, _trying)
            _trying(None)
            document["vary"] = self._sweep.to_json()
        return document

    def text(self) -> str:
        """Return what is printed after the advice."""
        lines = self._taken()
        if self._sweep is not None:
            lines += ["", *self._sweep.lines()]
        if self._args.page is not None:
            lines += ["", f"written: {self._args.page}"]
        return "".join(f"{line}\n" for line in lines)

    def _taken(self) -> list[str]:
        """Return what is taken from the shelf, and where boxes take different things the sum."""
        from probe.advice.basket_together import in_groups, ordered_again
        from probe.advice.in_all import all_in_all
        from probe.advice.text import bullets

        if self._shelf is None or self._lists is None or not self._lists.own:
            return []
        shown = in_groups(self._lists.own, self._alike, self._shelf)
        told = [b.says if self._args.details else b.briefly for _, b in shown]
        instead = [[b.instead.says] if b.instead else [] for _, b in shown]
        says = [[*list_, *more] for list_, more in zip(told, instead, strict=True)]
        if len(shown) == 1:
            return ["", "From the shelf", *bullets(says[0])]
        lists = [f"{who}: {'; '.join(told)}" for (who, _), told in zip(shown, says, strict=True)]
        whole = all_in_all(self._lists.own, self._lists.branches)
        again = ordered_again([basket for _, basket in shown])
        orders = [told for told in whole[1:] if any(told.endswith(name) for name in again)]
        lists += [f"all in all {told}" for told in whole[:1]] + orders
        return ["", "From the shelf", *bullets(lists)]

    def page(self, document: Mapping[str, Any]) -> str:
        """Return the page of `--page`."""
        from probe.report import render_leaflet
        from probe.report.leaflet import Heading

        heading = Heading(self._args.customer, self._args.dealer, self._args.date)
        return render_leaflet(document, heading)


def _trying(value: float | None) -> None:
    """Show on a terminal what is being tried; None takes the line away."""
    import sys

    if sys.stderr.isatty():
        text = "" if value is None else f"trying {value:.4g}"
        print(f"\r{text:<24}", end="" if value is not None else "\r", file=sys.stderr, flush=True)
