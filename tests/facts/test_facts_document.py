"""The facts document: plain JSON, read back exactly, refused in one line when damaged."""

from __future__ import annotations

import copy
import json
import math
import os
import random
from pathlib import Path

import numpy as np
import pytest

from probe.errors import BadInput
from probe.facts import read_facts, source_from_facts, to_json
from probe.facts.shape import unit_of
from probe.measures.statement import told_from_nothing
from probe.stage.as_source import DRAWS_KEPT, source_of
from tests.stage.forward import (
    FULL,
    INJECT_COLD,
    INJECT_HOT,
    LOAD_COLD,
    LOAD_HOT,
    OPEN,
    SECOND,
    Errors,
    drawn_errors,
    separate,
)
from tests.stage.stages import STAGES

from .made import made, session_on_disk

FEW = (OPEN, LOAD_HOT, SECOND)
ARRAYS = ("voc", "z", "legs_voc", "legs_z")


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A document of a transformer with all takes and drawn errors, and what it was made of."""
    folder = tmp_path_factory.mktemp("session")
    return made(folder, STAGES["transformer"], FULL, errors=drawn_errors(2, FULL), draws=500)


@pytest.fixture
def written(whole, tmp_path):
    path = tmp_path / "facts.json"
    path.write_text(to_json(whole[0]), encoding="utf-8")
    return path


def numbers(node):
    """Every number of a document."""
    if isinstance(node, dict):
        for value in node.values():
            yield from numbers(value)
    elif isinstance(node, list):
        for value in node:
            yield from numbers(value)
    elif isinstance(node, float):
        yield node


def plain(node) -> bool:
    """Nothing but what JSON knows: no arrays, no numpy scalars, no tuples."""
    if isinstance(node, dict):
        return all(type(k) is str and plain(v) for k, v in node.items())
    if isinstance(node, list):
        return all(plain(v) for v in node)
    return node is None or type(node) in (str, int, float, bool)


# shape ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "plans"),
    [(n, (OPEN,)) for n in list(STAGES)[::2]]
    + [(n, (OPEN, INJECT_COLD)) for n in list(STAGES)[1::2]]
    + [(n, FULL) for n in ("open", "in-phase")],
)
@pytest.mark.long
def test_every_document_is_plain_and_finite(name, plans, tmp_path):
    document, _ = made(tmp_path, STAGES[name], plans, draws=100)
    assert plain(document)
    assert all(math.isfinite(x) for x in numbers(document))
    assert json.loads(to_json(document)) == document


def test_to_json_refuses_what_json_does_not_know():
    for bad in (math.nan, math.inf, -math.inf):
        with pytest.raises(ValueError, match="JSON compliant"):
            to_json({"format": "probe-facts/1", "value": bad})


def test_every_fact_says_where_it_is_from(whole):
    document, _ = whole
    facts = document["sides"]["left"]["facts"]
    files = {f"{p.name}.wav" for p in FULL}
    assert len(facts) > 15
    for name, fact in facts.items():
        assert fact["unit"] in ("V", "dB", "deg", "ohm", "1", "A"), name
        assert fact["u95"] >= 0.0
        assert fact["at_hz"] > 0.0
        assert set(fact["takes"]) <= files
        assert fact.get("bound") in (None, "above", "below")
        if "low" in fact:
            assert fact["low"] <= fact["value"] <= fact["high"]


def test_the_stage_uses_the_words_of_the_closed_lists(whole):
    document, _ = whole
    stage = document["sides"]["left"]["stage"]
    assert stage["kind"] == "transformer-coupled"
    assert stage["driven_legs"] in ("both-legs", "one-leg", "none")
    assert stage["polarity"] in ("pin-2-hot", "pin-3-hot", "undetermined")
    assert stage["path"] == "undetermined"
    assert stage["next_take"] is None
    assert 0.0 <= stage["confidence"] <= 1.0


def test_takes_and_their_delays_are_listed(whole):
    document, _ = whole
    takes = document["sides"]["left"]["takes"]
    assert [t["take"] for t in takes] == [p.name for p in FULL]
    assert all(t["used"] and t["why_not"] is None for t in takes)


# there and back ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "plans"),
    [(n, p) for n in ("separate", "transformer", "open") for p in (FEW, (OPEN, INJECT_COLD))]
    + [(n, FULL) for n in ("transformer", "open")],
)
@pytest.mark.long
def test_the_source_comes_back_to_full_precision(name, plans, tmp_path):
    document, found = made(tmp_path, STAGES[name], plans, draws=200)
    path = tmp_path / "facts.json"
    path.write_text(to_json(document), encoding="utf-8")
    back = source_from_facts(read_facts(path), "left")
    source = source_of(found)
    assert back is not None
    assert source is not None
    np.testing.assert_array_equal(back.hz, source.hz)
    for array in ARRAYS:
        value = getattr(source, array)
        np.testing.assert_array_equal(getattr(back, array), value)
        draws, read = getattr(source, f"{array}_draws"), getattr(back, f"{array}_draws")
        np.testing.assert_array_equal(np.isnan(read), np.isnan(np.broadcast_to(value, read.shape)))
        # source: 24 bits of a 32-bit float: draws differ from the value to 6e-8 of the difference
        apart, kept = np.abs(read - draws), np.isfinite(read) & np.isfinite(draws)
        room = 2.0**-23 * np.abs(draws - value) + 1e-13 * np.abs(value)
        assert np.all(apart[kept] <= room[kept])


def test_what_is_not_known_is_unknown_in_every_draw(tmp_path):
    document, _ = made(tmp_path, separate(2.0, 0.0), (OPEN, LOAD_HOT, SECOND))
    source = source_from_facts(document, "left")
    assert source is not None
    # no load to pin 1 shows the impedance of a silent leg
    assert np.isnan(source.legs_z[:, 1, 1]).all()
    assert np.isnan(source.legs_z_draws[:, :, 1, 1]).all()
    # source: the stage's own numbers
    assert source.legs_z[:, 0, 0] == pytest.approx(100.0, abs=0.05)
    assert "cold_impedance" not in document["sides"]["left"]["curves"]


def test_curves_are_the_entries_of_the_source(whole):
    document, found = whole
    curves, source = document["sides"]["left"]["curves"], source_of(found)
    assert source is not None
    named = {
        "hot_open_circuit": source.legs_voc[:, 0],
        "cold_open_circuit": source.legs_voc[:, 1],
        "single_ended_open_circuit": source.voc[:, 2],
        "hot_impedance": source.legs_z[:, 0, 0],
        "cold_impedance": source.legs_z[:, 1, 1],
        "cold_into_hot_impedance": source.legs_z[:, 0, 1],
        "hot_into_cold_impedance": source.legs_z[:, 1, 0],
        "differential_impedance": source.z[:, 0, 0],
        "single_ended_impedance": source.z[:, 2, 2],
    }
    for name, wanted in named.items():
        for k, value in enumerate(wanted):
            stated = curves[name]["real"][k], curves[name]["imag"][k]
            bound = curves[name].get("bound", [None] * len(wanted))[k]
            if bound is None and stated == (None, None) and "_into_" in name:
                row, column = (0, 1) if name.startswith("cold") else (1, 0)
                draws = np.append(value, source.legs_z_draws[:, k, row, column])
                # beyond the recorder, and may be nothing: neither bound would hold
                assert abs(value) > 2e4
                assert not told_from_nothing(draws)
                continue
            if bound is None:
                assert stated == ((value.real, value.imag) if np.isfinite(value) else (None, None))
                continue
            # what its draws cannot tell from nothing, or from no end, is a bound of its magnitude
            assert stated == (None, None)
            if bound == "below":
                assert abs(value) <= curves[name]["value"][k]
            else:
                assert abs(value) >= curves[name]["value"][k]


def test_a_small_difference_of_large_numbers_is_kept_as_itself(whole):
    """A floating stage: 90 ohm between the legs, a quarter of a megohm to pin 1."""
    document, found = whole
    source = source_from_facts(json.loads(to_json(document)), "left")
    k = int(np.argmin(np.abs(source.hz - 1000.0)))
    spread = np.std(source.z_draws[:, k, 0, 0])
    expected = np.std(source_of(found).z_draws[:, k, 0, 0])
    # source: closed form of the stage, 90 ohm, against some 265 kohm to pin 1
    assert abs(source.legs_z[k, 0, 0]) > 1e5
    assert source.z[k, 0, 0].real == pytest.approx(90.0, rel=0.1)
    assert spread == pytest.approx(expected, rel=1e-5)
    assert spread < 10.0


def test_draws_kept_have_a_limit(tmp_path):
    document, _ = made(tmp_path, separate(), FEW, draws=DRAWS_KEPT + 200)
    assert document["sides"]["left"]["curves"]["draws"]["count"] == DRAWS_KEPT
    assert document["sides"]["left"]["conditions"]["draws"] == DRAWS_KEPT + 200


def test_the_same_seed_makes_the_same_document(tmp_path):
    one, _ = made(tmp_path, separate(), FEW, draws=200, seed=9)
    two, _ = made(tmp_path, separate(), FEW, draws=200, seed=9)
    other, _ = made(tmp_path, separate(), FEW, draws=200, seed=10)
    for document in (one, two, other):
        document["made"]["on"] = ""
    assert to_json(one) == to_json(two)
    assert to_json(one) != to_json(other)


def test_the_digest_covers_every_file(tmp_path):
    one, _ = made(tmp_path, separate(), FEW, draws=50)
    session, phasors = session_on_disk(tmp_path, separate(), FEW)
    session.takes[-1].path.write_bytes(b"another recording")
    from probe.facts.document import document

    two = document(session, phasors, {})
    assert len(one["made"]["session_sha256"]) == 64
    assert one["made"]["session_sha256"] != two["made"]["session_sha256"]


def test_a_side_that_never_played_has_no_source(tmp_path):
    from dataclasses import replace

    document, _ = made(tmp_path, separate(), (replace(INJECT_COLD, played=False),), draws=100)
    assert document["sides"]["left"]["curves"]["hz"] == []
    assert source_from_facts(document, "left") is None
    assert json.loads(to_json(document)) == document


# damaged files -------------------------------------------------------------------------------


def refused(action) -> str:
    """The message, which must be one line."""
    with pytest.raises(BadInput) as caught:
        action()
    message = str(caught.value)
    assert message
    assert "\n" not in message
    assert len(message) < 400
    return message


DAMAGED_TEXT = {
    "empty": b"",
    "not json": b"format = 'probe-facts/1'",
    "cut off": b'{"format": "probe-facts/1", "device": {',
    "a list": b"[1, 2]",
    "a number": b"3",
    "null": b"null",
    "nan": b'{"format": "probe-facts/1", "device": NaN}',
    "infinity": b'{"format": "probe-facts/1", "device": -Infinity}',
    "not utf-8": b'{"format": "probe-facts/1\xff"}',
    "another format": b'{"format": "probe-facts/2"}',
    "format a list": b'{"format": ["probe-facts/1"]}',
    "no format": b"{}",
    "nested too deeply": b"[" * 200_000,
    "a number too long": b'{"format": ' + b"9" * 5000 + b"}",
}


@pytest.mark.parametrize("name", DAMAGED_TEXT)
def test_what_is_no_facts_file_is_refused(name, tmp_path):
    path = tmp_path / "facts.json"
    path.write_bytes(DAMAGED_TEXT[name])
    assert "facts.json" in refused(lambda: read_facts(path))


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    assert "nothing.json" in refused(lambda: read_facts(tmp_path / "nothing.json"))
    refused(lambda: read_facts(tmp_path))


MISSING = (
    ("device",),
    ("sides",),
    ("warnings",),
    ("sides", "left", "stage"),
    ("sides", "left", "facts"),
    ("sides", "left", "curves"),
)
WRONG = (None, 3, "text", [], [1, 2], True)


def put(document: dict, path: tuple[str, ...], value) -> dict:
    damaged = copy.deepcopy(document)
    node = damaged
    for key in path[:-1]:
        node = node[key]
    if value is ...:
        del node[path[-1]]
    else:
        node[path[-1]] = value
    return damaged


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return made(tmp_path_factory.mktemp("small"), separate(), FEW, draws=50)[0]


@pytest.mark.parametrize("path", MISSING, ids=".".join)
def test_a_part_that_is_missing_or_of_another_type_is_refused(path, small, tmp_path):
    file = tmp_path / "facts.json"
    for value in (..., *WRONG):
        if path == ("warnings",) and isinstance(value, list):
            continue  # a list is what stands there
        file.write_text(json.dumps(put(small, path, value)), encoding="utf-8")
        refused(lambda: read_facts(file))


def test_a_side_nobody_has_heard_of_is_refused(small, tmp_path):
    file = tmp_path / "facts.json"
    damaged = copy.deepcopy(small)
    damaged["sides"]["centre"] = damaged["sides"].pop("left")
    file.write_text(json.dumps(damaged), encoding="utf-8")
    assert "centre" in refused(lambda: read_facts(file))
    assert "right" in refused(lambda: source_from_facts(small, "right"))


@pytest.mark.parametrize(
    ("path", "values"),
    [
        (("hz",), (..., None, 5, "x", ["x"], [[20.0]], [1.0, 2.0], {}, 10**400)),
        (("hz", 0), (0, -20.0, 1e300, 10**400, None, "x", 1e6)),
        (("draws",), (..., None, 5, "x", [], {})),
        (("draws", "count"), (..., None, 0, -1, 10**9, "many", 49, [])),
        (("draws", "values"), (..., None, [], ["x"], ["", "", "", ""], [1, 2, 3, 4], 5)),
        (("draws", "differences"), (..., None, [], ["!"] * 4, ["AAAA"] * 4)),
    ],
    ids=lambda x: ".".join(map(str, x)) if x and isinstance(x[0], str) else "",
)
def test_damaged_curves_are_refused(path, values, small):
    for value in values:
        damaged = put(small, ("sides", "left", "curves", *path), value)
        message = refused(lambda d=damaged: source_from_facts(d, "left"))
        assert "curves" in message


def test_draws_that_unpack_to_more_than_they_should_are_refused(small):
    import base64
    import zlib

    bomb = base64.b64encode(zlib.compress(b"\0" * 50_000_000)).decode()
    path = ("sides", "left", "curves", "draws", "values")
    refused(lambda: source_from_facts(put(small, path, [bomb] * 4), "left"))


@pytest.mark.parametrize("size", [float("nan"), float("inf"), 1e30])
def test_draws_beyond_reason_are_refused(size, small):
    import base64
    import zlib

    curves = small["sides"]["left"]["curves"]
    count, tones = curves["draws"]["count"], len(curves["hz"])
    for key, kind, rows in (("differences", "<c8", count), ("values", "<c16", 1)):
        if key == "values" and np.isnan(size):
            continue  # there it says that an entry is not known
        texts = list(curves["draws"][key])
        raw = np.full((rows, tones, 3), size, dtype=kind).tobytes()
        texts[0] = base64.b64encode(zlib.compress(raw)).decode()
        path = ("sides", "left", "curves", "draws", key)
        refused(lambda p=path, t=texts: source_from_facts(put(small, p, t), "left"))


SHAPES = (
    (("device", "connectors"), ("xlr", [1], [[]], {}), "device.connectors"),
    (("device", "full_output_volts"), ("8", True, [], 10**100, 1e100), "full_output_volts"),
    (("device", "model"), (3, ["Tern"], {}), "device.model"),
    (("made",), (3, "x", []), "made"),
    (("made", "bench"), (3, "x", []), "made.bench"),
    (("made", "bench", "mains_hz"), (1e-300, 400, "50"), "mains_hz is not a number from 45 to 65"),
    (("made", "bench", "mains_v"), (1e300, 0, True), "mains_v is not a number from 90 to 260"),
    (("warnings",), ([3], ["x"], [{"message": 3}]), "warnings[0]"),
    (("sides", "left", "stage", "next_take"), (3, {}, []), "stage.next_take"),
    (("sides", "left", "stage", "faults"), ("x", [3], {}), "stage.faults"),
    (("sides", "left", "stage", "confidence"), ("x", True, {}), "stage.confidence"),
    (("sides", "left", "stage", "also_possible"), ([3], "x", [{}], {}), "also_possible"),
    (("sides", "left", "facts", "drift"), (3, "x", None), "facts.drift"),
    (("sides", "left", "facts", "drift"), [{"value": v} for v in ("x", [], True)], "drift.value"),
    (("sides", "left", "facts", "drift"), [{"u95": v} for v in (1e100, 10**100)], "drift.u95"),
    (("sides",), ({},), "sides is empty"),
    (("sides", "left", "facts", "drift"), ({"value": 1.0, "u95": -0.1},), "drift.u95 is -0.1"),
    (("sides", "left", "facts", "drift"), ({"low": 2.0, "high": 1.0},), "drift.low is 2"),
    (("sides", "left", "facts", "drift"), ({"value": 1.0, "bound": "about"},), "drift.bound"),
    (("sides", "left", "facts", "drift"), ({"unit": "V"},), "only dB can be"),
    (("sides", "left", "facts", "hot_level"), ({"unit": "ohm"},), "only V can be"),
    (("sides", "left", "facts", "hot_noise_a"), ({"unit": "V/√Hz"},), "only V can be"),
    (("sides", "left", "facts", "hot_maximum_to_noise"), ({"unit": "V"},), "only dB can be"),
    (("sides", "left", "stage", "kind"), ("wombat", "Differential", ""), "known are differential"),
    (("sides", "left", "stage", "path"), ("wombat",), "stage.path is "),
    (("sides", "left", "stage", "polarity"), ("wombat",), "stage.polarity is "),
    (("sides", "left", "stage", "driven_legs"), ("wombat", 3), "stage.driven_legs is "),
    (("sides", "left", "stage", "next_take"), ("wombat",), "stage.next_take is "),
    (("sides", "left", "stage", "faults"), (["wombat"],), "stage.faults is "),
    (("sides", "left", "stage", "possible_faults"), (["wombat"],), "stage.possible_faults is "),
    (("sides", "left", "stage", "also_possible"), ([{"kind": "wombat"}],), "[0].kind is "),
    (("sides", "left", "stage", "confidence"), (7, 1.01, -0.1), "share from 0 to 1"),
    (
        ("sides", "left", "stage", "also_possible"),
        ([{"kind": "faulty", "confidence": 7}],),
        "[0].confidence is not a share",
    ),
    (("sides", "left", "facts", "hot_level"), ({"value": -1.0},), "hot_level.value is -1 V"),
    (("sides", "left", "facts", "hot_impedance"), ({"value": -0.5},), "value is -0.5 ohm"),
    (("sides", "left", "facts", "drift"), ({"at_hz": 0.0}, {"at_hz": -1}), "drift.at_hz is "),
    (("sides", "left", "curves", "hot_impedance"), (3, []), "hot_impedance is not an object"),
    (("sides", "left", "curves", "hot_impedance", "u95", 0), (-1.0,), "u95[0] is -1"),
    (("sides", "left", "curves", "hot_impedance", "u95", 0), ("x", True), "[0] is not a number"),
    (("sides", "left", "curves", "hot_impedance", "real"), ([1.0], 1.0), "real has 1 of the"),
    (("sides", "left", "curves", "hz", 0), (-20.0, 0.0), "curves.hz[0] is "),
    (("sides", "left", "facts_at"), ([3], "x", [{"facts": 3}]), "facts_at"),
    (
        ("sides", "left", "facts_at"),
        ([{"facts": {"leg_ratio": {"unit": "dB", "u95": -1.0}}}],),
        "facts_at[0].facts.leg_ratio.u95",
    ),
    (("between_sides",), (3, {"facts": [1]}), "between_sides"),
)


def test_brackets_without_end_are_named_as_such(tmp_path):
    file = tmp_path / "facts.json"
    file.write_text("[" * 100_000, encoding="utf-8")
    assert "brackets within brackets" in refused(lambda: read_facts(file))


def test_every_fact_that_is_documented_has_its_unit():
    text = (Path(__file__).parents[2] / "docs" / "formats.md").read_text(encoding="utf-8")
    rows = text.split("| fact | unit | what |")[1].split("### `facts_at`")[0].splitlines()
    told = [row.split("|")[1:3] for row in rows if row.startswith("| `")]
    assert len(told) > 25
    for names, units in told:
        words = [u.strip() for u in units.split(",")]
        pairs = [n.strip(" `") for n in names.split(",")]
        for k, name in enumerate(pairs):
            assert unit_of(name) == (words[k] if len(words) == len(pairs) else words[0]), name


@pytest.mark.parametrize(("path", "values", "named"), SHAPES, ids=lambda x: str(x)[:40])
def test_a_part_of_another_shape_is_named(path, values, named, small, tmp_path):
    file = tmp_path / "facts.json"
    for value in values:
        file.write_text(json.dumps(put(small, path, value)), encoding="utf-8")
        assert named in refused(lambda: read_facts(file))


def test_what_has_a_sign_may_be_below_zero(small, tmp_path):
    file = tmp_path / "facts.json"
    for name, unit in (("impedance_mismatch", "ohm"), ("hot_direct_voltage", "V"), ("drift", "dB")):
        entry = {"value": -1.0, "unit": unit, "u95": 0.1}
        file.write_text(json.dumps(put(small, ("sides", "left", "facts", name), entry)), "utf-8")
        assert read_facts(file)["sides"]["left"]["facts"][name] == entry


def test_numbers_that_fit_no_float_are_refused(small, tmp_path):
    file = tmp_path / "facts.json"
    for digits in ("1e999", "-1e999", "9" * 400):
        text = to_json(small).replace('"u95":', f'"extra": {digits}, "u95":', 1)
        file.write_text(text, encoding="utf-8")
        assert "too large" in refused(lambda: read_facts(file))


def test_keys_nobody_has_heard_of_are_no_mistake(small, tmp_path):
    file = tmp_path / "facts.json"
    later = copy.deepcopy(small)
    later["later"] = later["device"]["later"] = later["sides"]["left"]["later"] = [1, {}]
    later["sides"]["left"]["facts"]["hum_lines"] = [{"hz": 50.0, "value": 1e-6, "u95": 1e-7}]
    file.write_text(json.dumps(later), encoding="utf-8")
    assert read_facts(file) == later


def test_what_never_ends_is_not_read(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", Path("/dev/zero")):
        assert "not an ordinary file" in refused(lambda p=path: read_facts(p))


def test_mistreated_files_are_read_or_refused(small, tmp_path):
    """Bytes changed, left out or doubled at random: a source, or one clear line."""
    text = to_json(small).encode()
    rng = random.Random(15)
    file = tmp_path / "facts.json"
    read, lines = 0, []
    for _ in range(300):
        damaged = bytearray(text)
        for _ in range(rng.choice((1, 1, 2, 10))):
            place = rng.randrange(len(damaged))
            match rng.randrange(3):
                case 0:
                    damaged[place] = rng.randrange(256)
                case 1:
                    del damaged[place : place + rng.randrange(1, 2000)]
                case 2:
                    damaged[place:place] = damaged[place : place + rng.randrange(1, 50)]
        file.write_bytes(damaged)
        try:
            facts = read_facts(file)
            for side in facts["sides"]:
                source_from_facts(facts, side)
            read += 1
        except BadInput as error:
            lines.append(len(str(error).splitlines()))
    outcomes = {"read": read, "refused": len(lines)}
    assert set(lines) == {1}
    assert outcomes["refused"] > 100
    assert sum(outcomes.values()) == 300


def test_an_honest_file_is_read(written, whole):
    assert read_facts(written) == whole[0]
    assert read_facts(str(written)) == whole[0]


@pytest.mark.long
def test_warnings_name_their_take(tmp_path):
    from dataclasses import replace

    forgotten = (OPEN, LOAD_HOT, replace(FULL[3], plugged=()), *FULL[4:])
    document, _ = made(tmp_path, separate(), forgotten, errors=Errors(), draws=100)
    codes = {(w["code"], w["take"]) for w in document["warnings"]}
    assert ("contradicting-take", "load cold") in codes
    assert all(set(w) == {"code", "take", "message"} for w in document["warnings"])
    used = {t["take"]: t["used"] for t in document["sides"]["left"]["takes"]}
    assert used["load cold"] is False


@pytest.mark.long
def test_no_take_that_is_there_is_asked_for_while_takes_contradict(tmp_path):
    from dataclasses import replace

    from probe.facts.document import document
    from probe.stage.identify import identify

    # either the loads or the injections are not as declared: nothing else tests them
    plans = (OPEN, LOAD_HOT, LOAD_COLD, INJECT_COLD, INJECT_HOT)
    session, phasors = session_on_disk(tmp_path, STAGES["floating-4k-leaning"], plans)
    # by construction: what was injected is declared as two thirds of it
    declared = tuple(
        replace(
            p,
            take=replace(
                p.take,
                injections=tuple(replace(i, volts=i.volts / 1.5) for i in p.take.injections),
            ),
        )
        for p in phasors
    )
    found = document(session, declared, {"left": identify(session, declared, "left", draws=50)})
    stage = found["sides"]["left"]["stage"]
    assert stage["kind"] == "undetermined"
    assert stage["next_take"] is None
    assert stage["next_take_reason"].startswith("no further take: correct what the take named")
    told = [w["message"] for w in found["warnings"] if w["code"] == "contradicting-take"]
    assert any("the volts declared for the injection" in text for text in told)
