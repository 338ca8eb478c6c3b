"""What a specification may speak of, which facts answer it, and the take that would measure it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Per = Literal["between-legs", "each-leg"]

VOLTS = ("V", "mV", "uV", "dBu", "dBV", "dBm")
"""Units of a level; dBm is a power and needs the load it was fed into."""


@dataclass(frozen=True)
class Quantity:
    """One quantity of a specification.

    Attributes
    ----------
    title
        As people are shown it.
    facts
        Facts that answer it, by what is meant: between the legs, each leg, or ``""``.
    units
        Units a line may use; the first is that of the facts.
    about
        ``level``, ``maximum``, ``impedance``, ``gain``, ``figure`` (compared as it stands),
        ``magnitude`` (its size counts, not its sign), ``word``.
    take
        Code of the take that would measure it.
    between_sides
        True where it stands between the sides, not on one.
    curve
        Curve that shows it at other frequencies, or nothing.
    """

    title: str
    facts: Mapping[str, tuple[str, ...]]
    units: tuple[str, ...]
    about: str
    take: str
    between_sides: bool = False
    curve: Mapping[str, tuple[str, ...]] | None = None


def _plain(title: str, fact: str, unit: tuple[str, ...], take: str, about: str) -> Quantity:
    return Quantity(title, {"": (fact,)}, unit, about, take)


BETWEEN, EACH = "between-legs", "each-leg"
OHM = ("ohm", "kohm")
PERCENT = ("percent", "dB")
DB = ("dB",)
HZ = ("Hz", "kHz")

QUANTITIES: dict[str, Quantity] = {
    "balanced-level": Quantity(
        "Balanced output level",
        {BETWEEN: ("differential_level",), EACH: ("hot_level", "cold_level")},
        VOLTS,
        "level",
        "open",
    ),
    "single-ended-level": Quantity(
        "Single-ended output level", {"": ("single_ended_level",)}, VOLTS, "level", "single-ended"
    ),
    "balanced-maximum": Quantity(
        "Balanced maximum output", {"": ("differential_maximum",)}, VOLTS, "maximum", "level-steps"
    ),
    "single-ended-maximum": Quantity(
        "Single-ended maximum output",
        {"": ("single_ended_maximum",)},
        VOLTS,
        "maximum",
        "level-steps",
    ),
    "balanced-impedance": Quantity(
        "Balanced output impedance",
        {BETWEEN: ("differential_impedance",), EACH: ("hot_impedance", "cold_impedance")},
        OHM,
        "impedance",
        "load-across",
        curve={BETWEEN: ("differential_impedance",), EACH: ("hot_impedance", "cold_impedance")},
    ),
    "single-ended-impedance": Quantity(
        "Single-ended output impedance",
        {"": ("single_ended_impedance",)},
        OHM,
        "impedance",
        "single-ended-loaded",
        curve={"": ("single_ended_impedance",)},
    ),
    "balanced-gain": _plain("Balanced gain", "differential_gain", DB, "drive", "gain"),
    "single-ended-gain": _plain("Single-ended gain", "single_ended_gain", DB, "drive", "gain"),
    "gain-difference": _plain(
        "Balanced over single-ended", "gain_difference", DB, "single-ended", "figure"
    ),
    "output-common-mode-rejection": _plain(
        "Output common-mode rejection", "output_common_mode_rejection", DB, "inject-hot", "figure"
    ),
    "signal-balance": _plain("Signal balance", "signal_balance", DB, "open", "figure"),
    "balanced-noise": _plain("Balanced noise", "differential_noise", VOLTS, "idle", "figure"),
    "single-ended-noise": _plain(
        "Single-ended noise", "single_ended_noise", VOLTS, "idle", "figure"
    ),
    "balanced-thd": _plain("Balanced THD", "differential_thd", PERCENT, "tone", "figure"),
    "single-ended-thd": _plain("Single-ended THD", "single_ended_thd", PERCENT, "tone", "figure"),
    "balanced-thd-n": _plain("Balanced THD+N", "differential_thd_n", PERCENT, "tone", "figure"),
    "single-ended-thd-n": _plain(
        "Single-ended THD+N", "single_ended_thd_n", PERCENT, "tone", "figure"
    ),
    "balanced-low-corner": _plain(
        "Balanced lower corner", "differential_low_corner", HZ, "sweep", "figure"
    ),
    "balanced-high-corner": _plain(
        "Balanced upper corner", "differential_high_corner", HZ, "sweep", "figure"
    ),
    "single-ended-low-corner": _plain(
        "Single-ended lower corner", "single_ended_low_corner", HZ, "sweep", "figure"
    ),
    "single-ended-high-corner": _plain(
        "Single-ended upper corner", "single_ended_high_corner", HZ, "sweep", "figure"
    ),
    "channel-balance": Quantity(
        "Channel balance",
        {"": ("differential_channel_balance",)},
        DB,
        "magnitude",
        "other-side",
        between_sides=True,
    ),
    "single-ended-channel-balance": Quantity(
        "Single-ended channel balance",
        {"": ("single_ended_channel_balance",)},
        DB,
        "magnitude",
        "other-side",
        between_sides=True,
    ),
    "crosstalk": Quantity(
        "Crosstalk",
        {
            "": (
                "differential_crosstalk_left_to_right",
                "differential_crosstalk_right_to_left",
            )
        },
        DB,
        "figure",
        "crosstalk",
        between_sides=True,
    ),
    "direct-voltage": Quantity(
        "Direct voltage at each leg",
        {"": ("hot_direct_voltage", "cold_direct_voltage")},
        ("V", "mV"),
        "magnitude",
        "meter",
    ),
    "polarity": _plain("Polarity", "polarity", (), "single-ended", "word"),
    "kind": _plain("Kind of balanced output", "kind", (), "next", "word"),
}
"""Every quantity a line of a specification may name."""

WEIGHTED = ("balanced-noise", "single-ended-noise")
AMBIGUOUS = tuple(n for n, q in QUANTITIES.items() if len(q.facts) > 1)
"""Quantities that data sheets state per leg or between the legs."""
