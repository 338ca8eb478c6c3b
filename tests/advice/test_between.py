"""Any output that fits what is known lies inside every stated interval, wherever its worst is."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.destination import Cable, Destination, Input
from probe.advice.ground import GroundPath
from probe.advice.model import Advice, OptionAdvice
from probe.advice.quantity import Quantity
from probe.advice.source_file import read_source
from tests.advice.stages import facts, legs

WORST = 2200.0  # IEC 61938, as quoted by a glossary
UNLIKE = 0.1  # practice: resistors of 5 %, one high and one low

SHEET = """
format = "probe-source/1"
kinds = ["{kind}"]
differential_level_v = 2.0
[device]
maker = "Harrowgate"
model = "Siskin"
output = "line"
connectors = ["xlr"]
"""


@dataclass(frozen=True)
class Link:
    """A lead without capacitance, an earth, and an input of so many ohms (each leg, of a pair)."""

    metres: float
    shield: float
    earth: float
    ohm: float
    mismatch: float = 0.0
    volts: float = 0.1

    @property
    def conductor(self) -> float:
        # practice: 0.22 mm2 of copper, 0.08 ohm per metre, and a contact of 10 mohm
        return 0.01 + 0.08 * self.metres

    def heard(self, option: str, hot: float, cold: float) -> float:
        """Return the hum at the input, V, of separate legs of so many ohms.

        Closed form, Kirchhoff at the destination's ground g: from the difference behind its
        resistance into the shield, both legs of the input and a conductor that joins the grounds.
        """
        up = self.ohm * (1.0 + self.mismatch / 2.0)
        down = self.ohm * (1.0 - self.mismatch / 2.0)
        to_hot, to_cold = hot + self.conductor, cold + self.conductor
        beside = {
            "xlr-to-xlr": 1.0 / (to_hot + up) + 1.0 / (to_cold + down),
            "xlr-to-rca/pin-3-open": 1.0 / (to_hot + self.ohm),
            "xlr-to-rca/pin-3-tied-at-source": 1.0 / (to_hot + self.ohm),
            # practice: a soldered join of 20 mohm
            "xlr-to-rca/pin-3-tied-at-destination": 1.0 / (to_hot + self.ohm)
            + 1.0 / (to_cold + 0.02),
        }[option]
        g = self.volts / self.earth / (1.0 / self.earth + 1.0 / self.shield + beside)
        if option == "xlr-to-xlr":
            return g * abs(up / (to_hot + up) - down / (to_cold + down))
        return g * self.ohm / (to_hot + self.ohm)

    def level(self, hot: float, cold: float) -> float:
        """Return what 1 V on each leg becomes between the input's pins. Closed form: dividers."""
        return sum(self.ohm / (z + self.conductor + self.ohm) for z in (hot, cold))

    def destination(self, connector: str) -> Destination:
        """Return the destination; an input that by itself rejects all that is common."""
        ground = GroundPath(self.volts, self.earth)
        socket = Input("in", "rca", "single-ended", self.ohm, sensitivity_volts=1.0, ground=ground)
        if connector == "xlr":
            socket = Input("in", "xlr", "balanced", self.ohm, circuit="buffered",
                           impedance_is="each-leg", mismatch=self.mismatch, rejection_db=300.0,
                           sensitivity_volts=1.0, ground=ground)  # fmt: skip
        return Destination("amp", (socket,), cable=Cable(self.metres, 0.0, self.shield, 0.0))


def some_link(rng: np.random.Generator) -> Link:
    return Link(
        metres=float(rng.choice([0.5, 5.0, 20.0])),
        shield=float(rng.choice([0.03, 0.5, 2.0])),
        earth=float(rng.choice([0.2, 1.0, 50.0])),
        ohm=float(rng.choice([600.0, 2e3, 10e3, 47e3])),
        mismatch=float(rng.choice([0.0, 0.001, 0.02])),
    )


def some_legs(rng: np.random.Generator, kind: str) -> tuple[float, float]:
    """Return two legs within what is assumed where nobody states them."""
    ohm = float(rng.choice([0.0, WORST, *np.exp(rng.uniform(np.log(0.3), np.log(WORST), 4))]))
    if kind == "unbalanced":
        return ohm, float(rng.uniform(0.0, 1.0))
    other = ohm * (1.0 - float(rng.uniform(0.0, UNLIKE)))
    return (ohm, other) if rng.random() < 0.5 else (other, ohm)


def inside(found: Quantity | None, true: float, slack: float) -> bool:
    assert found is not None
    return found.low - slack <= true <= found.high + slack


def by_id(advice: Advice) -> dict[str, OptionAdvice]:
    return {o.option.id: o for o in advice.options}


@pytest.mark.parametrize("kind", ["differential", "impedance-balanced", "unbalanced"])
@pytest.mark.parametrize("connector", ["rca", "xlr"])
@pytest.mark.long
def test_any_output_of_a_sheet_lies_inside(tmp_path: Path, kind: str, connector: str) -> None:
    """A lead was used whose hum is avoided, with every figure of it outside what was stated."""
    path = tmp_path / "source.toml"
    path.write_text(SHEET.format(kind=kind), "utf-8")
    rng = np.random.default_rng(7)
    source = read_source(path)
    for _ in range(6):
        link = some_link(rng)
        options = by_id(advise(*source, link.destination(connector)))
        for _ in range(25):
            hot, cold = some_legs(rng, kind)
            for name in options.keys() - {"xlr-to-rca/transformer", "xlr-to-xlr/transformer"}:
                hum = link.heard(name, hot, cold)
                below = options[name].figures.hum_below_full_output_db
                # the impedances are walked in half decades: a tenth of a decibel between them
                true = -20.0 * math.log10(max(hum, 1e-15))
                assert below is not None
                assert below.low - 0.1 <= true, (link, name, hot, cold)
                # nothing is hummed more where both ends of a leg are alike to the last digit
                assert true <= below.high + 0.1 or below.high > 120.0, (link, name, hot, cold)
            if connector == "xlr" and kind == "differential":
                level = options["xlr-to-xlr"].figures.level
                assert inside(level, link.level(hot, cold), 0.0)


def with_cold_unknown(hot: float) -> Advice:
    """A session that loaded pin 2 and not pin 3, into an input of 2 kohm a leg."""
    nan = complex("nan")
    stage = legs(hot=1.0, cold=-1.0, z=((hot, 0.0), (0.0, nan)), draws=40, spread=0.002)
    stage.legs_z[:, 0, 0] = stage.legs_z_draws[..., 0, 0] = hot
    link = Link(5.0, 0.17, 1.0, 2e3, mismatch=0.001)
    return advise(facts(connectors=("xlr",)), {"left": stage}, link.destination("xlr"))


def test_an_unmeasured_leg_beside_a_measured_one_may_be_alike_or_not() -> None:
    """An XLR lead was to be avoided for hum that legs which are probably alike do not have."""
    plain = by_id(with_cold_unknown(630.0))["xlr-to-xlr"]
    link, below = Link(5.0, 0.17, 1.0, 2e3, mismatch=0.001), plain.figures.hum_below_full_output_db
    assert below is not None
    for cold in (0.0, WORST, 630.0, 567.0, 100.0):
        true = -20.0 * math.log10(link.heard("xlr-to-xlr", 630.0, cold))
        assert below.low - 0.1 <= true <= below.high + 0.1
    assert plain.verdict == "cannot-tell"
    assert "(load-cold)" in plain.reasons[0]


def test_hum_of_a_tie_is_worst_between_a_short_and_the_largest(tmp_path: Path) -> None:
    """A tie at the far end was used for a hum that only a leg of nothing at all would have."""
    path = tmp_path / "source.toml"
    path.write_text(SHEET.format(kind="impedance-balanced"), "utf-8")
    link = Link(5.0, 0.505, 1.0, 10e3, volts=0.57e-3)
    options = by_id(advise(*read_source(path), link.destination("rca")))
    tied = "xlr-to-rca/pin-3-tied-at-destination"
    ends = [-20.0 * math.log10(link.heard(tied, z, z)) for z in (0.0, 100.0, WORST)]
    # closed form (above): 100 ohm are worse than either end, and below the limit of 75 dB
    assert ends[1] < min(ends[0], ends[2], 75.0)
    below = options[tied].figures.hum_below_full_output_db
    assert below is not None
    assert below.low == pytest.approx(ends[1], abs=0.05)
    assert options[tied].verdict == "cannot-tell"


@pytest.mark.parametrize("cold", [0.0, 1.0, 30.0, 300.0, WORST])
def test_the_current_in_a_tied_silent_leg_is_largest_between(tmp_path: Path, cold: float) -> None:
    """The stated interval left out what flows in a tie of an impedance-balanced output."""
    path = tmp_path / "source.toml"
    path.write_text(SHEET.format(kind="impedance-balanced"), "utf-8")
    link = Link(1.0, 0.05, 1.0, 10e3)
    there = link.destination("xlr")
    (socket,) = there.inputs
    tied = replace(socket, pin_3="ground", circuit="difference-amplifier")
    options = by_id(advise(*read_source(path), replace(there, inputs=(tied,))))
    # closed form: 2 V behind hot on 10 kohm; half of that drives the 5 kohm of a difference
    # amplifier's other half against pin 3, whose current parts between the join of 20 mohm and
    # the lead, the leg and the shield
    at_hot = 2.0 * link.ohm / (link.ohm + cold + link.conductor)
    away = link.conductor + cold + link.shield
    true = math.sqrt(2.0) * at_hot / 2.0 / (link.ohm / 2.0) * away / (away + 0.02)
    assert inside(options["xlr-to-xlr"].figures.tie_current, true, 0.01 * true)
