"""The facts document from a solved side: every figure with its interval, nothing unsupported."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from probe.facts.both import holding_both
from probe.facts.limits import least_seen, most_seen
from probe.measures.open_pin import against, most_of_pair, untold
from probe.measures.statement import (
    ANGLE_ALONG,
    Entry,
    at_most,
    complex_entry,
    decibel_entry,
    gain_entry,
    impedance_entry,
    level_entry,
    reaching,
    told_from_nothing,
)
from probe.session.model import MeterReading, Session
from probe.stage import limits
from probe.stage.identify import Identified
from probe.stage.kind import FLOATING, Verdict
from probe.stage.network import Complex
from probe.stage.quantities import (
    Column,
    Reading,
    column,
    common_mode_impedance,
    impedance_known,
    level_known,
    loading,
    mean_lift,
    modal_z,
    nearest,
    open_take,
    output_rejection,
    reading,
    recorded,
    recorder_ohm,
    single_ended_heard,
    widened,
)
from probe.stage.solved import Solved

Array = NDArray[np.float64]
Facts = dict[str, Entry]


class SideFacts:
    """Builds the facts of one side from what was identified."""

    def __init__(self, session: Session, identified: Identified, verdict: Verdict) -> None:
        self.session, self.identified, self.verdict = session, identified, verdict
        self.rng = np.random.default_rng(7)
        self.facts: Facts = {}
        self.levels: dict[str, Complex] = {}
        self.at_most = False
        self.untold = ""
        group = identified.group
        self.files = [] if group is None else list(dict.fromkeys(_files(identified)))

    def build(self) -> Facts:
        """All facts that the takes support."""
        self._recorded_levels()
        self._open_levels()
        self._single_ended()
        self._columns()
        self._pair()
        self._off()
        self._metered()
        return self._with_open_pin()

    def _with_open_pin(self) -> Facts:
        """Return facts that hold as well where nothing flows through an open leg at all.

        Its level without the recorder is ``V (1 + Y/g)``: where its conductance may be nothing,
        draws around what was found of it seldom come near the truth of an open pin.
        """
        legs = self.identified.legs
        if legs is None or legs.nothing_flows is None:
            return self.facts
        bare = replace(legs, theta=legs.nothing_flows, nothing_flows=None)
        other = SideFacts(self.session, replace(self.identified, legs=bare), self.verdict)
        return holding_both(self.facts, other.build())

    def _put(
        self, name: str, entry: Entry | None, hz: float, takes: list[str] | None = None
    ) -> None:
        if entry is None:
            return
        entry["at_hz"] = hz
        entry["takes"] = self.files if takes is None else takes
        self.facts[name] = entry

    def only_recorded(self) -> Facts:
        """Return what was heard and metered: all that takes in contradiction leave standing."""
        self._recorded_levels()
        self._metered()
        return self.facts

    def _recorded_levels(self) -> None:
        identified = self.identified
        t = open_take(identified)
        if t is None or identified.group is None:
            return
        k = nearest(identified.group.hz)
        hz = float(identified.group.hz[k])
        file = [identified.group.takes[t].phasors.take.file]
        volts = recorded(identified, t, k)
        self._put("hot_recorded", level_entry(volts[:, 0]), hz, file)
        self._put("cold_recorded", level_entry(volts[:, 1]), hz, file)

    def _open_levels(self) -> None:
        identified = self.identified
        if identified.legs is None or identified.group is None:
            return
        legs = identified.legs
        k = nearest(legs.hz)
        hz = float(legs.hz[k])
        largest = float(np.abs(identified.recorded[0, :, k, :2]).max(initial=0.0))
        rows = {n: reading(legs, n, "open", k) for n in ("hot", "cold", "difference", "mean")}
        known = {n: level_known(r, largest) for n, r in rows.items()}
        rows = {n: widened(r, self.rng) for n, r in rows.items()}
        open_leg = legs.open_leg
        strays = open_leg is not None
        self.untold = self._untold(legs, k)
        pin = self.untold or self._unseen()
        if pin:
            known |= {pin: False, "difference": False, "mean": False}
        self.levels = {n: r.draws for n, r in rows.items() if known[n]}
        for terminal, (name, fact) in enumerate((("hot", "hot_level"), ("cold", "cold_level"))):
            if known[name]:
                limited = open_leg == terminal
                self._put(fact, level_entry(rows[name].draws, limited=limited), hz)
        if known["difference"]:
            level = level_entry(rows["difference"].draws, limited=strays)
            self._put("differential_level", level, hz)
            self.difference = rows["difference"].draws
        else:
            self._as_recorded_difference(k, hz)
        if known["mean"]:
            self._put("common_mode_level", level_entry(rows["mean"].draws, limited=strays), hz)
        if known["difference"] and known["mean"]:
            self._balance(rows["difference"].draws, rows["mean"].draws, hz, limited=strays)
        if known["hot"] and known["cold"]:
            self._leg_ratio(rows["hot"].draws, rows["cold"].draws, hz, limited=strays)
        else:
            self._leg_ratio_recorded(k, hz)

    def _untold(self, legs: Solved, k: int) -> str:
        """Return the open leg that strays from the other bring a level nobody knows, or ""."""
        t = open_take(self.identified)
        if legs.open_leg is None or t is None or not untold(legs, k):
            return ""
        volts = recorded(self.identified, t, k)
        index = legs.open_leg
        return "" if against(volts[:, index], volts[:, 1 - index]) else ("hot", "cold")[index]

    def _unseen(self) -> str:
        return unseen_leg(self.identified, self.verdict)

    def _balance(self, difference: Complex, mean: Complex, hz: float, *, limited: bool) -> None:
        """Signal balance: a bound where the mean, or the difference, may be nothing."""
        small = mean if abs(mean[0]) < abs(difference[0]) else difference
        balance = difference / _safe(mean)
        entry = decibel_entry(balance, small=small, limited=limited)
        self._put("signal_balance", entry | most_seen(abs(difference[0]), mean), hz)

    def _as_recorded_difference(self, k: int, hz: float) -> None:
        """Differential level with the recorder attached; the interval covers what it took."""
        identified = self.identified
        t = open_take(identified)
        if t is None or identified.group is None:
            return
        volts = recorded(identified, t, k)
        lift = loading(identified.group.takes[t], hz, len(volts) - 1, self.rng)
        if self._may_be_open():
            self._most_of_pair(volts, volts * lift, hz)
            return
        self.difference = volts[:, 0] * lift[:, 0] - volts[:, 1] * lift[:, 1]
        entry = level_entry(self.difference, limited=True)
        if "bound" not in entry:
            plain = float(np.quantile(np.abs(volts[1:, 0] - volts[1:, 1]), 0.025))
            high = entry.get("high", entry["value"] + entry["u95"])
            entry["low"], entry["high"] = min(entry.get("low", plain), plain), high
            entry["u95"] = (high - entry["low"]) / 2.0
        self._put("differential_level", entry, hz)

    def _may_be_open(self) -> str:
        """Return the leg that nothing may be connected to and whose level is not known, or ""."""
        if self.untold:
            return self.untold
        kinds = {self.verdict.kind, *(p.kind for p in self.verdict.also_possible)}
        silent = self.verdict.silent
        return silent if "pin-3-unconnected" in kinds and silent not in self.levels else ""

    def _most_of_pair(self, volts: Complex, lifted: Complex, hz: float) -> None:
        """Bounds of a pair one leg of which may be open: of all where no more is known of it."""
        silent = self._may_be_open()
        live = "hot" if silent == "cold" else "cold"
        index = ("hot", "cold").index(live)
        level = self.levels.get(live, lifted[:, index])
        if against(volts[:, 1 - index], volts[:, index]):
            return
        self.difference, self.at_most = level, True
        for name, entry in most_of_pair(level, silent).items():
            if self.untold or name in ("differential_level", "leg_ratio"):
                self._put(name, dict(entry), hz)

    def _leg_ratio(self, hot: Complex, cold: Complex, hz: float, *, limited: bool) -> None:
        swap = np.abs(hot[0]) < np.abs(cold[0])
        ratio = cold / _safe(hot)
        small = hot if swap else cold
        self._put("leg_ratio", decibel_entry(ratio, small=small, limited=limited), hz)
        if told_from_nothing(small, ANGLE_ALONG):
            self._put("leg_phase", _phase_entry(ratio, limited=limited), hz)

    def _leg_ratio_recorded(self, k: int, hz: float) -> None:
        identified = self.identified
        t = open_take(identified)
        if t is None or identified.group is None:
            return
        volts = recorded(identified, t, k)
        observed = identified.group.takes[t]
        if self._may_be_open():
            return  # said with the level of the pair
        lift = loading(observed, hz, len(volts) - 1, self.rng)
        hot, cold = volts[:, 0] * lift[:, 0], volts[:, 1] * lift[:, 1]
        if self._may_float():
            mean = 0.5 * (hot + cold) * mean_lift(identified, observed, k, hz, self.rng)
            half = 0.5 * (hot - cold)
            hot, cold = mean + half, mean - half
        self._leg_ratio(hot, cold, hz, limited=True)

    def _may_float(self) -> bool:
        """Return True where a floating stage is still possible: its mean hangs on the recorder."""
        kinds = {self.verdict.kind, *(p.kind for p in self.verdict.also_possible)}
        return bool(kinds & set(FLOATING))

    def _single_ended(self) -> None:
        identified = self.identified
        solved = identified.single_ended
        bare: Complex | None = None
        if solved is None or identified.group is None:
            return
        k = nearest(solved.hz)
        hz = float(solved.hz[k])
        level = _row_reading(solved, 0, k)
        z = _row_reading(solved, 3, k)
        largest = float(np.abs(identified.recorded[0, :, k, 2]).max(initial=0.0))
        if level_known(level, largest) and impedance_known(z):
            voltage = level.draws
            self._put("single_ended_level", level_entry(voltage), hz)
            self._put("single_ended_impedance", impedance_entry(z.draws, sigma=z.sigma), hz)
        elif (heard := single_ended_heard(identified, k, identified.draws + 1)) is not None:
            voltage, bare = heard.lifted, heard.bare
            entry = reaching(level_entry(voltage, limited=True), level_entry(bare))
            self._put("single_ended_level", entry, hz)
        else:
            return
        if "single_ended_impedance" not in self.facts:
            self._single_ended_injected()
        difference = getattr(self, "difference", None)
        if difference is not None:
            limited = any(
                "limited_by_bench" in self.facts.get(n, {})
                for n in ("single_ended_level", "differential_level")
            )
            gain = gain_entry(difference, voltage, limited=limited)
            edge = None if bare is None else gain_entry(difference, bare)
            if gain is not None and edge is not None:
                gain = reaching(gain, edge)
            if gain is not None and self.at_most:
                gain = at_most(gain) if gain.get("bound") != "above" else None
            self._put("gain_difference", gain, hz)

    def _single_ended_injected(self) -> None:
        solved = self.identified.single_ended_injected
        if solved is None:
            return
        k = nearest(solved.hz)
        z = _row_reading(solved, 3, k)
        if impedance_known(z):
            self._put("single_ended_impedance", impedance_entry(z.draws), float(solved.hz[k]))

    def _columns(self) -> None:
        columns = {leg: column(self.identified, leg) for leg in ("hot", "cold")}
        for leg, one in columns.items():
            if one is None:
                continue
            limited = one.own.size > self._recorder_ohm(one.own.hz, leg)
            entry = impedance_entry(
                one.own.draws, sigma=one.own.sigma, inverse=self._is_open(leg), limited=limited
            )
            self._put(f"{leg}_impedance", entry, one.own.hz)
        self._coupling("coupling_cold_into_hot", columns["cold"])
        self._coupling("coupling_hot_into_cold", columns["hot"])
        self._mismatch()

    def _is_open(self, leg: str) -> bool:
        legs = self.identified.legs
        return legs is not None and legs.open_leg == ("hot", "cold").index(leg)

    def _mismatch(self) -> None:
        """Difference of the legs' impedances where both are known at one tone."""
        legs = self.identified.legs
        if legs is None or legs.open_leg is not None or self.identified.delays_on_few:
            return
        k = nearest(legs.hz)
        hot, cold = reading(legs, "hot", "hot", k), reading(legs, "cold", "cold", k)
        if impedance_known(hot) and impedance_known(cold):
            apart = hot.draws - cold.draws
            mismatch = level_entry(apart, unit="ohm") | least_seen(apart)
            if mismatch.get("bound") != "below" or mismatch["value"] < 0.5 * limits.OPEN_OHM:
                self._put("impedance_mismatch", mismatch, float(legs.hz[k]))

    def _recorder_ohm(self, hz: float, leg: str) -> float:
        return float(recorder_ohm(self.identified, np.array([hz]), leg)[0])

    def _coupling(self, name: str, one: Column | None) -> None:
        if one is None or one.beside.size < limits.DIVISOR_OHM:
            return
        if self._unseen() or any(self._is_open(leg) for leg in ("hot", "cold")):
            return
        if "bound" in self.facts.get(f"{_leg_of(name)}_impedance", {"bound": ""}):
            return
        self._put(name, complex_entry(one.coupling, limits.COUPLING_SUPPORT), one.beside.hz)

    def _pair(self) -> None:
        """Quantities of the pair: they need both columns on one tone."""
        legs = self.identified.legs
        if legs is None:
            self._injected_pair()
            return
        k = nearest(legs.hz)
        hz = float(legs.hz[k])
        both = all(self._known(reading(legs, leg, leg, k)) for leg in ("hot", "cold"))
        difference = reading(legs, "difference", "difference", k)
        if self._known(difference):
            entry = impedance_entry(
                difference.draws,
                sigma=difference.sigma,
                inverse=legs.open_leg is not None,
                limited=legs.open_leg is not None,
            )
            self._put("differential_impedance", entry, hz)
        if both and self._known(difference):
            self._pair_at(modal_z(legs, k), hz)
        self._tied(legs, k, hz)

    def _known(self, one: Reading) -> bool:
        """Return True where an impedance is supported; that of an open leg however uncertain."""
        legs = self.identified.legs
        if legs is not None and legs.open_leg is not None and legs.open_known:
            return one.open < 1.0 + 0.05 * float(np.quantile(np.abs(one.draws), 0.025))
        return impedance_known(one)

    def _injected_pair(self) -> None:
        solved = self.identified.injected
        if solved is None or len(self.identified.injected_into) < 2:
            return
        k = nearest(solved.hz)
        difference = reading(solved, "difference", "difference", k)
        if impedance_known(difference):
            hz = float(solved.hz[k])
            entry = impedance_entry(difference.draws, sigma=difference.sigma)
            self._put("differential_impedance", entry, hz)
            self._pair_at(modal_z(solved, k), hz)

    def _pair_at(self, z: Complex, hz: float) -> None:
        mean = common_mode_impedance(z)
        limited = bool(abs(mean[0]) > 0.5 * self._recorder_ohm(hz, "hot"))
        self._put("common_mode_impedance", impedance_entry(mean, limited=limited), hz)
        if self.identified.delays_on_few:
            return
        heard = output_rejection(z)
        entry = decibel_entry(1.0 / _safe(heard), small=heard)
        self._put("output_common_mode_rejection", entry | most_seen(1.0, heard), hz)

    def _tied(self, legs: Solved, k: int, hz: float) -> None:
        """Hot level with pin 3 tied to pin 1 and the current in the tie, solved not measured."""
        largest = float(np.abs(self.identified.recorded[0, :, k, :2]).max(initial=0.0))
        hot, cold = reading(legs, "hot", "open", k), reading(legs, "cold", "open", k)
        own = column(self.identified, "cold")
        if not level_known(hot, largest):
            return
        if own is None or not impedance_known(reading(legs, "cold", "cold", k)):
            return
        theta = legs.theta[:, k]
        z = theta[:, :, 1:3]
        z_cc = 0.25 * z[:, 0, 0] - 0.5 * z[:, 0, 1] - 0.5 * z[:, 1, 0] + z[:, 1, 1]
        apart = 0.5 * z[:, 0, 0] - z[:, 0, 1]
        cold_open = -0.5 * theta[:, 0, 0] + theta[:, 1, 0]
        tied = theta[:, 0, 0] + apart / _safe(z_cc) * cold_open
        if abs(z_cc[0]) < limits.DIVISOR_OHM:
            tied = hot.draws
        rest = limits.CROSSTALK * max(hot.size, cold.size)
        if abs(tied[0]) < rest:
            tied_entry: Entry = {"value": rest, "unit": "V", "u95": 0.0, "bound": "below"}
        else:
            tied_entry = level_entry(tied)
        self._put("hot_level_pin_3_tied", tied_entry, hz)
        if abs(z_cc[0]) > limits.DIVISOR_OHM and told_from_nothing(theta[:, 0, 0]):
            current = cold_open / _safe(z_cc) / _safe(theta[:, 0, 0])
            limited = legs.open_leg == 1
            self._put("pin_3_tie_current", level_entry(current, unit="A", limited=limited), hz)

    def _off(self) -> None:
        solved = self.identified.off
        if solved is None:
            return
        k = nearest(solved.hz)
        for terminal in self.identified.off_into:
            leg = ("hot", "cold")[terminal]
            own = reading(solved, leg, leg, k)
            self._put(f"{leg}_impedance_off", impedance_entry(own.draws), float(solved.hz[k]))

    def _metered(self) -> None:
        for meter in self.session.meters:
            if meter.side == self.identified.side:
                self._one_meter(meter)

    def _one_meter(self, meter: MeterReading) -> None:
        ends = set(meter.between)
        if "ground" not in ends or meter.volts_dc is None:
            return
        terminal = (ends - {"ground"}).pop() if len(ends) == 2 else ""
        name = {"hot": "hot", "cold": "cold", "single-ended": "single_ended"}.get(terminal)
        if name is None:
            return
        sign = 1.0 if meter.between[0] == terminal else -1.0
        self.facts[f"{name}_direct_voltage"] = {
            "value": sign * meter.volts_dc,
            "unit": "V",
            "u95": 0.01 * abs(meter.volts_dc) + 0.001,
            "takes": [],
            "note": "metered; the interval is that of an ordinary meter, 1 % and 1 mV",
        }


def unseen_leg(identified: Identified, verdict: Verdict) -> str:
    """Return the silent leg whose impedance no take shows: its open level may be strays."""
    silent = verdict.silent
    return silent if silent and column(identified, silent) is None else ""


def _leg_of(coupling: str) -> str:
    """Return the leg a coupling is driven from."""
    return "cold" if coupling == "coupling_cold_into_hot" else "hot"


def _files(identified: Identified) -> list[str]:
    assert identified.group is not None
    return [o.phasors.take.file for o in identified.group.takes]


def _safe(values: Complex) -> Complex:
    tiny = 1e-300
    return np.asarray(np.where(np.abs(values) > tiny, values, tiny))


def _row_reading(solved: Solved, entry: int, k: int) -> Reading:
    """Entry of the single row of the single-ended block: 0 its level, 3 its own impedance."""
    wanted = np.zeros((len(solved.hz), 1, 4), dtype=np.complex128)
    wanted[:, 0, entry] = 1.0
    lost = float(solved.lost(wanted)[k])
    sigma = float(solved.sigma(wanted)[k])
    return Reading(solved.theta[:, k, 0, entry], lost, sigma, float(solved.hz[k]))


def _phase_entry(ratio: Complex, *, limited: bool) -> Entry:
    """Angle in degrees within plus or minus 180; the interval never jumps at the seam."""
    nominal = float(np.degrees(np.angle(ratio[0])))
    spread = np.degrees(np.angle(ratio[1:] / ratio[0])) if len(ratio) > 1 else np.zeros(1)
    low, high = np.quantile(spread, [0.025, 0.975])
    entry: Entry = {"value": nominal, "unit": "deg", "u95": float((high - low) / 2.0)}
    if limited:
        entry["limited_by_bench"] = True
    return entry
