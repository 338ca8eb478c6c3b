"""A lead that joins pin 3 to ground does so for all on its output: pin 2 alone drives them."""

from __future__ import annotations

import random
import re
from pathlib import Path

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.attenuator import Pad
from probe.advice.destination import Input, together
from probe.advice.loads import load_of_all
from probe.advice.model import Advice
from probe.advice.operating import BY_ID
from probe.advice.padded import in_both_legs, padded
from probe.advice.source_file import read_source
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination
from probe.advice.wiring import Option

SHEET = """
format = "probe-source/1"
kinds = ["transformer-coupled"]
differential_level_v = 2.0
differential_impedance_ohm = 100
floating_winding = true
[device]
maker = "Wexcombe"
model = "Ockley"
output = "line"
connectors = ["xlr"]
volume_control = true
minimum_load_ohm = {least}
"""

MIXED = ["xlr:1000ohm/leg:1V:buffered", "rca:20k:1V"]


def ask(folder: Path, into: list[str], least: float) -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET.format(least=least), "utf-8")
    there = changed(together([typed_destination(x, 50.0) for x in into]), ground="same-strip")
    return advise(*read_source(path), there)


def test_pin_2_sees_the_legs_of_all_inputs(tmp_path: Path) -> None:
    """The device was loaded with half of what the user was told."""
    advice = ask(tmp_path, MIXED, 500.0)
    held = {o.box: o for o in advice.sets[0].options}
    ways = [o.option.pin_3 for o in held.values()]
    assert ways[0] == "through"
    assert ways[1].startswith("tied")
    for found in held.values():
        # closed form: 1 kohm and 20 kohm from pin 2 to ground, where pin 3 stands
        assert found.works_into_ohm == pytest.approx(1.0 / (1.0 / 1000.0 + 1.0 / 20000.0))
    level = held["rca:20k:1V"].figures.level
    assert level is not None
    # closed form: what the level tells of the load, Zs V / (E - V) of 2 V behind 100 ohm
    assert 100.0 * level.value / (2.0 - level.value) == pytest.approx(952.4, rel=5e-3)


def test_below_half_of_what_is_allowed_it_has_resistors(tmp_path: Path) -> None:
    """A transformer that its maker allows 2 kohm was loaded with 952 ohm, and the leads "work"."""
    advice = ask(tmp_path, MIXED, 2000.0)
    xlr, rca = (next(o for o in advice.sets[0].options if o.box == box) for box in MIXED)
    assert xlr.option.pin_3 == "through"
    assert rca.option.pin_3.startswith("tied")
    pads = [o.option.pad for o in (xlr, rca)]
    series = [0.0 if p is None else p.series_ohm for p in pads]
    # closed form: the resistor in the wire of pin 2 and a leg of 1 kohm, beside those of 20 kohm
    joint = 1.0 / (1.0 / (1000.0 + series[0]) + 1.0 / (20000.0 + series[1]))
    assert xlr.works_into_ohm == rca.works_into_ohm == pytest.approx(joint)
    # half of 2 kohm, as in the rule of one input
    assert joint >= 1000.0
    said = " ".join(render(advice).split())
    # closed form: 1 kohm beside 20 kohm without them
    assert "in place of 952 ohm, all plugged in" in said


@pytest.mark.parametrize("least", [1100.0, 1300.0, 1600.0])
def test_resistors_that_are_named_make_what_is_said(tmp_path: Path, least: float) -> None:
    """The user soldered 113 ohm for 2 kohm, and had 1.05."""
    advice = ask(tmp_path, MIXED, least)
    held = {o.box: o for o in advice.sets[0].options}
    ways = [o.option.pin_3 for o in held.values()]
    assert ways[0] == "through"
    assert ways[1].startswith("tied")
    said = next(n.message for n in advice.cautions if n.code == "together-load")
    named = re.search(r"with ([\d.]+) (k?)ohm in each of the leads to pins 2 and 3 .* it is", said)
    assert named is not None
    s = float(named[1]) * (1000.0 if named[2] else 1.0)
    # closed form: S and the leg of 1 kohm, beside 20 kohm; the next of E96 above what is needed
    needed = 1.0 / (1.0 / least - 1.0 / 20000.0) - 1000.0
    assert needed <= s <= 1.03 * needed


def test_one_input_of_both_circuits_beside_a_tie(tmp_path: Path) -> None:
    """A transformer input stays between pins 2 and 3, wherever pin 3 stands."""
    into = ["xlr:1000ohm/leg:1V:transformer", "rca:20k:1V"]
    held = ask(tmp_path, into, 500.0).sets[0].options
    for found in held:
        # closed form: 2 kohm between the legs beside 20 kohm
        assert found.works_into_ohm == pytest.approx(1.0 / (1.0 / 2000.0 + 1.0 / 20000.0))


def box(rng: random.Random) -> tuple[Option, Input]:
    """Return a lead on an XLR output into an input, some with resistors in the plug."""
    where = rng.choice(["pin-3-tied-at-source", "pin-3-tied-at-destination", "transformer"])
    ohm = rng.choice([600, 1000, 2200, 10000, 47000])
    kind = rng.choice(["rca", "buffered", "transformer", "ground"])
    if kind == "rca":
        socket = typed_destination(f"rca:{ohm}ohm:1V", 50.0).inputs[0]
        option = BY_ID[f"xlr-to-rca/{where}"]
    else:
        is_ = rng.choice(["leg", "between"])
        tail = "buffered:pin-3-ground" if kind == "ground" else kind
        socket = typed_destination(f"xlr:{ohm}ohm/{is_}:1V:{tail}", 50.0).inputs[0]
        option = BY_ID[rng.choice(["xlr-to-xlr", "xlr-to-xlr/transformer"])]
    if rng.random() < 0.5:
        shunt = rng.choice([float("inf"), 470.0, 3300.0])
        both = in_both_legs(option, socket)
        option = padded(option, Pad(rng.choice([330.0, 1500.0]), shunt, both))
    return option, socket


def nodal(held: list[tuple[Option, Input]], tied: bool) -> float:
    """Return the ohms between pins 2 and 3 by nodal analysis of the resistors alone.

    ``tied``: pin 3 is ground. Each isolator's far side is a network of its own, turned by 1/n².
    """
    stamps: list[tuple[str, str, float]] = []
    for k, (option, socket) in enumerate(held):
        isolated = option.pin_3 == "transformer"
        top, bottom, ground = ("top", "bottom", "bottom") if isolated else ("hot", "cold", "0")
        own = _beyond(option, socket, top, bottom, ground, str(k))
        if isolated:
            far = _across(own, "top", "bottom") / option.part.ratio**2
            own = [("hot", "cold", far)]
        stamps += own
    if tied:
        to = {"cold": "0"}
        stamps = [(to.get(a, a), to.get(b, b), ohm) for a, b, ohm in stamps]
        return _across(stamps, "hot", "0")
    return _across(stamps, "hot", "cold")


def _beyond(
    option: Option, socket: Input, top: str, bottom: str, ground: str, k: str
) -> list[tuple[str, str, float]]:
    z, leg = socket.impedance_ohm, socket.impedance_is == "each-leg"
    single = socket.connector == "rca" or socket.pin_3 == "ground"
    # an RCA shell, and a pin 3 grounded inside, are the ground of the lead
    low = ground if single else bottom
    found, pad = [], option.pad
    if pad is not None:
        found.append((top, f"t{k}", pad.series_ohm))
        top = f"t{k}"
        if pad.balanced:
            found.append((low, f"b{k}", pad.series_ohm))
            low = f"b{k}"
        if np.isfinite(pad.shunt_ohm):
            found.append((top, low, pad.shunt_ohm))
    if socket.connector == "rca":
        return [*found, (top, low, z)]
    if socket.circuit == "transformer":
        return [*found, (top, low, 2.0 * z if leg else z)]
    each = z if leg else z / 2.0
    # behind an isolator the winding floats: the legs' common end is a node of its own
    middle = f"m{k}" if option.pin_3 == "transformer" and not single else ground
    return [*found, (top, middle, each), (low, middle, each)]


def _across(stamps: list[tuple[str, str, float]], a: str, b: str) -> float:
    names = sorted({n for s in stamps for n in s[:2]} - {b})
    g = np.zeros((len(names), len(names)))
    for one, two, ohm in stamps:
        for n, other in ((one, two), (two, one)):
            if n in names:
                g[names.index(n), names.index(n)] += 1.0 / ohm
                if other in names:
                    g[names.index(n), names.index(other)] -= 1.0 / ohm
    current = np.zeros(len(names))
    current[names.index(a)] = 1.0
    return float(np.linalg.lstsq(g, current, rcond=None)[0][names.index(a)])


def test_the_load_of_any_set_is_that_of_its_network() -> None:
    """What the device is loaded with, resistors in the plugs and all."""
    rng = random.Random(19)
    seen = {True: 0, False: 0}
    for _ in range(400):
        held = [box(rng) for _ in range(rng.randint(1, 4))]
        tied = any(
            o.pin_3.startswith("tied") or (o.pin_3 == "through" and s.pin_3 == "ground")
            for o, s in held
        )
        seen[tied] += 1
        # nodal analysis with numpy, above
        assert load_of_all(held, between=True) == pytest.approx(nodal(held, tied), rel=1e-6)
        if tied:  # pin 3 carries nothing: between the legs and on one of them is the same
            assert load_of_all(held, between=False) == load_of_all(held, between=True)
    assert min(seen.values()) > 40
