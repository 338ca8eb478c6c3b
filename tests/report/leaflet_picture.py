"""Remake the picture of the customer's page in docs/images, as printed in grey.

    python -m tests.report.leaflet_picture

Needs a Chromium and pdftoppm. The connection is one of the browser tests: an attenuator in a plug.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from probe.report import render_leaflet
from tests.report import browser
from tests.report.pictures import _pages, _save
from tests.report.test_leaflet_browser import RCA, made, symmetrical


def main() -> None:
    """Draw the page into docs/images/customer-page.png."""
    program = browser.find()
    if program is None:
        raise SystemExit("no Chromium found on the path: install one")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as scratch:
        page = Path(scratch, "leaf.html")
        document = made(RCA, stage=symmetrical(), kind="differential", name="little amplifier")
        page.write_text(render_leaflet(document), "utf-8")
        with browser.Browser(program, Path(scratch, "profile")) as shown:
            shown.show(page, 900)
            _save(_pages(shown.paper(), Path(scratch)), Path("docs/images/customer-page.png"))


if __name__ == "__main__":
    main()
