"""The circuit solver against closed forms."""

import ast
from pathlib import Path

import numpy as np
import pytest

import probe.simulate
from probe.errors import BadInput
from probe.simulate.circuit import (
    Amplifier,
    Capacitor,
    Circuit,
    ControlledSource,
    Coupling,
    CurrentSource,
    Inductor,
    Resistor,
    VoltageSource,
    solve,
)

HZ = np.array([20.0, 1000.0, 20000.0])
S = 2j * np.pi * HZ
EMF = VoltageSource("U", "in", "0")


def voltage(node, *elements, hz=HZ, excite=None, **options):
    return solve(Circuit(elements), hz, [excite or {"U": 1.0}], **options).at(node)[:, 0]


def test_a_divider():
    # closed form: R2 / (R1 + R2)
    found = voltage("out", EMF, Resistor("R1", "in", "out", 3e3), Resistor("R2", "out", "0", 1e3))
    np.testing.assert_allclose(found, 0.25, rtol=1e-14)


def test_a_low_pass():
    # closed form: 1 / (1 + s R C)
    found = voltage("out", EMF, Resistor("R", "in", "out", 1e4), Capacitor("C", "out", "0", 1e-9))
    np.testing.assert_allclose(found, 1 / (1 + S * 1e4 * 1e-9), rtol=1e-13)


def test_a_resonance():
    # closed form of a series circuit: (1 / sC) / (R + sL + 1 / sC)
    found = voltage(
        "out",
        EMF,
        Resistor("R", "in", "a", 50.0),
        Inductor("L", "a", "out", 2e-3),
        Capacitor("C", "out", "0", 1e-6),
    )
    np.testing.assert_allclose(found, 1 / (1 + S * 50e-6 + S**2 * 2e-9), rtol=1e-12)


def test_a_current_source_into_two_parallel_resistors():
    # closed form: I R1 R2 / (R1 + R2), current into node a
    parts = (
        CurrentSource("I", "a", "0"),
        Resistor("R1", "a", "0", 300.0),
        Resistor("R2", "0", "a", 600.0),
    )
    np.testing.assert_allclose(voltage("a", *parts, excite={"I": 0.01}), 2.0, rtol=1e-14)


def test_coupled_inductors():
    # closed form: V2 / U with a loaded secondary, from the two loop equations
    # (R1 + s L1) I1 + s M I2 = U and s M I1 + (R2 + s L2) I2 = 0, V2 = -R2 I2
    l1, l2, k, r1, r2 = 10.0, 2.5, 0.99, 50.0, 600.0
    m = k * np.sqrt(l1 * l2)
    expected = r2 * S * m / ((r1 + S * l1) * (r2 + S * l2) - (S * m) ** 2)
    found = voltage(
        "b",
        EMF,
        Resistor("R1", "in", "a", r1),
        Inductor("L1", "a", "0", l1),
        Inductor("L2", "b", "0", l2),
        Coupling("T", ("L1", "L2"), k),
        Resistor("R2", "b", "0", r2),
    )
    np.testing.assert_allclose(found, expected, rtol=1e-11)


def test_a_perfect_transformer_transforms_impedance_by_the_square_of_the_turns():
    # closed form: k = 1, L1 / L2 = n², reactance far above the resistances: the load appears as
    # n² R2 beside s L1, so V1 = U Zin / (R1 + Zin) and V2 = V1 / n
    n, l1, r1, r2 = 2.0, 100.0, 50.0, 600.0
    zin = 1 / (1 / (n**2 * r2) + 1 / (S * l1))
    parts = (
        EMF,
        Resistor("R1", "in", "a", r1),
        Inductor("L1", "a", "0", l1),
        Inductor("L2", "b", "0", l1 / n**2),
        Coupling("T", ("L1", "L2"), 1.0),
        Resistor("R2", "b", "0", r2),
    )
    np.testing.assert_allclose(voltage("a", *parts), zin / (r1 + zin), rtol=1e-9)
    np.testing.assert_allclose(voltage("b", *parts), zin / (r1 + zin) / n, rtol=1e-9)


def test_a_follower_and_its_output_impedance():
    # closed form: with A = A0 / (1 + j f A0 / GB) the follower gives A / (1 + A),
    # and one ampere into its output Ro / (1 + A)
    amplifier = Amplifier("A", "in", "out", "out", gain=1e5, gain_bandwidth_hz=3e6, output_ohm=40)
    a = 1 / (1e-5 + 1j * HZ / 3e6)
    np.testing.assert_allclose(voltage("out", EMF, amplifier), a / (1 + a), rtol=1e-12)
    probe = CurrentSource("I", "out", "0")
    found = voltage("out", EMF, amplifier, probe, excite={"I": 1.0})
    np.testing.assert_allclose(found, 40 / (1 + a), rtol=1e-10)


def test_an_inverter_closes_at_half_its_gain_bandwidth():
    # closed form: -A / (2 + A) with equal resistors and no output resistance to speak of
    a = 1 / (1e-6 + 1j * HZ / 10e6)
    found = voltage(
        "out",
        EMF,
        Resistor("R1", "in", "sum", 1e4),
        Resistor("R2", "sum", "out", 1e4),
        Amplifier("A", "0", "sum", "out", output_ohm=1e-9),
    )
    np.testing.assert_allclose(found, -a / (2 + a), rtol=1e-10)


def test_without_power_an_amplifier_is_a_resistor():
    # closed form: divider of the feedback path and off_ohm
    parts = (
        EMF,
        Resistor("R", "in", "out", 1e4),
        Amplifier("A", "0", "in", "out", off_ohm=1e7),
    )
    np.testing.assert_allclose(voltage("out", *parts, powered=False), 1e7 / (1e7 + 1e4))


def test_a_controlled_source_floats():
    # closed form: its ends differ by gain times the control, wherever they are held
    parts = (
        EMF,
        Resistor("Rin", "in", "0", 1e3),
        ControlledSource("E", "in", "0", "a", "b", -3.0),
        Resistor("Ra", "a", "0", 1e3),
        Resistor("Rb", "b", "0", 2e3),
    )
    np.testing.assert_allclose(voltage("a", *parts), -1.0, rtol=1e-13)
    np.testing.assert_allclose(voltage("b", *parts), 2.0, rtol=1e-13)


def test_excitations_are_solved_side_by_side():
    # superposition
    parts = (EMF, Resistor("R", "in", "x", 1e3), CurrentSource("I", "x", "0"))
    circuit = Circuit((*parts, Capacitor("C", "x", "0", 1e-8)))
    found = solve(circuit, HZ, [{"U": 2.0}, {"I": 1e-3}, {"U": 2.0, "I": 1e-3}]).at("x")
    np.testing.assert_allclose(found[:, 0] + found[:, 1], found[:, 2], rtol=1e-13)


@pytest.mark.parametrize(
    ("elements", "says"),
    [
        ((EMF, Resistor("R", "in", "0", 1.0), Capacitor("C", "x", "y", 1e-9)), 'node "x"'),
        ((EMF, VoltageSource("V", "in", "0")), "no single solution"),
        ((EMF, Coupling("T", ("L1", "L2"), 0.5)), "L1"),
    ],
)
def test_circuits_without_a_solution_are_refused(elements, says):
    with pytest.raises(BadInput, match=says):
        solve(Circuit(elements), HZ, [{"U": 1.0}])


def test_the_solver_stands_alone():
    # what is simulated proves the analysis only while the two have nothing in common
    allowed = {
        "session.model",
        "formats.mains",
        "formats.toml",
        "formats.text",
        "formats.write",
        "errors",
        "decibels",
    }
    for path in Path(probe.simulate.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            names = [node.module] if isinstance(node, ast.ImportFrom) else []
            names += [a.name for a in node.names] if isinstance(node, ast.Import) else []
            for name in names:
                room = name.removeprefix("probe.") if name.startswith("probe") else None
                assert room is None or room.startswith("simulate") or room in allowed, path


def test_an_unknown_source_is_refused():
    with pytest.raises(BadInput, match='no source "X"'):
        solve(Circuit((EMF, Resistor("R", "in", "0", 1.0))), HZ, [{"X": 1.0}])
