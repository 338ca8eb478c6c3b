"""What data sheets call a kind of output stage: taken where it names one, else a hint.

General terms of the trade only. One that several kinds are called by is never taken for one of
them: the kind decides whether pin 3 may be tied.
"""

from __future__ import annotations

from probe.formats.text import nearest, one_of

KINDS = ("differential", "electronically-floating", "transformer-coupled", "ground-sensing",
         "impedance-balanced", "unbalanced", "pin-3-unconnected")  # fmt: skip

MEANS = {
    "cross-coupled": "electronically-floating",
    "servo-balanced": "electronically-floating",
    "transformer": "transformer-coupled",
    "transformer-balanced": "transformer-coupled",
    "ground-cancelling": "ground-sensing",
    "ground-canceling": "ground-sensing",
    "ground-compensated": "ground-sensing",
}
"""Words that name one kind."""

_ACTIVE = ("differential", "electronically-floating")
_FLOATING = ("electronically-floating", "transformer-coupled")
_ONE_LEG = ("impedance-balanced", "unbalanced", "pin-3-unconnected")

MAY_MEAN = {
    "active-balanced": _ACTIVE,
    "actively-balanced": _ACTIVE,
    "electronically-balanced": _ACTIVE,
    "floating": _FLOATING,
    "floating-balanced": _FLOATING,
    "single-ended": _ONE_LEG,
    "pseudo-balanced": ("impedance-balanced", "ground-sensing", "unbalanced"),
    "quasi-balanced": ("impedance-balanced", "ground-sensing", "unbalanced"),
}
"""Words that several kinds go by."""

BALANCED = "balanced"

BALANCED_WORDS = (BALANCED, "fully-balanced", "symmetrical")
"""Words that may mean any kind: a signal on both legs, legs alike of which one is driven, and on
many a sheet a single-ended output on an XLR. [practice]"""

NO_KIND = (*BALANCED_WORDS, "line", "xlr")
"""Words that say there are two legs, or less."""


def spelled(word: str) -> str:
    """Return a word as kinds are written."""
    return "-".join(word.lower().replace("_", " ").replace("-", " ").split())


def kind_or_balanced(word: object) -> object:
    """Return `BALANCED` for what a sheet says that names no kind; else as `kind_meant`."""
    balanced = isinstance(word, str) and spelled(word) in BALANCED_WORDS
    return BALANCED if balanced else kind_meant(word)


def kind_meant(word: object) -> object:
    """Return the kind that ``word`` names; anything else as it is.

    Raises
    ------
    ValueError
        Several kinds go by the word, or none; the message says what must stand there.
    """
    if not isinstance(word, str):
        return word
    said = spelled(word)
    if said in MAY_MEAN:
        raise ValueError(f"must be {one_of(MAY_MEAN[said])} (the word may mean any of them)")
    if said in NO_KIND:
        raise ValueError(
            "must name a kind (a sheet that says no more names none: take the line out)"
        )
    if said in MEANS:
        return MEANS[said]
    slip = nearest(said, {*MEANS, *KINDS, *MAY_MEAN, *BALANCED_WORDS})
    if said not in KINDS and slip in {*MEANS, *MAY_MEAN}:
        kinds = (MEANS[slip],) if slip in MEANS else MAY_MEAN[slip]
        raise ValueError(f'must be {one_of(kinds)} if "{slip}" is meant')
    return word
