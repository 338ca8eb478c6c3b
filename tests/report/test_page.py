"""The page: structure, reading order, harmlessness, completeness."""

from __future__ import annotations

import base64
import copy
import hashlib
import itertools
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from probe.errors import BadInput
from probe.facts import read_facts
from probe.report import cautions, render_html, words
from probe.report.conditions_shown import conditions_shown
from tests.report import samples

_VOID = {"meta", "link", "br", "img", "input", "hr"}
NAMES = sorted(samples.SAMPLES)


class Page(HTMLParser):
    """A page taken apart: elements with attributes and ancestors, and the running text."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None], tuple[str, ...]]] = []
        self.text: list[str] = []
        self._open: list[str] = []
        self.feed(html)
        assert self._open == [], "every element is closed"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs), tuple(self._open)))
        if tag not in _VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open, f"</{tag}> closes nothing"
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self._open and self._open[-1] not in {"style", "script"}:
            self.text.append(data)

    def all(self, tag: str) -> list[tuple[dict[str, str | None], tuple[str, ...]]]:
        return [(a, up) for t, a, up in self.elements if t == tag]

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


@pytest.fixture(scope="module")
def pages() -> dict[str, Page]:
    return {
        name: Page(render_html(make(), advice=samples.advice() if name == "floating" else None))
        for name, make in samples.SAMPLES.items()
    }


@pytest.mark.parametrize("name", NAMES)
def test_headings_and_landmarks(pages: dict[str, Page], name: str) -> None:
    page = pages[name]
    levels = [int(t[1]) for t, _, _ in page.elements if re.fullmatch("h[1-6]", t)]
    # WCAG 2.2, 1.3.1 and technique H42: one h1 here, no level skipped on the way down
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in itertools.pairwise(levels))
    for landmark in ("header", "main", "footer"):
        assert len(page.all(landmark)) == 1
    assert page.all("html")[0][0]["lang"] == "en"


@pytest.mark.parametrize("name", NAMES)
def test_tables_pictures_and_links_are_labelled(pages: dict[str, Page], name: str) -> None:
    page = pages[name]
    ids = [a["id"] for _, a, _ in page.elements if a.get("id")]
    # HTML standard: ids are unique; WCAG 2.2, 1.1.1 and techniques H39, H63, H65
    assert len(ids) == len(set(ids))
    for attributes, _ in page.all("th"):
        assert attributes.get("scope") in {"col", "row", "rowgroup"}
    assert len(page.all("caption")) == len(page.all("table"))
    for attributes, _ in page.all("svg"):
        if attributes.get("aria-hidden") == "true":
            continue
        assert attributes["role"] == "img"
        assert {attributes["aria-labelledby"], attributes["aria-describedby"]} <= set(ids)
    for attributes, _ in page.all("section"):
        assert attributes["aria-labelledby"] in ids
    for attributes, _ in page.all("a"):
        assert str(attributes["href"]).startswith("#")
        assert str(attributes["href"])[1:] in ids


@pytest.mark.parametrize("name", NAMES)
def test_the_page_loads_nothing_and_runs_only_its_own_script(
    pages: dict[str, Page], name: str
) -> None:
    for tag, attributes, _ in pages[name].elements:
        assert tag not in {"img", "iframe", "object", "embed", "form", "base"}
        assert not any(key.startswith("on") for key in attributes)
        for key in ("src", "action", "srcset", "background", "xlink:href"):
            assert key not in attributes
        if tag == "link":
            assert attributes["href"] == "data:,"
    html = render_html(samples.SAMPLES[name]())
    scripts = re.findall(r"<script([^>]*)>(.*?)</script>", html, re.DOTALL)
    (data_kind, data), (own_kind, own) = scripts
    assert (data_kind, own_kind) == (' type="application/json" id="probe-facts"', "")
    assert "<" not in data
    # Content Security Policy level 3, 2.3.1: a hash-source is the base64 digest of the script
    digest = base64.b64encode(hashlib.sha256(own.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}';" in html
    style = html.split("<style>")[1].split("</style>")[0]
    assert "url(" not in style
    assert "@import" not in style


def test_verdict_is_told_before_anything_else(pages: dict[str, Page]) -> None:
    text = pages["differential"].words
    # the order a reader needs: what it is, how sure, what is wrong, then cautions, then details
    order = ["Left and right", "Both legs driven, ground-referenced", "confidence above 99.9",
             "dried coupling capacitor of the cold leg", "Left against right",
             "Before anything is connected", "Why", "Evidence", "Takes"]  # fmt: skip
    found = [text.index(part) for part in order]
    assert found == sorted(found)


@pytest.mark.parametrize("code", sorted(words.NEXT_TAKES))
def test_cautions_stand_before_the_take(code: str) -> None:
    document = samples.open_only()
    document["sides"]["left"]["stage"]["next_take"] = code
    take = words.NEXT_TAKES[code]
    text = Page(render_html(document)).words
    told = text.index(take.how)
    for caution in (
        *cautions.BEFORE_CONNECTING,
        *cautions.BEFORE_TAKE[take.danger],
        cautions.DEFER,
    ):
        assert text.index(caution) < told


def test_limits_stand_before_takes_that_are_only_named() -> None:
    document = samples.open_only()
    document["sides"]["left"]["stage"]["next_take"] = None
    text = Page(render_html(document)).words
    told = text.index("What these takes leave open")
    for danger in ("load", "inject"):
        for caution in cautions.BEFORE_TAKE[danger]:
            assert text.index(caution) < told


def test_tying_pin_3_is_warned_of_before_its_figures(pages: dict[str, Page]) -> None:
    text = pages["differential"].words
    assert text.index(cautions.TIE) < text.index("Hot leg, if pin 3 were tied to pin 1")


def test_cautions_stand_before_advice(pages: dict[str, Page]) -> None:
    text = pages["floating"].words
    chosen = text.index("RCA lead, single-ended to single-ended")
    for caution in (*cautions.BEFORE_ADVICE.values(), "Direct voltage was not metered"):
        assert text.index(caution) < chosen
    # best first, whatever the order of the document
    verdicts = [text.index(f"Because of {v}.") for v in ("use", "works", "cannot-tell", "never")]
    assert verdicts == sorted(verdicts)
    assert "42 mA peak in the tied leg." in text
    assert "Provisional" in text


def test_a_caution_the_advice_brings_itself_is_not_told_twice() -> None:
    advice = samples.advice() | {
        "destination": "amplifier, RCA only", "why": ["Fewest parts."], "not_computed": ["hum"],
        "cautions": [{"code": "mains-earth", "message": "The earth stays."}],
    }  # fmt: skip
    text = Page(render_html(samples.floating(), advice=advice)).words
    assert cautions.BEFORE_ADVICE["mains-earth"] not in text
    for part in ("The earth stays.", "How to connect it to amplifier, RCA only", "Fewest parts.",
                 "Not computed yet: hum"):  # fmt: skip
        assert part in text


def test_undetermined_says_what_is_left_and_claims_nothing(pages: dict[str, Page]) -> None:
    text = pages["open-only"].words
    assert "Cannot tell yet" in text
    assert "3 kinds still possible" in text
    assert text.count("not measured") >= 3
    assert "The one take that would settle it" in text
    assert "A floating pair follows such a load, separate legs do not." in text
    assert "Impedance of the cold leg test tone into pin 3 or load on pin 3" in text


def test_possible_faults_say_what_can_tell(pages: dict[str, Page]) -> None:
    text = pages["impedance-balanced"].words
    assert "no fault found; cannot be ruled out: Cold leg dead" in text
    assert "A live amplifier stuck at zero looks the same." in text


def test_the_driven_pin_is_named_where_it_is_pin_3(pages: dict[str, Page]) -> None:
    text = pages["impedance-balanced-on-pin-3"].words
    assert "Only pin 3 carries the signal. Pin 2 is silent" in text


def test_evidence_refers_to_takes_by_number(pages: dict[str, Page]) -> None:
    page = pages["differential"]
    links = [a for a, up in page.all("a") if "td" in up]
    assert {a["title"] for a in links} >= {"left open", "left 604 on hot"}
    assert {a["href"] for a in links} >= {"#left-take-1", "#right-take-4"}


def test_notes_of_a_fact_are_shown() -> None:
    document = samples.differential()
    fact = document["sides"]["left"]["facts"]["hot_level"]
    fact |= {"bound": "above", "limit": 0.001, "receiver": "10 kΩ each leg", "imag": -1e-9,
             "takes": ["elsewhere"]}  # fmt: skip
    text = Page(render_html(document)).words
    for part in ("Only a bound is known.", "1.00 mV",
                 "Receiver: 10 kΩ each leg.", "Imaginary part 0.000.", "elsewhere"):  # fmt: skip
        assert part in text


def test_unused_takes_say_why() -> None:
    document = samples.differential()
    take = document["sides"]["left"]["takes"][3]
    take |= {"used": False, "why_not": "clipped", "steady_s": None, "residual": None}
    assert "not used: clipped" in Page(render_html(document)).words


def test_a_fact_this_page_has_not_met_is_shown_under_its_own_name() -> None:
    document = samples.differential()
    facts = document["sides"]["left"]["facts"]
    facts["tail_wag"] = {"value": 3.0, "unit": "Hz", "u95": 0.1}
    assert "tail wag" in Page(render_html(document)).words


def test_warnings_stand_with_their_side_or_with_the_session(pages: dict[str, Page]) -> None:
    text = pages["differential"].words
    assert text.rindex("Not known yet") < text.index("The level moved by 0.04 dB")
    assert text.index("Warnings about the session") < text.index("1 percent was taken")
    assert text.count("The level moved by 0.04 dB") == 1


def test_conditions_and_origin(pages: dict[str, Page]) -> None:
    text = pages["differential"].words
    for part in ("12 o'clock", "two-channel USB interface", "2026-03-14", "5f0c" * 16,
                 "probe 0.1.0", "25 November 2026, 10:00 UTC"):  # fmt: skip
        assert part in text


def test_inputs_of_the_recorder_that_are_alike_stand_once() -> None:
    """Or one figure three times over reads like three recorders."""
    one = {"volts_full_scale": 8.7, "u95_percent": 0.5, "impedance_ohm": 2e4, "capacitance_pf": 150}
    other = one | {"impedance_ohm": 1e6}
    told = {n.name: n.text for n in conditions_shown({"inputs": [one] * 3})}
    # words of our own: the third one records the drive
    assert told == {"Recorder inputs": "3 alike: 8.70 V peak at full scale (within 0.5 %), "
                    "20.0 kΩ beside 150 pF"}  # fmt: skip
    apart = [n.name for n in conditions_shown({"inputs": [one, other, one]})]
    assert apart == ["Recorder inputs 1, 3", "Recorder input 2"]
    assert not list(conditions_shown({"inputs": []}))


def test_hostile_text_is_only_text(pages: dict[str, Page]) -> None:
    html = render_html(samples.hostile())
    # Unicode Bidirectional Algorithm (UAX #9), table 4: explicit directional controls
    assert not re.search("[\u202a-\u202e\u2066-\u2069\u200e\u200f\u061c]", html)
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", html)
    assert html.encode("utf-8")
    assert "W" * 601 not in html.split("<script")[0]
    text = pages["hostile"].words
    assert "<script>alert(1)</script> drawkcab" in text
    assert "{{ 7 * 7 }} <b>bold</b>" in text
    assert "\u0301" * 4 not in html


def test_same_document_same_page() -> None:
    program = (
        "import hashlib;from tests.report import samples;from probe.report import render_html;"
        "print(hashlib.sha256(render_html(samples.differential()).encode()).hexdigest())"
    )
    sums = {
        subprocess.run(
            [sys.executable, "-c", program], env={"PYTHONHASHSEED": seed}, check=True,
            capture_output=True,
        ).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(sums) == 1


def test_rendering_does_not_change_the_document_and_takes_parsed_json() -> None:
    document = samples.differential()
    before = copy.deepcopy(document)
    first = render_html(document)
    assert document == before
    assert render_html(json.loads(json.dumps(document))) == first


def _paths(node: Any, depth: int, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if path:
        yield path
    if depth and isinstance(node, dict):
        for key in node:
            yield from _paths(node[key], depth - 1, (*path, key))


def _without(document: dict[str, Any], path: tuple[Any, ...], *, null: bool) -> dict[str, Any]:
    changed = copy.deepcopy(document)
    parent = changed
    for key in path[:-1]:
        parent = parent[key]
    if null:
        parent[path[-1]] = None
    else:
        del parent[path[-1]]
    return changed


@pytest.mark.long
def test_anything_may_be_absent() -> None:
    document = samples.impedance_balanced()
    paths = list(_paths(document, 4))
    assert len(paths) > 50
    for path in paths:
        for null in (False, True):
            assert "</html>" in render_html(_without(document, path, null=null)), path


def test_nothing_of_a_plotting_library_is_imported() -> None:
    program = (
        "import sys;from tests.report import samples;from probe.report import render_html;"
        "render_html(samples.differential());"
        "print([m for m in ('numpy', 'scipy', 'matplotlib') if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", program], check=True, capture_output=True)
    # the page is quick because nothing heavy is loaded for it
    assert told.stdout.strip() == b"[]"


@pytest.mark.parametrize("name", NAMES)
def test_the_facts_inside_are_the_facts(name: str, tmp_path: Path) -> None:
    document = samples.SAMPLES[name]()
    html = render_html(document)
    inside = html.split('id="probe-facts">')[1].split("</script>")[0]
    assert json.loads(inside) == json.loads(json.dumps(document))


def test_a_report_can_be_read_as_facts(tmp_path: Path) -> None:
    document = samples.SAMPLES["differential"]()
    report = tmp_path / "report.html"
    report.write_text(render_html(document), encoding="utf-8")
    assert read_facts(report) == json.loads(json.dumps(document))


def test_a_page_without_facts_is_refused(tmp_path: Path) -> None:
    other = tmp_path / "other.html"
    other.write_text("<!DOCTYPE html><p>hello", encoding="utf-8")
    with pytest.raises(BadInput, match="a page without facts inside"):
        read_facts(other)


def test_every_take_a_fact_is_from_can_be_looked_up() -> None:
    from probe.report.evidence import evidence, take_rows

    value = {"value": 1e-5, "unit": "V", "u95": 1e-7}
    facts = {
        "hot_noise": {**value, "takes": ["idle.wav", "floor.wav"]},
        "hot_level": {**value, "takes": ["open.wav"]},
    }
    rows = take_rows("left", [{"take": "open", "file": "open.wav", "used": True}], facts)
    # by construction: the take of the stage first, then the two that noise alone rests on
    assert [row.name for row in rows] == ["open", "idle.wav", "floor.wav"]
    marks = [m for group in evidence(facts, rows) for row in group.rows for m in row.takes]
    assert len(marks) == 3
    assert {m.anchor for m in marks} == {row.anchor for row in rows}
