"""Which option is used: the first of those that work, in the order of what matters.

What spoils the input's output is passed over; a transformer is a part to buy, and is not taken
where a lead without one is loud enough; then what is loud enough, and of that what `ranking`
has in its order: hum, noise, rejection on a long run, response, fewest parts, the native
connector.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence, Set
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TypeVar

from probe.advice import thresholds as limit
from probe.advice.candidate import RANK, Candidate, within
from probe.advice.destination import Destination
from probe.advice.model import Choice, OptionAdvice
from probe.advice.plain import AGAINST, against
from probe.advice.ranking import Lacks, steps
from probe.advice.sound_output import repaired_first
from probe.advice.wiring import OPTIONS
from probe.advice.words import decibels, full_output, louder_or_quieter, signed_decibels

SPOILING = {
    "stage-fault": "comes from an output without the fault that others would use",
    "overload": "does not overload the input, as others would",
    "one-half-undriven": "drives the whole amplifier, as others would not",
    "clips-short": "reaches full output before the device clips, as others would not",
}
"""Hazards for which an option is passed over while one without works, and what is said then."""

LESS_TOO_MUCH = "overloads the input less, if at all, than others"
"""What is said in place of it of what may bring a little too much itself, or by its doubt."""

TO_BUY = "needs an isolating transformer, a part to buy where a lead without one does"


def choose(options: Sequence[OptionAdvice], destination: Destination) -> tuple[Choice, ...]:
    """Return one choice for each box of the destination, in the order of its inputs."""
    boxes = dict.fromkeys(socket.box for socket in destination.inputs)
    stated = {
        s.name
        for s in destination.inputs
        if s.maximum_volts is not None or s.maximum_per_leg_volts is not None
    }
    return tuple(
        _choose_for(box, _candidates([o for o in options if o.box == box], stated), destination)
        for box in boxes
    )


def mark(options: Sequence[OptionAdvice], choices: Sequence[Choice]) -> tuple[OptionAdvice, ...]:
    """Give the chosen options ``use``, why and their attenuator; the others what they lack."""
    chosen = {(c.box, c.socket, c.option): c for c in choices if c.option is not None}
    left = {(c.box, *key): lacks for c in choices for key, lacks in c.left}

    def marked(option: OptionAdvice) -> OptionAdvice:
        key = (option.box, option.socket, option.option.id)
        choice = chosen.get(key)
        if choice is None:
            return replace(option, passed_by=left.get(key, ""))
        used = option.with_fitted() if choice.attenuator else option
        return used.with_verdict("use", choice.why)

    return tuple(marked(o) for o in options)


def _candidates(options: Sequence[OptionAdvice], stated: Set[str]) -> list[Candidate]:
    grouped: dict[tuple[str, str], list[OptionAdvice]] = {}
    for option in options:
        grouped.setdefault((option.socket, option.option.id), []).append(option)
    return [
        Candidate(held[0].option, held[0].socket, tuple(held), held[0].socket in stated)
        for held in grouped.values()
    ]


def _choose_for(box: str, candidates: Sequence[Candidate], destination: Destination) -> Choice:
    working = [c for c in candidates if c.works]
    wanted = destination.wanted(box)
    if all(c.transformer for c in working):
        rescued = _rescued(box, candidates, destination)
        if rescued is not None or not working:
            return rescued or _nothing(box, candidates)
    repaired = repaired_first(working, candidates)
    if repaired:
        return replace(_nothing(box, candidates), why=repaired)
    left = Left()
    pool, spared = left.noted(working, _unspoiled(working), _hazards_of)
    pool, leads = left.noted(pool, _without_transformer(pool, wanted), lambda _: TO_BUY)
    pool, unharmed = left.noted(pool, _unharmed(pool, wanted), _hazards_of)
    pool, plain = left.noted(pool, _plain_lead(pool, wanted), _hazards_of)
    pool, silent = left.noted(pool, _silent_lead(pool, wanted), _hums_or_parts)
    pool, why = left.noted(pool, _loud_enough(pool, wanted), partial(_short_of, wanted))
    pool, clean = left.noted(pool, _clean_transformer(pool, wanted), _minds)
    why = [*plain, *silent, *why, *clean]
    reasons = []
    for narrow, lacks in steps(destination, wanted):
        pool, reason = left.noted(pool, narrow(pool), lacks)
        reasons += [reason] if reason else []
    order = {option.id: i for i, option in enumerate(OPTIONS)}
    best = min(pool, key=lambda c: order[c.option.id])
    left.noted(pool, ([best], None), lambda _: "no better than what is used")
    why += [reason(best) for reason in reasons]
    why += _without_hazards(best, spared)
    why += [unharmed(best)] if unharmed else []
    passed = _passed_by(best, candidates, left)
    first = _with_attenuator(best, asked=destination.attenuation(box) is not None)
    first += _turned_down(best)
    # a part to buy is there for what the leads lack: that stands first
    told = [*passed, *why] if best.transformer else [*why, *passed]
    told = [
        *first,
        *_loudness(best, wanted, told, working),
        *(_spared(best, working) if leads else []),
    ]
    return Choice(box, best.option.id, best.socket, tuple(told), attenuator=best.padded,
                  left=tuple(left.why.items()))  # fmt: skip


def _rescued(box: str, candidates: Sequence[Candidate], destination: Destination) -> Choice | None:
    """Return the choice among options that work with an attenuator in the plug, if there are.

    Two resistors against too much level, and with it against hum, go before a transformer.
    """
    rescued = [
        replace(c, bare=tuple(s.with_fitted() for s in c.bare))
        for c in candidates
        if not c.padded and all(s.attenuator is not None and s.attenuator.solves for s in c.bare)
    ]
    if any(c.works for c in candidates):  # then only what spares a transformer, and costs nothing
        wanted = destination.wanted(box)
        rescued = [c for c in rescued if not c.transformer and wanted <= 0.0 and c.fills]
    if not rescued:
        return None
    choice = _choose_for(box, rescued, destination)
    first = f"only {_what_for(choice, rescued)}"
    return replace(choice, why=(first, *choice.why[1:], *_not_even_with_it(candidates)))


def _what_for(choice: Choice, rescued: Sequence[Candidate]) -> str:
    """Return the attenuator with what speaks against the lead without it, where that is another.

    An overload is what the attenuator itself is said to be for.
    """
    first = choice.why[0]
    used = next(c for c in rescued if (c.socket, c.option.id) == (choice.socket, choice.option))
    worst = max(used.bare, key=lambda s: RANK[s.verdict])
    if worst.verdict not in NOT_WORKING or not worst.because:
        return first
    if worst.because == AGAINST["overload"]:
        return first
    head, _, size = first.partition(": ")
    only = _ONLY_IF.match(worst.reasons[0] if worst.reasons else "")
    case = f", {only[1]}," if only else ""
    return f"{head}: without it{case} {worst.because}; {size}"


_ONLY_IF = re.compile(r"(if the input is [^:]*): ")
"""Under what a reason holds that is not known of the input."""


def _with_attenuator(best: Candidate, *, asked: bool) -> list[str]:
    """Return that the attenuator is in the plug, or why one that was asked for is not."""
    fitted = [s.attenuator for s in best.bare if s.attenuator is not None and s.attenuator.fitted]
    if fitted:
        taken = fitted[0].takes if fitted[0].unsure else fitted[0].size
        pad = fitted[0].designs[0].pad
        size = f", {fitted[0].takes}:" if pad.in_series else f" of {taken} in its plug:"
        named = f"{pad.named} in its plug" if pad.in_series else pad.named
        return [f"with {named}{size} {fitted[0].why}"]
    if asked:
        return ["without the attenuator that was asked for: none can be calculated for this output"]
    return []


def _turned_down(best: Candidate) -> list[str]:
    """Return how far the device's own volume is kept down, where only that makes the way work."""
    kept = [s for s in best.sides if s.turned_down]
    if not kept:
        return []
    below = max(s.turn_down_db or 0.0 for s in kept)
    pads = [s.attenuator for s in kept if s.attenuator is not None and s.attenuator.solves]
    most = max(pads, key=lambda p: p.attenuation_db, default=None)
    pad = f", or with an attenuator of {most.takes} in its plug" if most is not None else ""
    return [f"only with the volume kept {below:.1f} dB or more below the device's maximum{pad}: "
            f"{AGAINST['overload']}"]  # fmt: skip


def _not_even_with_it(candidates: Sequence[Candidate]) -> list[str]:
    """Say of a plain lead why its attenuator does not make it work."""
    said = []
    for c in candidates:
        for s in c.bare[:1] if c.option.native else ():
            if s.attenuator is not None and not s.attenuator.solves:
                why = s.attenuator.advice.reasons[0]
                said.append(f"{c.option.id} does not work even with an attenuator: {why}")
    return said


def _unspoiled(working: Sequence[Candidate]) -> tuple[list[Candidate], dict[str, str]]:
    """Leave out what spoils the input's output, or comes from a faulty one.

    An overloaded input, or one half of it idle, is worse than too little level. Only where another
    one surely does not: of an input that states too little, nothing is known to be better.
    """
    pool, why = list(working), {}
    for code, says in SPOILING.items():
        clean = [c for c in pool if code not in c.spoils]
        if len(clean) < len(pool) and any(c.surely_without(code) for c in clean):
            pool, why[code] = clean, says
    return pool, why


def _without_hazards(best: Candidate, spared: dict[str, str]) -> list[str]:
    """Return what others were passed over for; never against what has to be minded of this one."""
    less = {"overload", "at-limit"} & best.to_mind
    return [
        LESS_TOO_MUCH if code == "overload" and less else says
        for code, says in spared.items()
        if best.surely_without(code)
    ]


def _without_transformer(pool: list[Candidate], wanted: float) -> tuple[list[Candidate], bool]:
    """Leave the transformers out where a lead without one works and is loud enough.

    A transformer has to be bought and saturates in the bass. What it takes away of hum that
    works (75 dB below full output and better) is heard close to the loudspeaker at most, and
    what it adds in level is a turn of the volume control: both can be had later, if missed.
    """
    leads = [c for c in pool if not c.transformer]
    if len(leads) < len(pool) and any(c.may_suffice(wanted) for c in leads):
        return leads, True
    return pool, False


def _unharmed(
    pool: list[Candidate], wanted: float
) -> tuple[list[Candidate], Callable[[Candidate], str] | None]:  # fmt: skip
    """Where the wanted gain is out of reach anyway, a hazard buys nothing but full output."""
    unharmed = [c for c in pool if not c.hazards]
    if any(c.suffices(wanted) for c in pool) and not any(c.suffices(wanted) for c in unharmed):
        return pool, None
    if any(c.reaches(wanted) for c in pool) or not unharmed or len(unharmed) == len(pool):
        return pool, None
    return unharmed, _no_more_to_mind


def _no_more_to_mind(best: Candidate) -> str:
    has = "has less to mind than others" if best.to_mind else "has no hazard, as others would"
    return f"{has} that give no more of what is wanted"


def _plain_lead(pool: list[Candidate], wanted: float) -> tuple[list[Candidate], list[str]]:
    """Take a plain lead with nothing to mind before more parts that have something to mind.

    Only where no more loudness is asked for: what reaches full output needs a turn of the volume
    control to be as loud.
    """
    reaching = [c for c in pool if c.reaches(wanted)]
    if wanted > 0.0 or not reaching or any(c.option.native or not c.hazards for c in reaching):
        return pool, []
    plain = [c for c in pool if c.option.native and not c.hazards and c.fills]
    if not plain:
        return pool, []
    return plain, ["a plain lead that reaches full output with nothing to mind; what is louder "
                   "needs more parts, and has something to mind"]  # fmt: skip


HEARD = frozenset({"hum", "long-run"})
"""Hazards by which hum may be heard."""


def _silent_lead(pool: list[Candidate], wanted: float) -> tuple[list[Candidate], list[str]]:
    """Among plain leads that are loud enough, take one without hum before one that may be heard.

    What it lacks in level is a turn of the volume control; hum stays at every setting.
    """
    plain = [c for c in pool if c.option.native and c.may_suffice(wanted)]
    silent = [c for c in plain if not c.hazards & HEARD]
    if not silent or len(silent) == len(plain) or any(c.suffices(wanted) for c in silent):
        return pool, []  # what is surely loud enough is told apart by its decibels, below
    return silent, ["a plain lead without hum to mind, where the other plain lead has it"]


def _clean_transformer(pool: list[Candidate], wanted: float) -> tuple[list[Candidate], list[str]]:
    """Among transformers that are loud enough, leave out what brings more to mind than another.

    More level than is wanted buys nothing.
    """
    enough = [c for c in pool if c.suffices(wanted)]
    clean = [c for c in enough if not any(other.to_mind < c.to_mind for other in enough)]
    if not clean or len(clean) == len(enough) or not all(c.transformer for c in pool):
        return pool, []
    if any(c.to_mind for c in clean):
        return clean, ["is loud enough with less to mind than another"]
    return clean, ["is loud enough with nothing to mind, where another has something"]


def _minds(c: Candidate) -> str:
    codes = dict.fromkeys(h.code for s in c.sides for h in s.hazards)
    told = [against(code, c.sides[0].figures) for code in codes]
    return "; ".join(t for t in told if t) or "is not as loud"


def _hums_or_parts(c: Candidate) -> str:
    heard = _hazards_of(c) if c.hazards & HEARD else ""
    return heard or "needs more parts than a plain lead without hum to mind"


def _loud_enough(pool: Sequence[Candidate], wanted: float) -> tuple[list[Candidate], list[str]]:
    """Keep what is loud enough; if nothing surely is, what comes nearest to it."""
    known = [(c, c.gain) for c in pool]
    if all(gain is None for _, gain in known):
        return list(pool), ["no level can be compared, so the wanted gain did not decide"]
    enough = [c for c in pool if c.suffices(wanted)]
    if enough:
        why = []
        if any(s.figures.loudness_vs_reference_db is None for c in enough for s in c.sides):
            why.append("compared by level, because the sensitivities are not given")
        return enough, why
    best = max(gain.value for _, gain in known if gain is not None)
    near = [
        (c, gain) for c, gain in known
        if gain is not None and best - gain.value <= max(limit.TIE_BREAK_DB, gain.u95)
    ]  # fmt: skip
    return [c for c, _ in near], []


Found = TypeVar("Found")


@dataclass
class Left:
    """What each candidate was left out for, the first reason it met."""

    why: dict[tuple[str, str], str] = field(default_factory=dict)

    def noted(
        self, before: Sequence[Candidate], step: tuple[list[Candidate], Found], lacks: Lacks
    ) -> tuple[list[Candidate], Found]:
        """Note what a step has left out, and return the step."""
        kept = {(c.socket, c.option.id) for c in step[0]}
        for c in before:
            if (c.socket, c.option.id) not in kept:
                self.why[(c.socket, c.option.id)] = lacks(c)
        return step


def _hazards_of(c: Candidate) -> str:
    told = [against(h, c.sides[0].figures) for h in sorted(c.hazards)]
    return "; ".join(t for t in told if t) or "is not as loud"


def _short_of(wanted: float, c: Candidate) -> str:
    if c.gain is None:
        return "its level cannot be compared"
    gives = f"gives {signed_decibels(c.gain)}"
    margins = [s.figures.full_output_margin_db for s in c.sides]
    known = [m for m in margins if m is not None]
    hazards = [_hazards_of(c)] if c.hazards else []
    if wanted <= 0.0 and known and not c.fills:
        full = full_output(min(known, key=lambda m: m.low))
        return "; ".join([full, *hazards] if hazards else [f"{gives}, {full}", HARMLESS])
    if hazards:
        return "; ".join([gives, *hazards])
    if wanted > 0.0 or c.fills:
        return gives
    return f"{gives}: {HARMLESS}, so the better one where the volume control makes it up"


HARMLESS = "nothing else to mind"


NOT_WORKING = {"avoid": "is better avoided", "never": "is ruled out",
               "cannot-tell": "cannot be judged yet"}  # fmt: skip


def _passed_by(best: Candidate, candidates: Sequence[Candidate], left: Left) -> list[str]:
    """Say why a plain lead is not what was chosen: the XLR lead always, both where parts are.

    Where an isolator is used every lead without one that works: who buys it asks why.
    """
    said: list[str] = []
    works: dict[str, list[str]] = {}
    for c in candidates:
        if (c.option.id, c.socket) == (best.option.id, best.socket):
            continue
        plain = c.option.id == "xlr-to-xlr" or (c.option.native and not best.option.native)
        if c.works and (plain or (best.transformer and not c.transformer)):
            named = f"{c.option.id}{' with its resistors' if c.padded else ''}"
            works.setdefault(left.why[(c.socket, c.option.id)], []).append(named)
        elif plain:
            worst = max((s.verdict for s in c.sides), key=lambda v: RANK[v])
            said.append(f"{c.option.id} {NOT_WORKING[worst]} (below)")
    for lacks, ids in works.items():
        names = list(dict.fromkeys(ids))
        verb = "works" if len(names) == 1 else "work"
        said.append(f"{_listed(names)} {verb} too, but: {lacks}")
    return said


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def _spared(best: Candidate, working: Sequence[Candidate]) -> list[str]:
    """Say what a transformer that was not bought would bring, where that is anything.

    One into another input of the box is named as that: the input itself is what is louder.
    """
    isolated = [c for c in working if c.transformer]
    for held, where in (
        ([c for c in isolated if c.socket == best.socket], ""),
        ([c for c in isolated if c.socket != best.socket], " into the other input"),
    ):
        brings = " and ".join(_brought(best, held))
        if brings:
            return [f"an isolating transformer{where} would {brings}, but is a part to buy: only "
                    "if that is missed"]  # fmt: skip
    return []


def _brought(best: Candidate, isolated: Sequence[Candidate]) -> list[str]:
    found, louder = [], []
    for c in isolated:
        hum, theirs = (k.worst("hum_below_full_output_db") for k in (best, c))
        heard = any(s.figures.hum_heard and s.figures.hum_heard.worst != "not" for s in best.sides)
        less = hum is not None and theirs is not None and heard
        if less and theirs.low > hum.low + limit.TIE_BREAK_DB:  # type: ignore[union-attr]
            found = ["hum less"]
        bare = not (best.padded or c.padded)  # what resistors take off is not in the gain
        if bare and best.gain and c.gain and c.gain.value > best.gain.value + limit.TIE_BREAK_DB:
            louder.append(c.gain.value - best.gain.value)
    if louder:  # of several ways through one the ends
        ends = dict.fromkeys(f"{more:.1f}" for more in (min(louder), max(louder)))
        found.append(f"be {' to '.join(ends)} dB louder")
    return found


LEAST_BAD = "least bad: "
"""Before the way that is the least bad of a box that has none."""


def _nothing(box: str, candidates: Sequence[Candidate]) -> Choice:
    if not candidates:
        return Choice(box, None, None, ("no option fits the connectors of both ends",))
    first = "nothing works without reservation"
    harmless = [c for c in candidates if not c.unsafe]
    best = min(harmless, key=_drawbacks, default=None)
    if best is None:
        return Choice(box, None, None, (first, "no way is named as the least bad: each is "
                                        "ruled out, may have to be, or could do harm"))  # fmt: skip
    worst = best.worst_side
    said = "cannot tell" if worst.verdict == "cannot-tell" else worst.verdict
    least = f"{LEAST_BAD}{best.option.id} ({said}): {(worst.reasons or ('',))[0]}"
    least += "".join(f"; {hum}" for hum in _loud_hum(best) if hum not in least)
    return Choice(box, None, None, (first, least), best.option.id)


def _loud_hum(best: Candidate) -> list[str]:
    """Return the hum of the least bad where it may be loud, as all the others then are, too."""
    hums = dict.fromkeys(h.message for h in best.worst_side.hazards if h.code == "hum")
    return list(hums) if any(best.loud) else []


def _drawbacks(c: Candidate) -> tuple[tuple[bool, bool], int, bool, float]:
    """Rank what does not work: hum that is or may be loud, the verdict, the loss at the ends.

    What may have to be ruled out is not bought to be tried.
    """
    perhaps = c.worst_side.doubt == "never" and c.transformer
    return c.loud, c.rank, perhaps, 0.0 if c.loss is None else c.loss.value


LINKS = {"rca-link": "the RCA link", "xlr-link": "the native XLR link"}
LINKED = {"rca-link": "rca-to-rca", "xlr-link": "xlr-to-xlr"}
"""What a loudness is compared with, in words and as the way that it is."""


def _loudness(
    best: Candidate, wanted: float, why: Sequence[str], working: Sequence[Candidate]
) -> list[str]:
    """Put what is to be said of the loudness in its place: first only where it decided."""
    gain, link = best.gain, LINKS.get(best.sides[0].reference)
    if gain is None:
        return list(why)
    if best.short is not None and not best.padded and wanted <= 0.0:
        # that it is short is told with what it gives, and is no reason
        as_loud = not why and link is not None and best.reaches(wanted)
        if as_loud and -best.short.value < limit.TIE_BREAK_DB:
            return [f"as loud as {link}"]
        if not why or -best.short.value >= limit.TIE_BREAK_DB:
            return _nearest(best, why, working)
        return list(why)
    if best.padded and wanted <= 0.0:
        return list(why)  # what an attenuator takes off is meant, and told with it
    if not best.reaches(wanted):
        told_apart = gain.low >= 0.0 or gain.high <= 0.0 or within(gain, wanted)
        if best.fills and wanted <= 0.0 and not (told_apart or _link_works(best, working)):
            return list(why) or ["reaches full output"]  # nobody would use what it compares with
        return [_quieter(best, wanted, link), *why]
    if best.option.id == "rca-to-rca" and wanted <= 0.0:
        return ["it is the RCA link itself, and no more loudness is wanted", *why]
    if link is None:
        return [*why, "loud enough by the usual level of a single-ended output"]
    if wanted > 0.0:
        return [f"reaches the wanted {wanted:+g} dB against {link}", *why]
    # how much louder it is buys nothing where no more is wanted, and stands with what it gives
    least = "at least " if gain.high > limit.TIE_BREAK_DB else ""
    return [*why, f"{least}as loud as {link}"]


def _link_works(best: Candidate, working: Sequence[Candidate]) -> bool:
    """Tell whether the lead that the loudness is compared with is one to use itself."""
    link = LINKED.get(best.sides[0].reference)
    return link is None or any(c.option.id == link for c in working)


def _nearest(best: Candidate, why: Sequence[str], working: Sequence[Candidate]) -> list[str]:
    """Make a reason of a level that is short where nothing else that works does better.

    Of ways within a decibel none is nearer.
    """
    assert best.short is not None
    others, below = [c for c in working if c is not best], decibels(-best.short)
    if any(c.short is None or c.short.value > best.short.value + limit.TIE_BREAK_DB
           for c in others):  # fmt: skip
        return [*why] or [f"others have more against them than {below} short of full output"]
    what = "comes nearest" if others else "is the one way that works"
    says = f"nothing that works reaches full output; this {what}, {below} short"
    if best.sides[0].never_turned_up and best.short.high < -limit.VOLUME_MAKES_UP_DB:
        says += ", and the device is not turned up: a line stage between the two would do"
    return [says, *why]


def _quieter(best: Candidate, wanted: float, link: str | None) -> str:
    assert best.gain is not None
    gives = signed_decibels(best.gain)
    if wanted > 0.0:
        if best.gain.high >= wanted - limit.GAIN_REACHED_DB:
            return f"whether the wanted {wanted:+g} dB is reached is not sure: this gives {gives}"
        return f"the wanted {wanted:+g} dB is not reached: this gives {gives}"
    held = link or "the usual level of a single-ended output"
    if within(best.gain, wanted):
        return f"as loud as {held} within what is known: {signed_decibels(best.gain)}"
    told = louder_or_quieter(best.gain)
    turn = f"{told} than {held} at the same volume setting: turn up"
    if not told.endswith("quieter"):
        turn += " where it is quieter"
    if best.fills:
        return f"{turn}, it reaches full output"
    if best.just_fills:
        return f"{turn}, it reaches full output within what is known"
    if best.fills is None and best.may_suffice(wanted):
        return turn
    return f"nothing is surely as loud as {held}; this gives {gives}"
