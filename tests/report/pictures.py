"""Remake the pictures of the report in docs/images.

    python -m tests.report.pictures [FACTS.json [FOLDER]]

Without arguments an invented sample is drawn into docs/images. Needs a Chromium and pdftoppm.
Writes report-1024.png, report-360.png, report-dark.png and report-print.png (greyscale, the first
pages side by side), each below 300 kB.
"""

from __future__ import annotations

import io
import json
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

from probe.report import render_html
from tests.report import browser, samples

_COLOURS = 96
_PAGES, _DPI = 3, 62
SCREENS = (
    ("report-1024.png", 1024, 1500, "light"),
    ("report-360.png", 360, 1400, "light"),
    ("report-dark.png", 1024, 1500, "dark"),
)


def main(arguments: list[str]) -> None:
    """Draw the facts document named first into the folder named second."""
    facts = (
        json.loads(Path(arguments[0]).read_text("utf-8")) if arguments else samples.differential()
    )
    folder = Path(arguments[1]) if len(arguments) > 1 else Path("docs/images")
    folder.mkdir(parents=True, exist_ok=True)
    program = browser.find()
    if program is None:
        raise SystemExit("no Chromium found on the path: install one")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as scratch:
        page = Path(scratch, "report.html")
        page.write_text(render_html(facts), "utf-8")
        with browser.Browser(program, Path(scratch, "profile")) as shown:
            for name, width, height, scheme in SCREENS:
                shown.show(page, width, height, scheme)
                _save(Image.open(io.BytesIO(shown.picture())), folder / name)
            _save(_pages(shown.paper(), Path(scratch)), folder / "report-print.png")


def _pages(pdf: bytes, scratch: Path) -> Image.Image:
    """The first pages of a PDF in grey, side by side on a darker ground."""
    (scratch / "report.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-gray", "-png", "-r", str(_DPI), "-l", str(_PAGES), "report.pdf", "page"],
        cwd=scratch, check=True,
    )  # fmt: skip
    pages = [Image.open(path) for path in sorted(scratch.glob("page-*.png"))]
    gap, (width, height) = 14, pages[0].size
    sheet = Image.new("L", (len(pages) * (width + gap) + gap, height + 2 * gap), 120)
    for index, page in enumerate(pages):
        sheet.paste(page, (gap + index * (width + gap), gap))
    return sheet


def _save(picture: Image.Image, path: Path) -> None:
    if picture.mode != "L":
        picture = picture.convert("RGB").quantize(_COLOURS, dither=Image.Dither.NONE)
    picture.save(path, optimize=True)


if __name__ == "__main__":
    main(sys.argv[1:])
