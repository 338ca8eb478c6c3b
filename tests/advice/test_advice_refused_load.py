"""A load that the output did not drive is told, and judged where an input loads as hard."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from probe.advice.advise import advise
from probe.advice.attenuator import Pad
from probe.advice.case import Finding
from probe.advice.cautions import load_refused
from probe.advice.destination import Destination, Input, together
from probe.advice.ground import of_preset
from probe.advice.loads import _load, _load_refused
from probe.advice.subject import side_of
from probe.advice.text import render
from probe.advice.typed import typed_destination
from probe.facts.refused import refused_stage
from probe.report.leaflet import leaves_of
from probe.session.model import Load, RefusedLoad
from tests.advice.stages import facts, symmetrical

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
        socket=SimpleNamespace(impedance_ohm=socket, impedance_is=is_),
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
        # driven shows an input of about its ohms, of one leg half of what is between both
        (BETWEEN, 1210.0, None, 1200.0, "each-leg", "rca", True),
        (BETWEEN, 1210.0, None, 1220.0, "each-leg", "rca", False),
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
    socket = SimpleNamespace(impedance_ohm=ohm, impedance_is="each-leg")
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
    others = [(through(), SimpleNamespace(impedance_ohm=ohm, impedance_is=is_))
              for ohm, is_ in beside]  # fmt: skip
    stage = told(("hot", "ground"), 10e3)
    found = judged(stage, 22e3, "each-leg", beside=tuple(others))
    assert [f.code for f in found] == ["load-refused"] * avoided
    assert all(f"the {len(others) + 1} inputs" in f.message for f in found)


def test_inputs_on_one_output_are_held_against_what_the_maker_allows() -> None:
    sockets = [SimpleNamespace(impedance_ohm=1000.0, impedance_is="each-leg") for _ in range(4)]
    verdicts = []
    for n in range(1, 5):
        beside = tuple((through(), s) for s in sockets[1:n])
        case: Any = SimpleNamespace(load_ohm=600.0, option=through(), socket=sockets[0],
                                    beside=beside)  # fmt: skip
        verdicts += [[f.verdict for f in _load(case)]]
    # closed form: 1000, 500, 333 and 250 ohm; half of 600 are 300
    assert verdicts == [[], ["works"], ["works"], ["avoid"]]


@pytest.mark.parametrize(
    ("more", "is_", "least", "told"),
    [
        # closed form: 1:2 turns 20 kohm into 5 kohm, 2:1 into 80
        ({"pin_3": "transformer", "part": SimpleNamespace(ratio=2.0)}, None, 6e3, "5000 ohm"),
        ({"pin_3": "transformer", "part": SimpleNamespace(ratio=0.5)}, None, 6e3, ""),
        # closed form: 4 kohm and 1 kohm beside 20 kohm are 4.952 kohm; each of two legs with 2 kohm
        # and half of 2 kohm beside 20 kohm 2.952 kohm
        ({"pad": Pad(4e3, 1e3, balanced=False)}, None, 6e3, "4950 ohm"),
        ({"pad": Pad(2e3, 2e3, balanced=True)}, "each-leg", 6e3, "2950 ohm"),
    ],
)
def test_what_stands_before_an_input_is_in_its_load(
    more: dict[str, Any], is_: str | None, least: float, told: str
) -> None:
    socket = SimpleNamespace(impedance_ohm=20e3, impedance_is=is_)
    option = through("rca" if is_ is None else "xlr", **more)
    case: Any = SimpleNamespace(load_ohm=least, option=option, socket=socket, beside=())
    assert [told in f.message for f in _load(case)] == ([True] if told else [])


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
    assert "11000 ohm together" in second.why[0]
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
