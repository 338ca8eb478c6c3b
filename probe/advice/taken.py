"""What one connection takes from a shelf, what it costs, and what several come to."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from probe.advice.destination import Cable
from probe.advice.leads import Piece
from probe.advice.shelf import Part, Shelf

SHORT_METRES = 1.5
"""A lead behind a transformer or an adapter is at most this long. [practice]"""


@dataclass(frozen=True)
class Taken:
    """A part for one piece of the chain; ``packages`` to buy for ``count`` of them."""

    piece: Piece
    part: Part
    count: int

    @property
    def packages(self) -> int:
        """How many to take from the shelf, after what is left of one that is paid for."""
        return math.ceil(max(self.count - self.part.loose, 0) / self.part.pieces)

    @property
    def price(self) -> float:
        """For all of them."""
        return self.packages * self.part.price

    @property
    def in_stock(self) -> bool:
        """Whether there are enough."""
        return self.part.stock >= self.packages

    @property
    def says(self) -> str:
        """How many of what, and whether they are there."""
        stock = f" (only {self.part.stock} in stock: order the rest)"
        if self.in_stock or not self.part.stock:
            stock = "" if self.in_stock else " (none in stock: order)"
        return f"{self._named}{stock}"

    @property
    def listed(self) -> str:
        """The same in a list of what is taken: what is not there at all is ordered."""
        if self.in_stock or self.part.stock:
            return self.says
        return f"order, {self._named} (none in stock)"

    @property
    def _named(self) -> str:
        of = f", {self.part.pieces} in a package" if self.part.pieces > 1 else ""
        left = min(self.count, self.part.loose)
        if not self.packages:
            return f"{left} of {self.part.name}: left of a package counted already"
        rest = f", and {left} left of a package counted already" if left else ""
        return f"{self.packages} x {self.part.name}{of}{rest}"


def ordered(piece: Piece, length_m: float) -> str:
    """Return what to order, with the length of a lead."""
    if piece.kind != "lead":
        return piece.says
    short = piece.place != "run"
    return f"{piece.says}, {f'at most {SHORT_METRES:g}' if short else f'{length_m:g}'} m"


def placed(piece: Piece, length_m: float) -> str:
    """Return in short what a piece is and where it goes."""
    if piece.kind == "lead":
        plug = "RCA" if piece.from_ == piece.to == "rca-male" else "XLR"
        if piece.place != "run":
            where = "at the device" if piece.place == "source" else "into the destination"
            return f"the short {plug} lead {where}"
        return f"the lead of {length_m:g} m"
    names = {"transformer": "isolating transformer", "digital-transformer": "digital transformer"}
    where = "at the device" if piece.place == "source" else "at the destination"
    kind = "series resistors" if piece.made else piece.kind
    cased = (piece.kind, piece.to) == ("transformer", "xlr-male")
    return f"the {names.get(piece.kind, kind)} {where}{IN_A_CASE * cased}"


IN_A_CASE = " (one in a case with sockets wants a short XLR lead behind it)"
"""The end of an isolator that goes into an XLR input is male, be it a plug or a socket."""


@dataclass(frozen=True)
class Own:
    """A lead of the shelf that is not what was solved: what it is, and what comes of it."""

    says: str
    """What differs; nothing where its data are others and all that is told of the way is not."""
    plain: str = ""
    """What of it a customer needs: nothing where the figures tell it."""
    worse: int = 0
    """Steps by which it is worse than what was solved, so far as that is heard; 0: it is not."""
    serves: bool = True
    """The way still works with it."""
    cable: Cable | None = None
    """What it is, where the figures of the way are others with it."""
    data: Cable | None = None
    """What it is, where it is worse than what was solved, be it too little to be told."""
    changed: str = ""
    """What of the figures is worse with it."""


@dataclass(frozen=True)
class Dearer:
    """A dearer part that would do as well: what is better of it, and the same for a customer."""

    says: str
    plain: str


@dataclass(frozen=True)
class Instead:
    """Another way that does as well, and is in stock where the chosen one is not."""

    option: str
    says: str


@dataclass(frozen=True)
class PadOffer:
    """A lead with an attenuator that is in stock, in place of a transformer that costs more."""

    option: str
    total: float
    says: str


WHEN = {
    "lead-first": ("first",),
    "plain-lead-first": ("first",),
    "origin-first": ("first, for what is done first (above)",),
}
"""When leads are taken that come first, by the code of what comes first; else an answer decides."""

CERTAIN = "if it is for certain"
"""Before another definite answer, among the reasons."""

ABOVE = " (above)"
YES_AND_NO = 2

ASKS_MORE = " (one more question then may spare the isolator)"
"""Behind an answer with which something is asked before a part is bought."""

LOOK_ABOVE = "look first (above)"
LOOK = "look whether the device has a volume control of its own (a knob, keys, a remote)"
"""Before what is taken with and without one."""

AFTER = {"origin-first": "; if the hum goes, no more than what is named there"}
"""What is said behind them, of what they spare."""

IF_NOT = "if that does not do, ask (above), and if so"
"""When the lead of an answer is taken, behind one that is tried."""

TOO_LOUD = "if it is too loud"
"""What an attenuator that is not put in is for, where the input takes what comes."""

OR_TURNED_DOWN = "or, so that it cannot be turned up too far"
"""The same where only a turn of the device's own volume brings more than the input accepts."""


@dataclass(frozen=True)
class Basket:
    """What one connection takes from the shelf.

    ``missing`` holds pieces that nothing on the shelf makes; then ``solder`` says how the lead
    is made.
    """

    box: str
    option: str
    count: int
    taken: tuple[Taken, ...]
    missing: tuple[Piece, ...]
    currency: str
    share: float | None
    system_price: float | None
    dearer: tuple[Dearer, ...]
    solder: str
    one_of_two: bool = False
    """One side was measured, and the other will want the same."""
    subwoofer: bool = False
    """It is one box with one lead."""
    note: str = ""
    """What has to be said before the parts."""
    would: str = ""
    """Where nothing is to be taken yet: what is taken under which condition."""
    length_m: float = 0.0
    """Of the lead, for what has to be ordered."""
    offered: Taken | Piece | None = None
    offered_for: str = TOO_LOUD
    """An attenuator that is not in the plug, but would help."""
    or_pad: tuple[str, ...] = ()
    """What to order in place of an attenuator of the shelf that leaves little in hand."""
    both: tuple[Taken, ...] = ()
    """The same parts for both sides, where ``one_of_two``; else ``taken`` once more."""
    stereo: bool = False
    """Nobody said how many sides the device has: two were taken."""
    chain: tuple[Piece, ...] = ()
    """Taken or missing, as they are plugged together: device end first."""
    lengths: Mapping[Piece, float] = field(default_factory=dict, compare=False)
    """Of the leads taken, by what they are in the chain."""
    one_channel: bool = False
    """A description by hand says that the device has one channel."""
    instead: Instead | None = None
    """For the adviser alone: the customer's sheet stays with what is chosen."""
    pad_instead: PadOffer | None = None
    """What quiets the hum as well, for less level in hand."""
    unlike: tuple[str, ...] = ()
    """Parts that are not what was solved: cores too small for what comes, leads by data."""
    plain: tuple[str, ...] = ()
    """What of that a customer needs, who has no use for milliohms."""
    own: Mapping[str, Own] = field(default_factory=dict, compare=False)
    """What leads of the shelf that were looked at are otherwise than what was solved."""
    cable: Cable | None = None
    """The lead that is taken, where the figures of the way are others with it."""
    data: Cable | None = None
    """The same where it is worse than what was solved, be it too little to be told."""
    cheaper: tuple[str, ...] = ()
    """What does the same, and would be much cheaper to order."""
    boxes: int = 1
    """How many alike boxes it is for."""
    shares: str = ""
    """The output that splitters share between the boxes; then no box of its own."""
    unsure: int = 0
    """How many of the splitters are needed only with what is tried, or with an answer."""
    helped: Basket | None = None
    """Where nothing is used: what is taken with the part that would help."""
    case: str = ""
    """With which answer it is taken, where that is none of those that `before` tells."""
    plugged: frozenset[str] = frozenset()
    """Names of leads that were tried before it is taken."""
    first: tuple[Basket, ...] = ()
    """What the leads take that come before this: the one to try, or one for each answer."""
    before: str = ""
    """Code of what comes first: of a question ``first`` are those of yes and no."""
    most_pf: float | None = None
    """What a lead to order may have, where one on the shelf has too much."""
    asks_more: bool = False
    """With an answer to what is looked at: what one leg gives is asked before this is bought."""
    cases: tuple[tuple[str, Basket], ...] = ()
    """What is taken besides with each answer to what is looked at first, which is all the same
    without: then nothing of it is counted."""

    @property
    def in_stock(self) -> bool:
        """Whether everything is there, for both sides where one was measured."""
        return not self.missing and all(t.in_stock for t in (*self.taken, *self.both))

    @property
    def total(self) -> float:
        """Price of what is taken."""
        return round(sum(t.price for t in self.taken), 2)

    @property
    def total_of_both(self) -> float:
        """Price of what is taken, for both sides where one was measured."""
        return round(sum(t.price for t in self.both), 2)

    @property
    def count_of_both(self) -> int:
        """How many leads both sides want."""
        return 2 * self.count if self.one_of_two else self.count

    @property
    def says(self) -> tuple[str, ...]:
        """Everything there is to say, a line each."""
        return self._said(plain=False)

    @property
    def briefly(self) -> tuple[str, ...]:
        """The same; of more answers than yes and no the parts and their price alone."""
        return self._said(plain=False, brief=self._many_answers)

    @property
    def _many_answers(self) -> bool:
        return len(self.first) > YES_AND_NO

    def _said(self, *, plain: bool, brief: bool = False) -> tuple[str, ...]:
        """Return the list, a line each; ``plain``: as a customer reads it."""
        lines = self._listed(plain=plain, brief=brief)
        prices: tuple[str, ...] = tuple(self._price())
        if self.first:
            with_it = ", with what was tried," if self._tried else ""
            prices = tuple(f"in that case{with_it} {price}" for price in prices)
        unlike = self.plain if plain else self.unlike
        dearer = (d.plain if plain else d.says for d in self.dearer)
        pad = () if self.pad_instead is None else (self.pad_instead.says,)
        return (*lines, *unlike, *self._order(), *prices, *pad,
                *self._offered(), *self._second(), *self.cheaper, *dearer)  # fmt: skip

    def _listed(
        self, *, plain: bool, of_answer: bool = False, brief: bool = False
    ) -> tuple[str, ...]:
        """Return what is taken, a line each, behind what comes before it.

        ``of_answer``: what is to be looked at with it stands nowhere above.
        """
        note = filter(None, (self.note, self.would))
        lines = (*note, *self._in_any_case(), *self._either(LOOK if of_answer else LOOK_ABOVE))
        if not self.first:
            return lines
        then = (f"{self._only_if}: {'; '.join(lines)}",) if lines else ()
        before = self._in_parts(plain=plain) if brief else self._before(plain=plain)
        return (*before, *then)

    def _in_parts(self, *, plain: bool) -> Iterable[str]:
        """Say what is taken with each answer, those together that take the same."""
        found: dict[str, list[str]] = {}
        for place, lead in enumerate(self.first):
            found.setdefault(lead._parts_and_price(), []).append(lead.case or self._when[place])
        for parts, cases in found.items():
            first, *more = (c.removesuffix(ABOVE) for c in cases)
            same = " or ".join(c.removeprefix(CERTAIN).strip() for c in more)
            joint = " or " if first.startswith(CERTAIN) else f", or {CERTAIN} "
            also = f"{joint}{same}" if more else ""
            yield f"{first}{also}: {parts}"
        whom = self.first[0]._whom()
        besides = "" if plain else "; how the pieces are put together, and what else: --details"
        yield f"prices are for {whom}{besides}"

    def _parts_and_price(self) -> str:
        """Say what is taken, with each answer to what is looked at, and what it costs.

        And what is asked or tried then before it; not what a turn of the volume control spares.
        """
        when = WHEN.get(self.before, ("one more question then, and if so", "if not"))
        before = [
            f"{lead.case or when[place]}: {lead._parts_and_price()}"
            for place, lead in enumerate(self.first)
        ]
        told = []
        for case, more in self.cases or (("", self),):
            whole = _whole(self, more) if self.cases else self
            lines = (*whole._lines(), *more._needed_besides())
            parts = "; ".join(map(_without_values, lines)) or "nothing yet"
            price = f", {whole.total:.2f} {whole.currency}" if whole.taken else ""
            price += f", without {not_there(n)}" if (n := more._to_be_ordered(whole)) else ""
            asks = ASKS_MORE * more.asks_more
            told.append(f"{case}{asks}{': ' * bool(case)}{parts}{price}")
        note = "".join(f"{n}; " for n in (self.note, self.would) if n)
        last = f"{note}{'; '.join(told)}{', with what was tried' * bool(self._tried)}"
        return "; ".join((*before, f"{self._only_if}: {last}" if before else last))

    @property
    def _optional(self) -> bool:
        """Tell whether the attenuator that would help is only for who does not turn down."""
        return self.offered_for in (TOO_LOUD, OR_TURNED_DOWN)

    def _needed_besides(self) -> Iterable[str]:
        """Name the attenuator that is to be in the plug, though no lead needs it to work."""
        return () if self._optional or self.offered is None else [*self._offered()][:1]

    def _to_be_ordered(self, whole: Basket) -> int:
        """Return of how many pieces nobody here knows the price."""
        pad = isinstance(self.offered, Piece) and not self._optional
        return whole.count * (len(whole.missing) + pad)

    @property
    def _when(self) -> tuple[str, ...]:
        return WHEN.get(self.before, ("first ask (above), and if so", "if not"))

    def _before(self, *, plain: bool) -> Iterable[str]:
        """Say what the leads take that come first, a line each, before what is chosen."""
        when = self._when
        for place, lead in enumerate(self.first):
            case = lead.case or when[place]
            optional = lead.offered is not None and lead.offered_for == TOO_LOUD
            against = () if optional else lead._offered()
            unlike = lead.plain if plain else lead.unlike
            told = "; ".join(
                (*lead._listed(plain=plain, of_answer=True), *lead._order(), *unlike, *against)
            )
            stock = "" if plain or lead.instead is None else f"; {lead.instead.says}"
            after = "" if lead.case else AFTER.get(self.before, "")
            price = (f"{'with what was tried, ' * bool(lead._tried)}{p}" for p in lead._price())
            yield f"{case}: {', '.join((told, *price))}{stock}{after}"

    def _in_any_case(self) -> Iterable[str]:
        """Say what is taken; with what is looked at first what either answer takes."""
        for place, line in enumerate(self._lines()):
            yield f"in any case: {line}" if self.cases and not place else line

    def _either(self, look: str) -> Iterable[str]:
        """Say what each answer takes besides, a line each, behind how to ``look``."""
        for place, (case, more) in enumerate(self.cases):
            none = "nothing else" if more.option else "nothing yet"
            told = "; ".join((*more._lines(), *more._order(), *more._price())) or none
            told = "; ".join((told, *more._offered()))
            yield f"{f'{look}; ' if place == 0 else ''}{case}{ASKS_MORE * more.asks_more}: {told}"

    @property
    def in_one_line(self) -> str:
        """What is taken, in its order, and its price."""
        return "; ".join((*self._lines(), *self._order(), *self._price()))

    @property
    def _only_if(self) -> str:
        """When this is taken, where leads come before it."""
        if self.before not in WHEN:
            # a figure that is larger than the one asked for is another answer than none
            if len(self.first) == 1 or any(lead.case for lead in self.first):
                return "without such an answer"
            return "only if neither does"
        return "only if neither does" if len(self.first) > 1 else "only if that does not do"

    def _second(self) -> Iterable[str]:
        """Say what the other side of a stereo pair lacks, where only one was measured."""
        if not self.one_of_two:
            return
        for t, both in zip(self.taken, self.both, strict=True):
            if t.in_stock and not both.in_stock:
                yield (
                    f"for the second side of a stereo pair {both.packages} x {t.part.name} are "
                    f"needed, and only {both.part.stock} in stock"
                )

    @property
    def _tried(self) -> frozenset[str]:
        """Names of the leads that are there already when this is taken, for they were tried."""
        plugged = [lead for lead in self.first if not lead.case]
        tried = lead_names(plugged) if self.before in WHEN else frozenset()
        return (tried | self.plugged) & lead_names((self,))

    def _lines(self) -> Iterable[str]:
        for t in self.taken:
            there = whole_run(t.piece) and t.part.name in self._tried
            yield f"{t.listed}{' (what was tried)' * there}"
        told = [
            f"{ordered(p, self.length_m)}{_at_most(self.most_pf) * (p.kind == 'lead')}"
            for p in self.missing
        ]
        itself = bool(self.solder) and self.solder == self._made(self.chain) and not self.taken
        for text in told:
            yield f"order, {self.count} x: {text}{'; or solder it' * itself}"
        if self.missing and self.solder and not itself:
            yield f"or solder: {self.solder}"

    def _made(self, pieces: Sequence[Piece]) -> str:
        """Return how one lead is made by hand, which is told by what is to be ordered."""
        return f"{pieces[0].says}; {self.length_m:g} m" if len(pieces) == 1 else ""

    def _order(self) -> Iterable[str]:
        """Say how several pieces are plugged together: an isolator belongs to the receiver."""
        if len(self.chain) > 1:
            told = [placed(piece, self.lengths.get(piece, self.length_m)) for piece in self.chain]
            yield f"in this order, from the device: {', then '.join(told)}"

    def _offered(self) -> Iterable[str]:
        """Name the attenuator that would help, beside what is taken."""
        if isinstance(self.offered, Taken):
            price = f"{self.offered.price:.2f} {self.currency}"
            optional = self.offered_for == OR_TURNED_DOWN
            more = ", not in the price" if optional else ""
            yield f"{self.offered_for}: {self.offered.says}, {price}{more}"
        elif self.offered is not None:
            yield f"{self.offered_for}, order, {self.count} x: {self.offered.says}"
        yield from self.or_pad

    def _price(self) -> Iterable[str]:
        if not self.taken:
            return
        text = f"{self.total:.2f} {self.currency} for {self._whom()}"
        if self.one_of_two:
            text += f" ({self.total_of_both:.2f} for both)"
        if self.missing:
            text += f", without {not_there(self.count * len(self.missing))}"
        text += ", without what the answer decides" if self.cases else ""
        yield text + of_system(self, self.total, partly=bool(self.missing))

    def _whom(self) -> str:
        if self.shares:
            return "the splitters" if self.count > 1 else "the splitter"
        if self.subwoofer:
            return "the subwoofers' one lead each" if self.boxes > 1 else "the subwoofer's one lead"
        if self.one_channel:
            return (
                f"{_sides(self.count)} of its one channel" if self.boxes > 1 else "its one channel"
            )
        if self.boxes == 1 and self.count == 1 and self.option.startswith("digital"):
            return "the one lead, which carries both channels"
        if self.boxes > 1:
            return f"{self.count} leads{' of a stereo device' * self.stereo}"
        return f"{_sides(self.count)}{' of a stereo device' * self.stereo}"

    def to_json(self) -> dict[str, Any]:
        """Return the basket as plain values."""
        return {
            "destination": self.box or None,
            "option": self.option or None,
            "shares": self.shares or None,
            "count": self.count,
            "parts": [
                {
                    "name": t.part.name,
                    "kind": t.part.kind,
                    "place": t.piece.place,
                    "from": t.part.from_,
                    "to": t.part.to,
                    "packages": t.packages,
                    "price": round(t.price, 2),
                    "in_stock": t.in_stock,
                }
                for t in self.taken
            ],
            "order": [ordered(p, self.length_m) for p in self.missing],
            "either": [
                {"answer": case, **{k: more.to_json()[k] for k in ("parts", "order", "total")}}
                for case, more in self.cases
            ],
            "solder": self.solder if self.missing else "",
            "total": self.total,
            "currency": self.currency,
            "instead": None
            if self.instead is None
            else {"option": self.instead.option, "says": self.instead.says},
            "pad_instead": None if self.pad_instead is None else asdict(self.pad_instead),
            "says": list(self.says),
            "says_plain": list(self._said(plain=True)),
            "says_short": list(self._said(plain=True, brief=self._many_answers)),
        }


def _without_values(line: str) -> str:
    """Return a line of a list without the values of resistors that are soldered."""
    return _VALUES.sub("", line)


_VALUES = re.compile(
    r"(?<=dB)(?:, which takes off [\d.]+ to [\d.]+ dB there)?: [\d.]+ k?ohm in the .*"
)
"""How an attenuator is made, behind what it takes off."""


def with_each_answer(basket: Basket) -> tuple[Basket, ...]:
    """Return what is taken with each answer to what is looked at, the whole of it; else itself."""
    return tuple(_whole(basket, more) for _, more in basket.cases) or (basket,)


def _whole(basket: Basket, more: Basket) -> Basket:
    """Return all of what is taken with one answer to what is looked at."""
    return replace(
        basket if basket.option else more,
        option=more.option or basket.option, taken=(*basket.taken, *more.taken),
        both=(*basket.both, *more.both), missing=(*basket.missing, *more.missing), cases=(),
    )  # fmt: skip


def whole_run(piece: Piece) -> bool:
    """Tell whether a piece is the lead between the boxes."""
    return (piece.kind, piece.place) == ("lead", "run")


def lead_names(held: Iterable[Basket]) -> frozenset[str]:
    """Return which leads between the boxes are taken from the shelf."""
    return frozenset(t.part.name for b in held for t in b.taken if whole_run(t.piece))


def _at_most(most_pf: float | None) -> str:
    """Return how much capacitance a lead to order may have, where that was too much of another."""
    return "" if most_pf is None else f", of at most {most_pf:g} pF/m"


def _sides(count: int) -> str:
    return "both sides" if count == 2 else "one side" if count == 1 else f"{count} leads"


def not_there(pieces: int) -> str:
    """Return how many pieces are to be ordered, of which nobody here knows the price."""
    return f"{pieces} piece{'s' * (pieces > 1)} to be ordered, whose price is not known"


def of_system(basket: Basket, total: float, *, partly: bool) -> str:
    """Return which share of a system's price a sum is, for the end of a line.

    ``partly``: prices are missing; then only what is known to be too much already is told.
    """
    price, share = basket.system_price, basket.share
    if price is None:
        return ""
    part = total / price
    beyond = share is not None and part > share
    if partly and not beyond:
        return ""
    known = "; already " if partly else ", "
    text = f"{known}{100.0 * part:.2g} % of a system of {price:g} {basket.currency}"
    return text + (f": more than the {100.0 * (share or 0.0):g} % you have set" if beyond else "")


def splitters_needed(leads: Sequence[int]) -> int:
    """Return how many splitters of one to two join the leads of several boxes to one output.

    As many sockets as the box with most leads has leads: one for each side.
    """
    return sum(leads) - max(leads, default=0)


def less(shelf: Shelf, taken: Sequence[Taken]) -> Shelf:
    """Return the shelf without what is taken, and with what is left of an opened package."""
    parts = {p.name: p for p in shelf.parts}
    for t in taken:
        p = parts[t.part.name]
        left = p.loose + t.packages * p.pieces - t.count
        parts[p.name] = replace(p, stock=max(p.stock - t.packages, 0), loose=max(left, 0))
    return replace(shelf, parts=tuple(parts.values()))


def orders(basket: Basket) -> dict[str, int]:
    """Return what has to be ordered for one list, and how many of it."""
    found: dict[str, int] = {}
    for t in (t for t in basket.taken if not t.in_stock):
        name = f"not in stock: {t.part.name}"
        found[name] = found.get(name, 0) + t.packages - t.part.stock
    offered = [basket.offered] if isinstance(basket.offered, Piece) else []
    for piece in (*basket.missing, *offered):
        where = basket.offered_for if piece in offered else "not on the shelf"
        name = f"{where}: {ordered(piece, basket.length_m)}"
        found[name] = found.get(name, 0) + basket.count
    return found
