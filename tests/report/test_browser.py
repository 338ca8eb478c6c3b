"""The page in a real browser: no sideways scrolling, reading order as it is spoken, paper."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from probe.report import render_html
from tests.report import samples
from tests.report.browser import Browser

pytestmark = pytest.mark.browser
_SHOWN = ("differential", "open-only", "impedance-balanced", "hostile")


def whole_kit() -> dict[str, Any]:
    """A session made with the whole kit: every fact has its limit, and rests on many takes."""
    document = samples.differential()
    for side in document["sides"].values():
        made = [t.get("file") for t in side["takes"]]
        for entry in side["facts"].values():
            entry |= {"limit": 5.8846e-05, "takes": made}
        side["facts"]["differential_thd"] = {
            "value": 0.0031, "unit": "%", "u95": 0.0004, "low": 0.0030223, "high": 0.0039129,
            "at_hz": 997.0, "at_volts": 2.2712, "takes": made, "limit": 5.2237e-05,
        }  # fmt: skip
        side["facts"]["differential_thd_n"] = {
            "value": 0.0041, "unit": "%", "u95": 0.000010, "band_hz": [20.0, 20000.0],
            "at_hz": 997.0, "at_volts": 2.2712, "takes": made, "limit": 5.2237e-05,
            "limited_by_bench": True,
        }  # fmt: skip
    return document


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    made = {}
    for name in _SHOWN:
        made[name] = folder / f"{name}.html"
        made[name].write_text(
            render_html(samples.SAMPLES[name](), advice=samples.advice()), "utf-8"
        )
    made["whole-kit"] = folder / "whole-kit.html"
    made["whole-kit"].write_text(render_html(whole_kit()), "utf-8")
    return made


@pytest.mark.parametrize("name", [*_SHOWN, "whole-kit"])
@pytest.mark.parametrize("width", [360, 740, 900, 1024, 1120, 1920])
@pytest.mark.long
def test_no_sideways_scrolling(
    chromium: Browser, files: dict[str, Path], name: str, width: int
) -> None:
    chromium.show(files[name], width)
    # closed form: nothing is wider than the window
    assert chromium.ask("document.documentElement.scrollWidth") <= width


def test_both_ends_of_a_lopsided_interval_are_on_paper(
    chromium: Browser, files: dict[str, Path]
) -> None:
    # lost: on paper the column of intervals is left out, and a lopsided value has no other doubt
    chromium.show(files["whole-kit"], 1024)
    printed = chromium.ask(
        "[...document.styleSheets[0].cssRules].filter(r => r.media?.mediaText === 'print')"
        ".some(r => r.cssText.includes('.evidence .lopsided { display: inline'))"
    )
    assert printed
    told = chromium.ask("[...document.querySelectorAll('.lopsided')].map(e => e.textContent)")
    # as written: the ends that the entry states, in the digits of its doubt
    assert " (0.00302 to 0.00391)" in told


def test_cells_of_a_narrow_screen_use_its_width(chromium: Browser, files: dict[str, Path]) -> None:
    chromium.show(files["differential"], 360)
    narrowest = chromium.ask(
        "Math.min(...[...document.querySelectorAll('main td')]"
        ".map(cell => cell.getBoundingClientRect().width).filter(width => width > 0))"
    )
    # closed form: 360 px less 16 px on either side
    assert narrowest >= 320.0


def test_verdict_can_be_read_across_a_bench(chromium: Browser, files: dict[str, Path]) -> None:
    chromium.show(files["open-only"], 1024)
    size = chromium.ask("parseFloat(getComputedStyle(document.querySelector('.kind')).fontSize)")
    # common practice, no source: 25 mm of height for 5 m; 80 px is 21 mm at 96 px per inch
    assert size >= 80.0


def test_dark_scheme_is_dark(chromium: Browser, files: dict[str, Path]) -> None:
    grounds = {}
    for scheme in ("light", "dark"):
        chromium.show(files["open-only"], 1024, scheme=scheme)
        rgb = str(chromium.ask("getComputedStyle(document.body).backgroundColor"))
        grounds[scheme] = sum(map(int, re.findall(r"\d+", rgb)[:3]))
    # closed form: three channels of 255 are white
    assert grounds["light"] == 765
    assert grounds["dark"] < 100


def test_reading_order(chromium: Browser, files: dict[str, Path]) -> None:
    chromium.show(files["open-only"], 360)
    spoken = chromium.spoken()
    roles = [role for role, _ in spoken]
    # the order a listener needs; roles as the accessibility tree names them
    for role in ("banner", "main", "contentinfo"):
        assert roles.count(role) == 1
    names = [name.strip() for role, name in spoken if role in {"heading", "image"}]
    wanted = [
        "Larkfield LP-1 output stage, as measured",
        "Verdict",
        "Before anything is connected",
        "Left: cannot tell yet",
        "Why",
        "What it may be",
        "The one take that would settle it",
        "First",
        "Then: load on pin 3",
        "Schematic: Left, cannot tell yet",
        "Left: voltages of the legs as arrows",
        "Left: level against frequency",
        "Evidence",
        "Not known yet",
        "Takes",
        "How to connect it",
        "Conditions",
    ]
    found = [next((i for i, n in enumerate(names) if n.startswith(w)), -1) for w in wanted]
    assert -1 not in found, wanted[found.index(-1)]
    assert found == sorted(found)


def test_tables_stay_tables_on_a_narrow_screen(chromium: Browser, files: dict[str, Path]) -> None:
    chromium.show(files["differential"], 360)
    roles = [role for role, _ in chromium.spoken()]
    # by construction of the page: comparison, and for each side evidence, open questions and
    # takes; one more for the advice; folded-up curve tables are not spoken
    assert roles.count("table") == 8
    assert roles.count("columnheader") > 20
    assert roles.count("rowheader") > 50


def test_prints_on_a4(chromium: Browser, files: dict[str, Path]) -> None:
    chromium.show(files["impedance-balanced"], 1024)
    pdf = chromium.paper()
    boxes = {
        tuple(round(float(v)) for v in box.split())
        for box in re.findall(rb"/MediaBox \[([\d. ]+)\]", pdf)
    }
    # ISO 216: A4 is 210 mm x 297 mm, 595 x 842 points
    assert boxes == {(0, 0, 595, 842)} or boxes == {(0, 0, 596, 842)}
    assert pdf.count(b"/Type /Page\n") <= 8


@pytest.mark.parametrize("key", ["Enter", " "])
def test_tables_sort_by_the_keyboard(chromium: Browser, files: dict[str, Path], key: str) -> None:
    chromium.show(files["differential"], 1024)
    here = "document.activeElement"
    for _ in range(20):  # on from element to element, as a hand would go
        chromium.press("Tab")
        if chromium.ask(f"{here}.matches('table.evidence thead button')"):
            break
    head = f"{here}.closest('th')"
    # WCAG 2.1, 2.4.7: where the keyboard is can be seen
    assert chromium.ask(f"getComputedStyle({here}).outlineStyle") != "none"
    states = []
    for _ in range(3):
        chromium.press(key)
        states.append(chromium.ask(f"{head}.getAttribute('aria-sort')"))
    # WAI-ARIA 1.2, aria-sort; as with the mouse: up, down, as it was, and the focus stays
    assert states == ["ascending", "descending", None]
    assert chromium.ask(f"{here}.matches('table.evidence thead button')")


def test_tables_sort_by_their_heads(chromium: Browser, files: dict[str, Path]) -> None:
    chromium.show(files["differential"], 1024)
    table = "document.querySelector('table.takes')"
    names = f"[...{table}.tBodies[0].rows].map(r => r.cells[0].textContent.trim())"
    head = f"{table}.tHead.rows[0].cells[0]"
    before = chromium.ask(names)
    click = f"{head}.querySelector('button').click(); {head}.getAttribute('aria-sort')"
    # WAI-ARIA 1.2, aria-sort; the numbers of the takes lead their names
    assert chromium.ask(click) == "ascending"
    number = [int(n.split()[0]) for n in chromium.ask(names)]
    assert number == sorted(number)
    assert chromium.ask(click) == "descending"
    number = [int(n.split()[0]) for n in chromium.ask(names)]
    assert number == sorted(number, reverse=True)
    assert chromium.ask(click) is None
    assert chromium.ask(names) == before
