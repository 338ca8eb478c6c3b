"""Every page people are given, before an accessibility checker and under a hand on the keyboard."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from probe.archive.entry import Entry
from probe.archive.family import family
from probe.archive.pages import drift_page, family_page
from probe.archive.years import Look, drift
from probe.bench.planned.able import Known, Setting, able
from probe.bench.planned.cautions import before
from probe.bench.planned.kit import usual
from probe.bench.shown import follow, takelist
from probe.compare.compare import compare, items_of
from probe.report import (
    render_comparison,
    render_html,
    render_leaflet,
    render_verification,
)
from probe.session.model import Device
from probe.verify import read_specification, verify
from tests.archive.made import example
from tests.report import axe, samples
from tests.report.browser import Browser
from tests.report.test_leaflet_browser import CASES
from tests.report.test_typed import DESK, page_of
from tests.verify.documents import document, side
from tests.verify.test_verify_page import SPEC, stereo

pytestmark = pytest.mark.browser


def sheet(folder: Path, *, second: bool) -> str:
    path = folder / "spec.toml"
    path.write_text(SPEC, "utf-8")
    found = verify(stereo(), read_specification(path), before=stereo() if second else None)
    return render_verification(found.to_json())


def compared() -> str:
    looks = [samples.differential(), samples.impedance_balanced(), document(left=side(ohm=150.0))]
    found = compare(items_of([(f"look {k}", look) for k, look in enumerate(looks)]))
    return render_comparison(found.to_json())


def related() -> str:
    """An example outside its family."""
    entry = Entry(1, "k", "Larkfield", "LP-2", "S-1", "2026-03-14", "", "", "", "", True)
    sisters = [example(k, ohm=100.0 + 0.2 * k) for k in range(6)]
    return family_page(entry, family(example(7, ohm=140.0), sisters))


def drifted() -> str:
    looks = []
    for k, ohm in enumerate((100.0, 110.0)):
        facts = example(5, ohm=ohm, on=f"202{k}-05-01")
        facts["sides"]["mono"]["stage"]["faults"] = ["coupling-capacitor-cold"][k:]
        day = f"202{k}-05-01"
        entry = Entry(k, "k", "Larkfield", "LP-2", "S-1", day, "", "", "", "", True)
        looks.append(Look(entry, facts))
    return drift_page(looks, drift(looks))


SETTING = Setting(Device("Larkfield", "LP-2"), usual(), "left")


def followed(*, over: bool) -> str:
    step = next(s for s in able(SETTING, Known()).values() if s.take == "inject-cold")
    return follow.render(
        follow.Shown(
            "Larkfield LP-2", step.name, "Playing", step, tuple(before(step)),
            takes=(("open", "kept"),), facts=(("Hot level", "1.00 V"),), alarms=("Too loud",),
            over=over,
        )
    )  # fmt: skip


PAGES: dict[str, Any] = {
    "report of one take": lambda _: render_html(samples.SAMPLES["open-only"]()),
    "report with advice": lambda _: render_html(samples.differential(), advice=samples.advice()),
    "report of a data sheet": lambda folder: page_of(folder, DESK)[0],
    "verification": lambda folder: sheet(folder, second=False),
    "second look": lambda folder: sheet(folder, second=True),
    "comparison": lambda _: compared(),
    "customer": lambda _: render_leaflet(CASES["attenuator"]()),
    "customer, tied": lambda _: render_leaflet(CASES["tied"]()),
    "follow, over": lambda _: followed(over=True),
    "follow": lambda _: followed(over=False),
    "family": lambda _: related(),
    "drift": lambda _: drifted(),
    "list of takes": lambda _: takelist.html(takelist.take_list((SETTING,))),
}

ALLOWED = {
    # it shows a run that goes on and holds no script; the terminal says the same without reloading
    "follow": ("meta-refresh",),
}


@pytest.mark.long
@pytest.mark.parametrize("name", PAGES)
def test_the_checker_complains_of_nothing(chromium: Browser, tmp_path: Path, name: str) -> None:
    page = tmp_path / "page.html"
    page.write_text(PAGES[name](tmp_path), "utf-8")
    chromium.show(page, 1024)
    # WCAG 2.1 A and AA and good practice, as axe-core tests them
    assert axe.complaints(chromium, ALLOWED.get(name, ())) == []
    chromium.show(page, 1024, scheme="dark")
    # the scheme changes colours alone: WCAG 2.1, 1.4.3
    assert axe.complaints(chromium, only=["color-contrast"]) == []


@pytest.mark.long
def test_the_checker_complains_where_there_is_reason(chromium: Browser, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    text = PAGES["customer"](tmp_path)
    page.write_text(text, "utf-8")
    chromium.show(page, 1024)
    assert axe.complaints(chromium) == []
    page.write_text(text.replace('<html lang="en"', "<html", 1) + "<img src='data:,'>", "utf-8")
    chromium.show(page, 1024)
    told = {line.split(":")[0] for line in axe.complaints(chromium)}
    # WCAG 2.1, 3.1.1 and 1.1.1: a page says its language, a picture what it shows
    assert {"html-has-lang", "image-alt"} <= told
