"""A load that the output did not drive is told, and judged where an input loads as hard."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from probe.advice.advise import advise
from probe.advice.attenuator import Pad
from probe.advice.case import Finding
from probe.advice.cautions import load_refused
from probe.advice.destination import Cable, Destination, Input, together
from probe.advice.ground import of_preset
from probe.advice.loads import _both_outputs, _load, _load_refused, load_of
from probe.advice.network import reduce
from probe.advice.padded import in_both_legs
from probe.advice.subject import side_of
from probe.advice.text import render
from probe.advice.typed import typed_destination
from probe.advice.wiring import EMF, OPTIONS, wire
from probe.facts.refused import refused_stage
from probe.report.leaflet import leaves_of
from probe.session.model import Load, RefusedLoad
from tests.advice.stages import facts, impedance_balanced, symmetrical

ACROSS = {"circuit": "unknown", "pin_3": "input"}
"""An input of which nothing else is known."""

SEEN = "the level falls behind the drive by 1.1 dB"


def told(
    ends: tuple[str, str], ohm: float, driven: tuple[str, str, float] | None = None
) -> dict[str, Any]:
    """The keys of a stage, as the analysis writes them; ``driven``: the load of a used take."""
    one = RefusedLoad("left", "", (Load(ends[0], ends[1], ohm, 0.001, "R1"),), SEEN)  # type: ignore[arg-type]
    loads = () if driven is None else (Load(*driven, 0.001, "R2"),)  # type: ignore[arg-type]
    take = SimpleNamespace(name="used", side="left", loads=loads)
    session: Any = SimpleNamespace(refused_loads=(one,), takes=(take,))
    return refused_stage(session, "left", {"used"})


def through(from_: str = "xlr", **more: Any) -> Any:
    """A lead with nothing in it, or with a pad or a transformer."""
    return SimpleNamespace(**{"from_": from_, "pin_3": "through", "pad": None, **more})


def judged(
    stage: dict[str, Any], socket: float, is_: str | None, from_: str = "", beside: Any = ()
) -> list[Finding]:
    case: Any = SimpleNamespace(
        stage=side_of(facts("differential", stage=stage), "left").stage,
        option=through(from_ or ("rca" if is_ is None else "xlr")),
        socket=SimpleNamespace(**ACROSS, impedance_ohm=socket, impedance_is=is_),
        beside=beside,
    )
    return list(_load_refused(case))


@pytest.mark.parametrize(
    ("ends", "ohm", "socket", "is_", "avoided"),
    [
        # closed form: an input counts from twice the refused ohms down; of a balanced input each
        # leg to ground is half of what is between the legs
        (("hot", "ground"), 604.0, 1200.0, "each-leg", True),
        (("hot", "ground"), 604.0, 1210.0, "each-leg", False),
        (("hot", "ground"), 604.0, 2400.0, "between-legs", True),
        (("hot", "cold"), 1210.0, 1200.0, "each-leg", True),
        (("hot", "cold"), 1210.0, 1220.0, "each-leg", False),
        (("hot", "cold"), 1210.0, 2430.0, "between-legs", False),
        (("single-ended", "ground"), 2210.0, 4000.0, None, True),
        (("hot", "ground"), 2210.0, 4430.0, None, False),
    ],
)
def test_an_input_that_loads_as_hard_is_avoided(
    ends: tuple[str, str], ohm: float, socket: float, is_: str | None, avoided: bool
) -> None:
    found = judged(told(ends, ohm), socket, is_)
    assert [(f.verdict, f.code, f.hazard) for f in found] == [
        ("avoid", "load-refused", True)
    ] * avoided
    assert all(SEEN in f.message for f in found)


BETWEEN = ("hot", "cold")
CENTRE = ("single-ended", "ground")


@pytest.mark.parametrize(
    ("ends", "ohm", "driven", "socket", "is_", "from_", "doubted"),
    [
        # closed form, as above: an input counts from twice the refused ohms down; a load that was
        # driven shows an input of about its ohms, of one leg half of what is between both; an RCA
        # centre against the shell sees one leg of a balanced input
        (BETWEEN, 1210.0, None, 2400.0, "each-leg", "rca", True),
        (BETWEEN, 1210.0, None, 2430.0, "each-leg", "rca", False),
        (BETWEEN, 1210.0, None, 4800.0, "between-legs", "rca", True),
        (BETWEEN, 1210.0, ("single-ended", "ground", 2210.0), 1200.0, None, "rca", True),
        (BETWEEN, 1210.0, ("single-ended", "ground", 604.0), 1200.0, None, "rca", False),
        (BETWEEN, 1210.0, ("hot", "ground", 604.0), 1200.0, None, "rca", True),
        (CENTRE, 2210.0, None, 600.0, None, "xlr", True),
        (CENTRE, 2210.0, None, 2200.0, None, "xlr", True),
        (CENTRE, 2210.0, None, 10000.0, None, "xlr", False),
        (CENTRE, 2210.0, ("hot", "ground", 604.0), 600.0, None, "xlr", False),
        (CENTRE, 2210.0, ("hot", "cold", 1210.0), 600.0, "each-leg", "xlr", False),
    ],
)  # fmt: skip
def test_of_the_other_output_nobody_knows_unless_it_drove_as_much(
    ends: tuple[str, str],
    ohm: float,
    driven: tuple[str, str, float] | None,
    socket: float,
    is_: str | None,
    from_: str,
    doubted: bool,
) -> None:
    found = judged(told(ends, ohm, driven), socket, is_, from_)
    assert [(f.verdict, f.code, f.doubt) for f in found] == [
        ("cannot-tell", "load-not-shown", "avoid")
    ] * doubted
    assert all("would settle it" in f.message for f in found)


def test_a_load_of_a_take_that_was_not_used_shows_nothing() -> None:
    one = RefusedLoad("left", "", (Load("hot", "cold", 1210.0, 0.001, "R1"),), SEEN)
    take = SimpleNamespace(name="a", side="left", loads=one.loads)
    session: Any = SimpleNamespace(refused_loads=(one,), takes=(take,))
    assert refused_stage(session, "left", ())["driven"] == []
    # closed form: the load of the used take itself
    assert [o["ohm"] for o in refused_stage(session, "left", {"a"})["driven"]] == [1210.0]


def test_it_is_said_on_the_screen_whatever_the_input_is() -> None:
    document = facts("differential", stage=told(("hot", "ground"), 604.0))
    advice = advise(document, {"left": symmetrical()}, typed_destination("xlr:20k/leg:2V", 50.0))
    (note,) = [c.message for c in advice.cautions if c.code == "load-refused"]
    assert "604 ohm on pin 2: " + SEEN in note
    assert "(left)" in note
    assert " ".join(render(advice).split()).count(SEEN) == 1
    assert [c["code"] for c in advice.to_json()["cautions"]].count("load-refused") == 1


def test_of_an_output_that_no_lead_uses_nothing_is_said() -> None:
    side = side_of(facts("differential", stage=told(("hot", "ground"), 604.0)), "left")
    xlr, rca = SimpleNamespace(from_="xlr"), SimpleNamespace(from_="rca")
    assert load_refused([side], [rca]) == ()  # type: ignore[list-item]
    assert len(load_refused([side], [rca, xlr])) == 1  # type: ignore[list-item]


@pytest.mark.parametrize("said", ["x", [3], [{"ohm": "a"}], [{"ohm": -1.0}], {"ohm": 3}])
def test_what_is_no_list_of_loads_says_nothing(said: Any) -> None:
    assert side_of(facts("differential", stage={"refused": said}), "left").stage.refused == ()


@pytest.mark.parametrize(
    ("least", "ohm", "verdict"),
    # closed form: half of the ohms draw twice the current
    [(600.0, 600.0, None), (1000.0, 600.0, "works"), (1200.0, 600.0, "works"),
     (10000.0, 600.0, "avoid")],
)  # fmt: skip
def test_an_input_far_below_what_the_maker_allows_is_avoided(
    least: float, ohm: float, verdict: str | None
) -> None:
    socket = SimpleNamespace(**ACROSS, impedance_ohm=ohm, impedance_is="each-leg")
    case: Any = SimpleNamespace(load_ohm=least, option=through(), socket=socket, beside=())
    assert [f.verdict for f in _load(case)] == ([] if verdict is None else [verdict])


@pytest.mark.parametrize(
    ("beside", "avoided"),
    [
        # closed form: 22 kohm alone are more than twice 10 kohm; two of them are 11 kohm, and 22
        # kohm beside one of 480 kohm between its legs, 240 kohm on each, 20.2 kohm
        ((), False),
        (((22e3, "each-leg"),), True),
        (((480e3, "between-legs"),), False),
        (((22e3, "each-leg"), (480e3, "between-legs")), True),
    ],
)
def test_inputs_on_one_output_load_it_together(beside: Any, avoided: bool) -> None:
    others = [(through(), SimpleNamespace(**ACROSS, impedance_ohm=ohm, impedance_is=is_))
              for ohm, is_ in beside]  # fmt: skip
    stage = told(("hot", "ground"), 10e3)
    found = judged(stage, 22e3, "each-leg", beside=tuple(others))
    assert [f.code for f in found] == ["load-refused"] * avoided
    assert all(f"the {len(others) + 1} inputs" in f.message for f in found)


def test_inputs_on_one_output_are_held_against_what_the_maker_allows() -> None:
    sockets = [
        SimpleNamespace(**ACROSS, impedance_ohm=1000.0, impedance_is="each-leg") for _ in range(7)
    ]
    verdicts = []
    for n in (1, 2, 4, 7):
        beside = tuple((through(), s) for s in sockets[1:n])
        case: Any = SimpleNamespace(load_ohm=600.0, option=through(), socket=sockets[0],
                                    beside=beside)  # fmt: skip
        verdicts += [[f.verdict for f in _load(case)]]
    # closed form: 2000, 1000, 500 and 286 ohm between the legs, half of that on each; half of 600
    # are 300
    assert verdicts == [[], ["works"], ["works"], ["avoid"]]


@pytest.mark.parametrize(
    ("more", "is_", "least", "told"),
    [
        # closed form: 1:2 turns 20 kohm into 5 kohm, 2:1 into 80
        ({"pin_3": "transformer", "part": SimpleNamespace(ratio=2.0)}, None, 6e3, "5 kohm"),
        ({"pin_3": "transformer", "part": SimpleNamespace(ratio=0.5)}, None, 6e3, ""),
        # closed form: 4 kohm and 1 kohm beside 20 kohm are 4.952 kohm; two legs with 2 kohm each
        # and 2 kohm beside 40 kohm across them 5.905 kohm, 2.952 kohm for each
        ({"pad": Pad(4e3, 1e3, balanced=False)}, None, 6e3, "4.95 kohm"),
        (
            {"pad": Pad(2e3, 2e3, balanced=True)},
            "each-leg",
            6e3,
            "5.9 kohm it works into between pins",
        ),
        ({"pad": Pad(2e3, 2e3, balanced=True)}, "each-leg", 5e3, "2.95 kohm it works into on each"),
    ],
)
def test_what_stands_before_an_input_is_in_its_load(
    more: dict[str, Any], is_: str | None, least: float, told: str
) -> None:
    socket = SimpleNamespace(**ACROSS, impedance_ohm=20e3, impedance_is=is_)
    option = through("rca" if is_ is None else "xlr", **more)
    case: Any = SimpleNamespace(load_ohm=least, option=option, socket=socket, beside=())
    assert [told in f.message for f in _load(case)] == ([True] if told else [])


@pytest.mark.parametrize("id_", [o.id for o in OPTIONS if o.pin_3 != "open"])
@pytest.mark.parametrize(
    ("is_", "circuit"),
    [("each-leg", "buffered"), ("between-legs", "buffered"), ("each-leg", "transformer")],
)
@pytest.mark.parametrize("in_plug_ohm", [0.0, 700.0])
def test_the_load_is_what_the_solved_network_draws(
    id_: str, is_: Any, circuit: Any, in_plug_ohm: float
) -> None:
    option = next(o for o in OPTIONS if o.id == id_)
    lossless = replace(option.part, magnetising_henry=1e6, ratio=0.5, loss_ohm=1e9,
                       primary_ohm=0.1, secondary_ohm=0.1)  # fmt: skip
    option = replace(option, part=lossless)
    both = "single-ended" if option.to == "rca" else "balanced"
    socket = Input("in", option.to, both, 1500.0, circuit=circuit,
                   impedance_is=is_ if option.to == "xlr" else None)  # fmt: skip
    if in_plug_ohm:
        pad = Pad(in_plug_ohm, math.inf, balanced=in_both_legs(option, socket))
        option = replace(option, pad=pad)
    hz = np.array([1000.0])
    wired = wire(option, socket, circuit, 0.0, Cable(length_m=0.1))
    drawn = reduce(wired.network, hz, (*wired.pins, EMF)).y[0, 0].real
    tied = option.from_ == "xlr" and option.pin_3.startswith("tied")
    across = option.from_ == "xlr" and not tied
    volts = np.array([0.5, -0.5, 0.0] if across else [1.0, 0.0, 0.0])[: drawn.size - 1]
    # ohm's law on the network: volts on the pins over the current out of pin 2, or of the centre
    sees = 1.0 / float(drawn[:-1] @ volts)
    assert load_of(option, socket, between=True) == pytest.approx(sees, rel=0.01)


def two_of(ohm: float) -> Destination:
    """Two power amplifiers on one output, nothing about them left open."""
    socket = Input("xlr", "xlr", "balanced", ohm, circuit="buffered", impedance_is="each-leg",
                   sensitivity_volts=0.5, ground=of_preset("same-strip"))  # fmt: skip
    return together([Destination("amp", (socket,))] * 2)


def test_what_does_not_go_with_the_others_is_not_used() -> None:
    document = facts("differential", stage=told(("hot", "ground"), 10e3), connectors=("xlr",))
    both = two_of(22e3)
    # with an RCA output the second one goes there: each output has one
    two_outputs = {**document, "device": {**document["device"], "connectors": ["xlr", "rca"]}}
    through_rca = advise(two_outputs, {"left": symmetrical()}, both)
    assert [c.option for c in through_rca.choices] == [
        "xlr-to-xlr", "rca-to-xlr/pin-3-tied-at-source"]  # fmt: skip
    advice = advise(document, {"left": symmetrical()}, both)
    first, second = advice.choices
    # closed form, as above: one of the two is 22 kohm and works, both are 11 kohm
    assert (first.option, second.option) == ("xlr-to-xlr", None)
    assert second.box.endswith("(no. 2)")
    assert "11 kohm together" in second.why[0]
    assert second.why[1] == "with the others unplugged: xlr-to-xlr"
    used = [o.box for o in advice.options if o.verdict == "use"]
    assert used == [first.box]
    said = advice.to_json()
    assert [c["option"] for c in said["choices"]] == ["xlr-to-xlr", None]
    assert [c["option"] for c in said["sets"][0]["choices"]] == ["xlr-to-xlr", None]
    assert "together-not-all" in [c["code"] for c in said["cautions"]]
    assert "USE NOTHING YET (amp (no. 2))" in render(advice)
    one, other = leaves_of(said)
    assert "stays unplugged" in " ".join(one.before)
    assert (other.chosen, other.drawing) == ("Not together with the other boxes", None)
    assert "By itself it works" in " ".join(other.why)


def test_a_lead_that_only_has_more_to_mind_with_the_others_is_used_and_said() -> None:
    document = facts("differential", device={"minimum_load_ohm": 600.0})
    both = two_of(1e3)
    advice = advise(document, {"left": symmetrical()}, both)
    assert [c.option for c in advice.choices] == ["xlr-to-xlr"] * 2
    (note,) = [c.message for c in advice.cautions if c.code == "together-mind"]
    assert "500 ohm together" in note


def of_rca(
    *ohms: float, preset: str = "same-strip", length_m: float = 1.0, volts: float = 0.8
) -> Destination:
    """Boxes with an RCA input each."""
    boxes = []
    for ohm in ohms:
        socket = Input("rca", "rca", "single-ended", ohm, sensitivity_volts=volts,
                       ground=of_preset(preset), cable=Cable(length_m=length_m))  # fmt: skip
        boxes.append(Destination("amp", (socket,)))
    return together(boxes)


def test_the_box_that_is_left_out_is_the_one_the_others_do_not_go_with() -> None:
    device = {"connectors": ["rca"], "minimum_load_ohm": 10e3, "full_output_volts": 2.0}
    document = facts("unbalanced", device=device)
    # closed form: 47 kohm twice are 23.5 kohm; with 5.5 kohm all are 4.46 kohm, less than half of
    # 10 kohm, and one of them with 5.5 kohm 4.92 kohm; 2 V are none to spare for resistors
    need_all = of_rca(47e3, 5.5e3, 47e3, volts=2.0)
    advice = advise(document, {"left": symmetrical()}, need_all)
    assert [c.option for c in advice.choices] == ["rca-to-rca", None, "rca-to-rca"]
    assert "3 inputs on this output, 4.46 kohm together" in advice.choices[1].why[0]
    told = [c.message for c in advice.cautions if c.code == "together-not-all"]
    assert len(told) == 1
    # where there is some to spare none is left out
    spared = advise(document, {"left": symmetrical()}, of_rca(47e3, 5.5e3, 47e3))
    assert [c.option for c in spared.choices] == ["rca-to-rca"] * 3


@pytest.mark.parametrize(("other", "minded"), [(2300.0, True), (50e3, False)])
def test_what_hangs_on_both_outputs_is_minded_together(other: float, minded: bool) -> None:
    case: Any = SimpleNamespace(
        stage=side_of(facts("differential", stage=told(BETWEEN, 1210.0)), "left").stage,
        option=through(),
        socket=SimpleNamespace(**ACROSS, impedance_ohm=1300.0, impedance_is="each-leg"),
        beside=(),
        elsewhere=((through("rca"), SimpleNamespace(**ACROSS, impedance_ohm=other,
                                                    impedance_is=None)),),
    )  # fmt: skip
    # closed form: 2600 ohm beside 2300 are 1220, beside 50 kohm 2471; twice 1210 are 2420
    found = list(_both_outputs(case))
    assert [(f.verdict, f.code, f.hazard) for f in found] == [
        ("works", "load-both-outputs", True)
    ] * minded
    assert all("1.22 kohm" in f.message for f in found)


def test_two_boxes_hang_on_two_outputs_where_that_is_as_good() -> None:
    document = facts("impedance-balanced", driven="one-leg", device={"full_output_volts": 2.0})
    advice = advise(document, {"left": impedance_balanced()},
                    of_rca(10e3, 22e3, preset="antenna-or-network", length_m=10.0))  # fmt: skip
    # common practice, no source: what like pins need is a splitter, and here one output is free
    assert sorted(c.option or "" for c in advice.choices) == [
        "rca-to-rca/transformer", "xlr-to-rca/transformer"]  # fmt: skip
    assert "shared-output" not in [c.code for c in advice.cautions]
    one, both = ({o.option.id: o.figures for o in advice.options if o.box == c.box}
                 for c in advice.choices)  # fmt: skip
    for figures in (one, both):
        hums = [figures[c.option or ""].hum_below_full_output_db for c in advice.choices]
        assert all(h is not None and h.low > 90.0 for h in hums)


@pytest.mark.parametrize(
    ("each", "verdicts"),
    [(4.9e3, ["works"]), (6e3, ["works"]), (8e3, ["works"]), (10e3, []), (2.4e3, ["avoid"])],
)
def test_an_input_is_held_against_it_alike_however_it_is_written(
    each: float, verdicts: list[str]
) -> None:
    """The same amplifier was refused by one way of writing its input and used by the other."""
    told = []
    for is_, ohm in (("each-leg", each), ("between-legs", 2.0 * each)):
        socket = SimpleNamespace(**ACROSS, impedance_ohm=ohm, impedance_is=is_)
        case: Any = SimpleNamespace(load_ohm=10e3, option=through(), socket=socket, beside=())
        told.append([(f.verdict, f.message) for f in _load(case)])
    assert told[0] == told[1]
    # closed form: twice the ohms of a leg lie between the legs; below 10 kohm, and half of that
    assert [verdict for verdict, _ in told[0]] == verdicts


@pytest.mark.parametrize(
    ("ohm", "into", "helps"),
    [
        # by hand: a line driver of 10 kohm (the usual bridging load) draws more than 20 kohm do
        (10e3, "xlr:10k/leg:2V", False),
        (604.0, "xlr:600/leg:2V", True),
    ],
)
def test_no_line_driver_is_named_that_loads_the_output_no_less(
    ohm: float, into: str, helps: bool
) -> None:
    """Lost: a box bought for an output with a broken leg, which drives that box no better."""
    document = facts("differential", stage=told(("cold", "ground"), ohm))
    advice = advise(document, {"left": symmetrical()}, typed_destination(into, 50.0))
    assert advice.chosen is None
    assert ("line-driver" in {s.code for s in advice.would_change}) == helps
