"""Named figures: the right numbers are drawn, at the stated width, with fonts and captions."""

from __future__ import annotations

import copy
import re
import struct
import subprocess
import sys
from pathlib import Path

import pytest

from probe.errors import BadInput
from probe.figures import COLUMN_MM, FIGURES, figure_plots, methods_paragraph, write_figures
from probe.figures.draw import _bars, tick
from probe.figures.plot import Trace
from probe.report.evidence import take_rows

from .documents import DOCUMENT


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    """Two of them: arrows with letters, and lines with bands."""
    return write_figures(DOCUMENT, names=["leg-phasors", "leg-impedance"])[0]


@pytest.mark.long
def test_every_named_figure_is_drawn_in_every_format() -> None:
    files, _ = write_figures(DOCUMENT)
    for name in FIGURES:
        for kind, start in (("svg", b"<?xml"), ("pdf", b"%PDF"), ("png", b"\x89PNG")):
            assert files[f"{name}-left.{kind}"].startswith(start), name
    test_fonts_are_in_the_files(files)


@pytest.mark.long
def test_every_named_figure_is_drawn() -> None:
    files, _ = write_figures(DOCUMENT, kinds=["svg"])
    assert {f"{name}-left.svg" for name in FIGURES} <= set(files)


@pytest.mark.parametrize("column", COLUMN_MM)
@pytest.mark.long
def test_width_on_paper_is_what_was_asked(column: str) -> None:
    made, _ = write_figures(
        DOCUMENT, names=["response"], kinds=["svg", "png"], width_mm=COLUMN_MM[column]
    )
    svg = made["response-left.svg"].decode()
    found = re.search(r'width="([\d.]+)pt"', svg)
    assert found is not None
    # A point is 1/72 inch, an inch 25.4 mm: definitions.
    assert float(found[1]) / 72 * 25.4 == pytest.approx(COLUMN_MM[column], abs=0.01)
    png = made["response-left.png"]
    # Width in pixels stands at byte 16 of a PNG (ISO/IEC 15948, IHDR), 600 to the inch.
    assert struct.unpack(">I", png[16:20])[0] == pytest.approx(
        COLUMN_MM[column] / 25.4 * 600, abs=1.0
    )


@pytest.mark.long
def test_fonts_are_in_the_files(files: dict[str, bytes]) -> None:
    assert any(name.endswith(".pdf") for name in files)
    for name, data in files.items():
        if name.endswith(".pdf"):
            # A font inside a PDF is a FontFile2 (TrueType) of its descriptor (ISO 32000-1, 9.9).
            assert b"/FontFile2" in data, name
            assert b"/Type3" not in data, name
        if name.endswith(".svg"):
            assert b"<text" not in data, name


def test_the_same_facts_give_the_same_bytes(files: dict[str, bytes]) -> None:
    again, _ = write_figures(DOCUMENT, names=["leg-impedance"])
    assert all(files[name] == data for name, data in again.items() if "leg-" in name)


def test_numbers_drawn_are_those_of_the_facts() -> None:
    plots, _ = figure_plots(DOCUMENT, ["leg-impedance", "rejection", "noise-spectrum"])
    impedance, rejection, noise = (p.panels[0].traces[0] for p in plots)
    # 3 + 4i and 6 + 8i: Pythagorean triples.
    assert impedance.y == (5.0, 10.0)
    assert impedance.low == pytest.approx((4.9, 9.8))
    assert rejection.y == (60.0, 55.0, 40.0)
    assert rejection.bound == ("above", None, None)
    # 2e-8 V per root hertz is 20 nV.
    assert noise.y == pytest.approx((20.0, 10.0))
    assert noise.limit == ((100.0, pytest.approx(1.0)),)


def test_distortion_is_drawn_against_its_own_level() -> None:
    plots, _ = figure_plots(DOCUMENT, ["distortion-against-level"])
    (line,) = plots[0].panels[0].traces
    # Volts and percent of the document; where nothing was seen, only the limit stands.
    assert (line.x, line.y) == ((0.5, 5.0), (0.01, 0.5))
    assert line.limit == ((0.1, 0.02), (0.5, 0.004), (5.0, 0.0004))


def test_harmonics_stand_at_their_order_and_a_bound_is_marked() -> None:
    plots, _ = figure_plots(DOCUMENT, ["harmonics"])
    (panel,) = plots[0].panels
    (bars,) = panel.traces
    assert (bars.x, bars.y, bars.bound) == ((2.0, 3.0), (0.01, 2e-4), (None, "below"))
    # 0.01 +/- 0.001; a bound has no interval.
    assert bars.low == (pytest.approx(0.009), None)
    # 1994 Hz is the second harmonic of 997 Hz.
    assert panel.x_label == "harmonic of 997 Hz"
    assert "Downward triangles" in plots[0].caption
    assert "THD 0.0100 ± 0.0020 % at 997 Hz and 4.00 V rms, 20 Hz to 20 kHz" in plots[0].caption


def test_phase_does_not_jump_by_a_turn() -> None:
    plots, _ = figure_plots(DOCUMENT, ["response"])
    level, phase = plots[0].panels
    assert level.traces[0].y == (-0.1, 0.0, -0.9)
    # -175 degrees is 185 degrees, which is nearer to 170
    assert phase.traces[0].y == (170.0, 185.0)


def test_a_band_that_reaches_zero_stays_on_a_logarithmic_axis() -> None:
    plots, _ = figure_plots(DOCUMENT, ["differential-impedance"])
    low = plots[0].panels[0].traces[0].low
    assert all(v is not None and v > 0.0 for v in low)


def test_lines_differ_without_colour() -> None:
    from probe.figures.style import HATCHES, LINES, MARKS

    assert len({dashes for _, dashes in LINES}) == len(LINES)
    assert len(set(HATCHES)) == len(HATCHES)
    assert len(set(MARKS)) == len(MARKS)


def test_bounds_without_bars_are_named_by_what_is_drawn() -> None:
    from matplotlib.figure import Figure

    rows = [(2.0, (1e-4, None)), (3.0, (2e-5, "below"))]
    value, bound = (
        Trace(n, (x,), (y,), bound=(b,)) for n, (x, (y, b)) in zip("ab", rows, strict=True)
    )
    both = Trace("c", (2.0, 3.0), (1e-4, 2e-5), bound=(None, "below"))
    keys = _bars(Figure().subplots(), (value, bound, both))
    # a patch for bars, a line's marker for bounds, both where there are both
    drawn = [tuple(type(one).__name__ for one in key) for key, _ in keys]
    assert drawn == [("Rectangle",), ("Line2D",), ("Rectangle", "Line2D")]
    assert keys[1][0][0].get_fillstyle() != keys[2][0][1].get_fillstyle()


def test_takes_that_figures_rest_on_are_named_as_used() -> None:
    side = DOCUMENT["sides"]["left"]
    tone = {"take": "tone", "file": "t.wav", "used": False, "why_not": "a single tone"}
    thd = {**side["facts"]["differential_thd"], "takes": ["t.wav", "loop.wav"]}
    other = {
        **side, "takes": [*side["takes"], tone], "facts": {**side["facts"], "differential_thd": thd}
    }  # fmt: skip
    text = methods_paragraph({**DOCUMENT, "sides": {"left": other}})
    assert "For noise, distortion and the like also: tone, loop." in text
    assert "Not used: spoiled (clipped)." in text
    rows = {row.name: row.used for row in take_rows("left", other["takes"], other["facts"])}
    assert rows["tone"] == "used beside the others: a single tone"
    assert rows["spoiled"] == "not used: clipped"
    assert rows["loop.wav"] == "used"


def test_captions_carry_the_numbers_with_their_intervals(files: dict[str, bytes]) -> None:
    captions = files["captions.txt"].decode()
    assert "0.100 ± 0.020 dB" in captions
    assert "Volume: 12 o'clock." in captions


def test_the_methods_paragraph_says_every_condition() -> None:
    text = methods_paragraph(DOCUMENT)
    for said in (
        "Harrowgate Tern (serial HT-0231), firmware 2.1", "two-channel USB interface",
        "8.70 V peak at full scale (±0.5 %)", "20.0 kΩ", "150 pF", "2026-03-14", "50 Hz",
        "Takes used, left: open", "spoiled (clipped)", "12 o'clock", "0.02 dB", "2000 versions",
        "clipped-take", "probe 0.1.0", "0f0f0f0f0f0f",
    ):  # fmt: skip
        assert said in text, said


def test_of_takes_without_loads_no_solving_is_told() -> None:
    # lost: a reviewer prints that the recorder's input impedance was taken out, and it was not
    bare = copy.deepcopy(DOCUMENT)
    for name in list(bare["sides"]["left"]["facts"]):
        if name.endswith("_impedance"):
            del bare["sides"]["left"]["facts"][name]
    assert "were solved together" in methods_paragraph(DOCUMENT)
    text = methods_paragraph(bare)
    assert "were solved together" not in text
    assert "impedance is not known: voltages are those at the recorder's own input" in text
    both = {**DOCUMENT, "sides": {**DOCUMENT["sides"], "right": bare["sides"]["left"]}}
    text = methods_paragraph(both)
    assert "Left: at each tone the takes were solved" in text
    assert "Right: no take loads the output" in text


def test_a_response_with_the_recorders_load_in_it_says_so() -> None:
    bare = copy.deepcopy(DOCUMENT)
    (told,) = figure_plots(bare, ["response"])[0]
    assert "the recorder's own load taken out" in told.caption
    for name, curve in bare["sides"]["left"]["curves"].items():
        if name.endswith("_response"):
            curve["limited_by_bench"] = True
    (told,) = figure_plots(bare, ["response"])[0]
    assert "taken out" not in told.caption
    assert "as the recorder's input heard them" in told.caption


def test_a_fault_is_named_in_words() -> None:
    faulty = copy.deepcopy(DOCUMENT)
    faulty["sides"]["left"]["stage"]["faults"] = ["coupling-capacitor-cold"]
    captions = write_figures(faulty, names=["leg-phasors"], kinds=["svg"])[0]["captions.txt"]
    assert "Found: dried coupling capacitor on the cold leg." in captions.decode()


@pytest.mark.parametrize(
    ("value", "text"),
    # closed form: the same numbers; lost: "1e-05" at the axis of a printed figure
    [(20.0, "20"), (1e-3, "0.001"), (1e-5, "10⁻⁵"), (2e-5, "2·10⁻⁵"), (-10.0, "−10"),
     (1.5e-5, "1.5·10⁻⁵"), (2e6, "2·10⁶"), (0.0, "0")],
)  # fmt: skip
def test_numbers_at_an_axis_are_fit_for_print(value: float, text: str) -> None:
    assert tick(value) == text


def test_what_the_facts_do_not_hold_is_named_not_drawn() -> None:
    bare = {**DOCUMENT, "sides": {"left": {**DOCUMENT["sides"]["left"], "harmonics": []}}}
    made, missing = write_figures(bare, names=["harmonics", "response"], kinds=["svg"])
    assert missing == ("harmonics (left)",)
    assert "harmonics-left.svg" not in made


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"names": ["respons"]}, 'did you mean "response"'),
        ({"kinds": ["gif"]}, "there are svg, pdf, png"),
        ({"width_mm": 1.0}, "allowed are 40 to 400"),
        ({"width_mm": float("nan")}, "allowed are 40 to 400"),
    ],
)
def test_what_cannot_be_drawn_is_one_line(asked: dict[str, object], says: str) -> None:
    with pytest.raises(BadInput, match=re.escape(says)):
        write_figures(DOCUMENT, **asked)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("capture", "names"),
    [
        ("preamplifier-noise", {"noise-spectrum", "harmonics", "distortion-against-level"}),
        ("line-stage-transformer", {"leg-phasors", "leg-impedance", "response"}),
    ],
)
@pytest.mark.long
def test_what_a_session_measures_is_drawn(capture: str, names: set[str]) -> None:
    from probe.facts import analyse_session

    plots, _ = figure_plots(analyse_session(f"captures/{capture}", draws=64))
    # What the session holds is said by its session.toml: idle, floor, tone and level takes.
    assert names <= {p.name for p in plots}
    assert all(t.y for p in plots for panel in p.panels for t in panel.traces)


@pytest.mark.long
def test_the_command_writes_them(tmp_path: Path) -> None:
    import json

    facts = tmp_path / "facts.json"
    facts.write_text(json.dumps(DOCUMENT), encoding="utf-8")
    out = tmp_path / "figures"
    done = subprocess.run(
        [sys.executable, "-m", "probe", "figures", str(facts), "--out", str(out),
         "--only", "response", "--format", "svg", "--width", "double"],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert sorted(p.name for p in out.iterdir()) == [
        "captions.txt", "methods.txt", "response-left.svg",
    ]  # fmt: skip


@pytest.mark.parametrize("width_mm", [60.0, COLUMN_MM["single"]])
@pytest.mark.long
def test_no_legend_lies_over_the_data(width_mm: float) -> None:
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    from probe.figures import draw, style

    document = copy.deepcopy(DOCUMENT)
    curves = document["sides"]["left"]["curves"]
    curves["signal_balance"] = curves["output_common_mode_rejection"]
    curves["common_mode_impedance"] = curves["differential_impedance"]
    plots, _ = figure_plots(document, ["leg-phasors", "rejection", "differential-impedance"])
    assert len(plots) == 3
    for plot in plots:
        with mpl.rc_context(style.RC):
            figure = draw._figure(plot, width_mm)
            FigureCanvasAgg(figure).draw()
        for axes in figure.axes:
            legend = axes.get_legend()
            assert legend is not None
            box = legend.get_window_extent()
            # by design: outside the axes, whose box holds all data, and inside the paper
            assert not box.overlaps(axes.bbox), plot.name
            assert figure.bbox.contains(box.x0, box.y0), plot.name
            assert figure.bbox.contains(box.x1, box.y1), plot.name
