"""Sessions without loads: the legs as the recorder heard them, for each thing they may be."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.destination import Destination, Input
from probe.advice.model import Advice
from tests.advice.stages import TONES, facts, source

WORST = 2200.0  # IEC 61938, as quoted by a glossary


def heard(kind: str, hot: complex, cold: complex) -> dict[str, Any]:
    """Facts of a session without loads: 20 kohm of a recorder on each leg."""
    document = facts(kind, driven="both-legs" if cold else "one-leg")
    document["made"] = {"bench": {"inputs": [{"impedance_ohm": 20e3}]}}
    played = np.exp(1j * np.random.default_rng(2).uniform(-np.pi, np.pi, len(TONES)))
    document["sides"]["left"]["curves"] = {
        "hz": [float(f) for f in TONES],
        **{
            f"{leg}_recorded": {"unit": "V", "real": list((volts * played).real),
                                "imag": list((volts * played).imag), "u95": [0.0] * len(TONES)}
            for leg, volts in (("hot", hot), ("cold", cold))
        },
    }  # fmt: skip
    return document


def asked(document: dict[str, Any], ohm: float) -> Advice:
    nothing = np.full(len(TONES), np.nan)
    stage = source(diff=nothing, common=nothing, z_diff=np.nan, z_common=np.nan, single=1.0)
    socket = Input("in", "xlr", "balanced", ohm, circuit="buffered", impedance_is="each-leg")
    return advise(document, {"left": stage}, Destination("amp", (socket,)))


@pytest.mark.parametrize(("kind", "cold", "volts"), [
    ("differential", -0.5, 1.0), ("electronically-floating", -0.5, 1.0),
    ("transformer-coupled", -0.5, 1.0), ("impedance-balanced", 0.0, 0.5)])  # fmt: skip
def test_into_what_the_recorder_is_the_level_is_what_it_heard(
    kind: str, cold: float, volts: float
) -> None:
    """The most ordinary lead was passed by for one with an adapter: its level was "not known"."""
    advice = asked(heard(kind, 0.5, cold), 20e3)
    (plain,) = [o for o in advice.options if o.option.id == "xlr-to-xlr"]
    level = plain.figures.level
    assert level is not None
    # closed form: the same load gives the same volts, whatever the impedances are; the lead has
    # some milliohms and 100 pF
    assert (level.low, level.high) == pytest.approx((volts, volts), rel=1e-3)
    assert advice.chosen == "xlr-to-xlr"


def test_into_another_load_it_lies_between_what_the_impedances_may_make_of_it() -> None:
    advice = asked(heard("differential", 0.5, -0.5), 10e3)
    (plain,) = [o for o in advice.options if o.option.id == "xlr-to-xlr"]
    level = plain.figures.level
    assert level is not None
    # closed form: (1 + Z / 20 kohm) / (1 + Z / 10 kohm), for Z from nothing to the largest
    least = (1.0 + WORST / 20e3) / (1.0 + WORST / 10e3)
    assert (level.low, level.high) == pytest.approx((least, 1.0), rel=2e-3)
