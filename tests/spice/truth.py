"""What the outputs really are, each quantity by a circuit of its own.

No matrix algebra stands between the simulator and a truth: the differential impedance is found
by driving a current through both legs, the level with pin 3 tied by tying it, the rejection by
building the data-sheet test circuit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .circuits import Circuit
from .ngspice import Tone, solve

Curve = NDArray[np.complex128]


@dataclass(frozen=True)
class Truth:
    """At F frequencies, everything for 1 V of drive; complex, shape (F,), volts or ohm.

    ``z[(i, j)]`` is the voltage at terminal i per ampere put into terminal j, terminals
    ``hot``, ``cold``, ``single-ended``.
    """

    hz: NDArray[np.float64]
    hot: Curve
    cold: Curve
    single_ended: Curve
    z: dict[tuple[str, str], Curve]
    differential_impedance: Curve
    common_mode_impedance: Curve
    hot_pin_3_tied: Curve
    tie_current: Curve
    output_common_mode_rejection: NDArray[np.float64]
    """Common-mode e.m.f. over the differential voltage it causes; infinite where none appears."""

    @property
    def differential(self) -> Curve:
        """Differential open-circuit level, V."""
        return self.hot - self.cold

    def at(self, curve: Curve, hz: float) -> complex:
        """Value of ``curve`` at the tone ``hz``."""
        index = int(np.argmin(np.abs(self.hz - hz)))
        if abs(self.hz[index] - hz) > 1e-3 * hz:
            raise KeyError(f"{hz} Hz is not among the tones of the truth")
        return complex(curve[index])


_NODES = {"hot": "h", "cold": "c", "single-ended": "r"}


def solve_truth(circuit: Circuit, hz: Sequence[float]) -> Truth:
    """Solve all truths at ``hz`` with one run of the simulator."""
    lines = [circuit.includes(), "vdrive drive 0 dc 0 ac 1"]

    def copy(label: str, drive: str = "0") -> None:
        lines.append(circuit.instance(label, drive, f"h{label}", f"c{label}", f"r{label}"))

    # open circuit
    copy("o", "drive")
    # one ampere into each terminal in turn
    for n in "hcr":
        copy(n)
        lines.append(f"i{n} 0 {n}{n} dc 0 ac 1")
    # one ampere in at hot and out at cold
    copy("d")
    lines.append("id cd hd dc 0 ac 1")
    # legs tied together, one ampere
    copy("m")
    lines += ["vm hm cm dc 0 ac 0", "im 0 hm dc 0 ac 1"]
    # pin 3 tied to pin 1
    copy("t", "drive")
    lines.append("vt ct 0 dc 0 ac 0")
    # data-sheet rejection: common-mode e.m.f. through 300 ohm + 300 ohm, 600 ohm across
    copy("j")
    lines += ["vj j 0 dc 0 ac 1", "rj1 j hj 300", "rj2 j cj 300", "rj3 hj cj 600"]

    outputs = [f"v({n}o)" for n in "hcr"]
    outputs += [f"v({n}{label})" for label in "hcr" for n in "hcr"]
    outputs += ["v(hd)", "v(cd)", "v(hm)", "v(ht)", "i(vt)", "v(hj)", "v(cj)"]
    s = solve("\n".join(lines), (), [Tone(f, ()) for f in hz], outputs)
    with np.errstate(divide="ignore"):
        rejection = 1.0 / np.abs(s["v(hj)"] - s["v(cj)"])
    return Truth(
        hz=np.array(hz),
        hot=s["v(ho)"],
        cold=s["v(co)"],
        single_ended=s["v(ro)"],
        z={(i, j): s[f"v({a}{b})"] for i, a in _NODES.items() for j, b in _NODES.items()},
        differential_impedance=s["v(hd)"] - s["v(cd)"],
        common_mode_impedance=s["v(hm)"],
        hot_pin_3_tied=s["v(ht)"],
        tie_current=s["i(vt)"],
        output_common_mode_rejection=rejection,
    )
