"""Kits, what they show, which take comes next, and which loads are refused."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from pathlib import Path

import pytest

from probe import line_output
from probe.bench.judged.judge import judge_loop_back
from probe.bench.planned import meters
from probe.bench.planned.able import FIRST, Known, Refused, Setting, able, refused, step_for
from probe.bench.planned.kit import TEMPLATE, Kit, read_kit, remember, remembered
from probe.bench.planned.learn import learn
from probe.bench.planned.plan import EARLY, Done, SoFar, next_step
from probe.bench.planned.steps import Step
from probe.errors import BadInput
from probe.session.model import Device, MeterReading

DEVICE = Device("Invented", "One")


@pytest.fixture
def full(tmp_path: Path) -> Kit:
    path = tmp_path / "kit.toml"
    path.write_text(TEMPLATE, "utf-8")
    return read_kit(path)


def answers(kit: Kit) -> dict[str, str]:
    return {one.what: one.answer for one in learn(Setting(DEVICE, kit, "left"))}


LEGS = "whether the legs are separate or floating"
SILENT = "the kind, where pin 3 is silent"
DRIVEN = "the kind, where both legs carry signal"


def test_cables_only_show_no_impedance_and_no_kind() -> None:
    # source: a level alone has no current in it, so no impedance: closed form
    found = answers(Kit(single_ended=True))
    assert found["levels of both legs, leg ratio and phase"] == "yes"
    assert found["gain difference to the single-ended output"] == "yes"
    assert found["polarity of pin 2"] == "yes"
    assert {found[k] for k in ("impedance of pin 2", "impedance of pin 3", LEGS)} == {"no"}
    assert found[DRIVEN] == found[SILENT] == "no"


def test_one_leg_load_shows_separate_or_floating(full: Kit) -> None:
    # source: a load draws current only from a leg that carries signal: closed form
    found = answers(Kit(loads=tuple(x for x in full.loads if x[0] == "leg")))
    assert found[LEGS] == "yes"
    assert found["impedance of pin 2"] == "yes"
    assert found["impedance of pin 3"] == "if driven"
    assert found[SILENT] == "no"


def test_one_injector_shows_a_silent_leg(full: Kit) -> None:
    found = answers(Kit(injector=full.injector))
    assert found["impedance of pin 3"] == "yes"
    assert found[SILENT] == found[DRIVEN] == "yes"
    assert found["polarity of pin 2"] == "no"


def test_no_output_of_the_device_no_take(full: Kit) -> None:
    steps = able(Setting(replace(DEVICE, connectors=("xlr",)), full, "left"), Known())
    assert "single-ended" not in steps
    assert "single-ended-loaded" not in steps
    assert "inject-single-ended" not in steps


def ranked_first(takes: object) -> tuple[str | None, str | None]:
    first = next(iter(takes), None)  # type: ignore[call-overload]
    return first, "first of those offered"


def order(setting: Setting, *, everything: bool) -> list[str]:
    """The takes the plan asks for when nothing is ever found out."""
    made: list[str] = []
    for _ in range(20):
        step = next_step(setting, Known(), SoFar(tuple(made)), ranked_first, everything=everything)
        if isinstance(step, Done):
            return made
        made.append(step.take)
    raise AssertionError(made)


def test_injections_come_before_loads_and_open_comes_last(full: Kit) -> None:
    made = order(Setting(DEVICE, full, "left"), everything=False)
    assert made[0] == "open"
    assert made[-1] == "second-open"
    loads = [made.index(t) for t in made if t.startswith("load")]
    legs = [t for t in made if t != "inject-single-ended"]
    injections = [made.index(t) for t in legs if t.startswith("inject")]
    assert made.index("inject-single-ended") < made.index("single-ended-loaded")
    assert injections
    assert loads
    assert max(injections) < min(loads)
    assert not [t for t in made if t.endswith("off")]


def test_a_tone_follows_its_take_and_needs_no_plugging(full: Kit) -> None:
    made = order(Setting(DEVICE, full, "left"), everything=False)
    assert made[:3] == ["open", "tone", "idle"]
    assert made.index("single-ended-tone") == made.index("single-ended") + 1
    steps = able(Setting(DEVICE, full, "left"), Known())
    assert steps["tone"].plugged == steps["open"].plugged == steps["idle"].plugged
    assert steps["single-ended-tone"].plugged == steps["single-ended"].plugged
    assert made.index("loop-back") == made.index("floor") + 1
    files = able(Setting(DEVICE, full, "left", plays_files=True), Known())
    assert "tone" in files
    assert "loop-back" not in files  # what the interface plays is not in what is heard then


def test_a_tone_at_a_level_waits_until_the_recorders_share_is_known(full: Kit) -> None:
    # source: closed form: 600 ohm into inputs of 20 kohm read 3 % low before they are known
    levels = frozenset({"tone", "single-ended-tone"})
    made = order(Setting(DEVICE, full, "left", levels=levels), everything=False)
    shown = [made.index(take) for take in made if take.startswith(("inject", "load-"))]
    assert max(shown) < made.index("single-ended-tone") < made.index("tone")
    # nothing to plug between the tone and the open take; the interface hears itself at the end
    assert made[-3:] == ["tone", "second-open", "loop-back"]
    only = order(Setting(DEVICE, full, "left", levels=frozenset({"tone"})), everything=False)
    assert only.index("single-ended-tone") == only.index("single-ended") + 1
    # a kit of leads shows no impedance: there is nothing to wait for
    leads = replace(full, injector=None, loads=())
    assert order(Setting(DEVICE, leads, "left", levels=levels), everything=False)[1] == "tone"


def test_distortion_is_promised_down_to_what_bounds_it(full: Kit) -> None:
    def promised(setting: Setting) -> str:
        return next(one.what for one in learn(setting) if "THD" in one.what)

    assert "less the bench's own" in promised(Setting(DEVICE, full, "left"))
    # source: what the analysis takes without a loop-back take, docs/formats.md: 0.03 %
    assert "above 0.03 %" in promised(Setting(DEVICE, Kit(), "left"))
    assert "above 0.03 %" in promised(Setting(DEVICE, full, "left", plays_files=True))


def test_an_interface_that_does_not_hear_itself_is_told() -> None:
    assert judge_loop_back((0.178, 0.177), (0.178, 0.178), lost=False) == ()
    found = judge_loop_back((0.178, 0.0002), (0.178, 0.178), lost=False)
    assert [f.code for f in found] == ["nothing-heard"]
    assert "input 2" in found[0].seen
    assert "input 1" not in found[0].seen
    lost = judge_loop_back((0.178, 0.178), (0.178, 0.178), lost=True)
    assert [f.code for f in lost] == ["samples-lost"]


def test_a_load_waits_for_the_injections_that_are_left(full: Kit) -> None:
    """Whatever tells more: a load on a leg whose impedance nobody knows comes after injecting."""

    def prefers_loads(takes: Collection[str]) -> tuple[str | None, str | None]:
        return next((t for t in takes if t.startswith("load")), None), "it tells more"

    made = (FIRST, *(take for take, _, _ in EARLY))
    setting = Setting(DEVICE, full, "left")
    step = next_step(setting, Known(), SoFar(made), prefers_loads)
    assert isinstance(step, Step)
    assert step.take == "inject-cold"
    spent = SoFar((*made, "inject-cold"), frozenset({"inject-hot"}))
    step = next_step(setting, Known(), spent, prefers_loads)
    assert isinstance(step, Step)
    assert step.take == "load-cold"


def test_everything_switches_the_device_off_after_all_else(full: Kit) -> None:
    made = order(Setting(DEVICE, full, "left"), everything=True)
    assert made[-2:] == ["inject-cold-off", "inject-hot-off"]
    assert made[-3] == "second-open"


def test_settled_means_done(full: Kit) -> None:
    value = {"value": 100.0, "u95": 1.0, "unit": "ohm"}
    names = (
        "gain_difference cold_impedance hot_impedance coupling_cold_into_hot "
        "coupling_hot_into_cold differential_impedance single_ended_impedance"
    )
    facts = dict.fromkeys(names.split(), value)
    body = {"stage": {"kind": "differential"}, "facts": facts}
    early = tuple(take for take, _, _ in EARLY)
    so_far = SoFar((FIRST, *early, "inject-cold", "second-open"), body=body)
    done = next_step(Setting(DEVICE, full, "left"), Known(), so_far, ranked_first)
    assert isinstance(done, Done)
    assert done.open_ == ()


@pytest.mark.parametrize(
    ("device", "known", "valve", "why"),
    [
        # source: the maker's own minimum
        (replace(DEVICE, minimum_load_ohm=2000.0), Known(), False, "maker's minimum"),
        # source: load no lower than five times the impedance found: 604 < 5 x 150
        (DEVICE, Known(hot_ohm=150.0), False, "less than 5 times"),
        (DEVICE, Known(), True, "only after an injection"),
        # source: half of 0.25 W on 604 ohm: sqrt(0.125 x 604) = 8.69 V
        (DEVICE, Known(hot_volts=8.8), False, "more than R1 should bear"),
    ],
)
def test_loads_that_are_refused(
    full: Kit, device: Device, known: Known, valve: bool, why: str
) -> None:
    setting = Setting(device, full, "left", valve=valve)
    found = step_for("load-hot", setting, known)
    assert isinstance(found, Refused)
    assert why in found.why
    assert any(one.take == "load-hot" for one in refused(setting, known))


def test_the_single_ended_output_of_valves_is_injected_into_or_what_would_settle_it_is_said(
    full: Kit,
) -> None:
    setting = Setting(DEVICE, full, "left", valve=True)
    step = step_for("inject-single-ended", setting, Known())
    assert isinstance(step, Step)
    assert step.plugged.channels == ("hot", "single-ended")
    assert step.plugged.injector is not None
    assert step.plugged.injector.into == "single-ended"
    # source: 2210 ohm is five times 442 ohm
    assert isinstance(step_for("single-ended-loaded", setting, Known()), Refused)
    loaded = step_for("single-ended-loaded", setting, Known(single_ended_ohm=441.0))
    assert isinstance(loaded, Step)
    none = replace(setting, kit=replace(full, injector=None))
    assert step_for("inject-single-ended", none, Known()) is None
    told = step_for("single-ended-loaded", none, Known())
    assert isinstance(told, Refused)
    assert "an injector of 10 kohm or more in the kit would settle it" in told.why


def test_load_just_allowed(full: Kit) -> None:
    # source: 604 / 5 = 120.8 ohm; 8.6 V is below 8.69 V
    known = Known(hot_ohm=120.0, hot_volts=8.6)
    step = step_for("load-hot", Setting(DEVICE, full, "left", valve=True), known)
    assert isinstance(step, Step)
    assert [(x.from_, x.to, x.ohm) for x in step.plugged.loads] == [("hot", "ground", 604.0)]


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ("ohm = 10000.0", "can hurt the device"),
        ('between = ["leg"] ', "is no place"),
        ("breakout = true ", "nothing can be measured"),
    ],
)
def test_kits_that_cannot_be_used(tmp_path: Path, change: str, what: str) -> None:
    worse = {
        "ohm = 10000.0": "ohm = 1000.0",
        'between = ["leg"] ': 'between = ["foot"] ',
        "breakout = true ": "breakout = false ",
    }
    path = tmp_path / "kit.toml"
    path.write_text(TEMPLATE.replace(change, worse[change]), "utf-8")
    with pytest.raises(BadInput, match=what):
        read_kit(path)


def test_kit_is_remembered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, full: Kit) -> None:
    monkeypatch.setenv("PROBE_DATA", str(tmp_path / "data"))
    assert remembered() is None
    remember(tmp_path / "kit.toml")
    assert remembered() == full


@pytest.mark.parametrize(
    ("dc", "ac", "weight"),
    # source: above 0.1 V do not connect, above 2 V suspect a fault or a bridged output
    [(0.004, 0.0, "fine"), (0.099, 0.0, "fine"), (-0.11, 0.0, "stop"), (24.0, 0.0, "stop"),
     (0.0, 0.6, "ask"), (0.0, 9.0, "stop")],
)  # fmt: skip
def test_meter(dc: float, ac: float, weight: str) -> None:
    judged = meters.judge(MeterReading("left", ("hot", "ground"), dc, ac))
    assert judged.weight == weight
    assert ("2 V" in judged.text) == (abs(dc) > 2.0)


@pytest.mark.parametrize(
    ("ohm", "full_volts", "asked"),
    # source: below 5 ohm or above 8 V it is asked about again
    [(4.9, None, True), (5.1, None, False), (None, 8.1, True), (None, 7.9, False)],
)
def test_outputs_that_look_like_power(
    ohm: float | None, full_volts: float | None, asked: bool
) -> None:
    assert (line_output.looks_like_power(ohm, full_volts, 0.0) is not None) == asked


@pytest.mark.parametrize(
    ("facts", "ohm"),
    [
        ({}, None),
        # between the legs where it is known
        ({"differential_impedance": 3.0, "hot_impedance": 100.0, "cold_impedance": 1.0}, 3.0),
        # a grounded pin 3 says nothing; the other leg does
        ({"hot_impedance": 100.0, "cold_impedance": 0.03}, 100.0),
        ({"hot_impedance": 1.5, "cold_impedance": 1.5}, 1.5),
        ({"hot_impedance": 1.5}, None),
    ],
)
def test_impedance_an_output_is_judged_by(facts: dict[str, float], ohm: float | None) -> None:
    said = {name: {"value": value, "unit": "ohm"} for name, value in facts.items()}
    assert line_output.output_ohm(said) == ohm


def test_a_loud_level_that_was_heard_is_asked_about() -> None:
    # source: above 8 V it is asked about again
    assert line_output.looks_like_power(100.0, None, 8.2) is not None
    assert line_output.looks_like_power(100.0, None, 7.8) is None


@pytest.mark.parametrize(("volts", "weight"), [(0.0, "fine"), (0.5, "fine"), (60.0, "ask")])
def test_grounds_apart_are_asked_about(volts: float, weight: str) -> None:
    judged = meters.judge_grounds(volts)
    # source: equipment without a protective earth floats at up to half the mains (IEC 60065, touch
    # currents; from memory); common practice: ground first
    assert judged.weight == weight
    assert ("Never lift an earth" in judged.text) == (weight == "ask")
