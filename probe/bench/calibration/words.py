"""What is shown of a bench's figures and of a check, as plain text."""

from __future__ import annotations

from probe.bench.calibration.check import CheckResult
from probe.bench.calibration.figures import BenchFigures, Figure, InputFigures
from probe.numbers import write, write_number, write_signed

HOW = {
    "metered": "by the multimeter",
    "data-sheet": "by the maker's word",
    "assumed": "NOT MEASURED",
    "series": "by the resistor in series",
    "shunt": "by the resistor across",
    "exchanged": "by leads exchanged",
    "terminated": "with inputs terminated",
    "loop-back": "by loop-back",
}


def bench_shown(bench: BenchFigures) -> str:
    """Return a bench's figures, one a line."""
    head = ", ".join(w for w in (bench.interface, bench.gain, bench.leads) if w)
    lines = [f"{head}: {bench.made_on.isoformat()}, {bench.sample_rate} Hz"]
    for number, inlet in enumerate(bench.inputs, 1):
        lines += [
            _line(f"input {number}  full scale", inlet.volts_full_scale, "V", " peak"),
            _line("         impedance", inlet.impedance_ohm, "ohm"),
            _line("         capacitance", inlet.capacitance_farad, "F"),
        ]
        if inlet.noise_volts is not None:
            noise = inlet.noise_volts
            lines.append(_quiet("         noise", inlet, noise, ", 20 Hz to 20 kHz"))
        if inlet.hum_volts is not None:
            lines.append(_quiet("         hum", inlet, inlet.hum_volts))
    for number, outlet in enumerate(bench.outputs, 1):
        lines += [
            _line(f"output {number} full scale", outlet.volts_full_scale, "V", " peak"),
            _line("         impedance", outlet.impedance_ohm, "ohm"),
        ]
    lines += _path_lines(bench)
    if not bench.absolute:
        lines.append(
            "No meter was read: volts are not measured. Ratios, phases and impedances are as good."
        )
    return "\n".join(lines) + "\n"


def _path_lines(bench: BenchFigures) -> list[str]:
    lines = []
    if bench.match.hz:
        at = min(range(len(bench.match.hz)), key=lambda j: abs(bench.match.hz[j] - 1000.0))
        match = bench.match
        db = write_signed(match.db[at], "dB", match.u95_db[at], 3)
        worst = max(abs(d - match.db[at]) for d in match.db)
        lines.append(
            f"inputs   1 over 2: {db} ± {match.u95_db[at]:.3f} at 1 kHz, within {worst:.3f} dB of "
            f"that at all tones;\n         {_signed(match.deg[-1])}° at "
            f"{match.hz[-1] / 1e3:.1f} kHz (by leads exchanged)"
        )
    for number, figure in enumerate(bench.thd_percent, 1):
        lines.append(
            f"         distortion, output and input {number} together: "
            f"{write({'value': figure.value, 'u95': figure.u95, 'unit': '%'}).whole}"
        )
    for (one, two), figure in zip(((1, 2), (2, 1)), bench.crosstalk_db, strict=False):
        lines.append(
            f"         crosstalk {one} into {two}: {figure.value:.0f} dB at 1 kHz".replace("-", "−")
        )
    if bench.clock_ppm is not None:
        lines.append(
            f"         clock of inputs against outputs: {_signed(bench.clock_ppm.value)} ppm "
            f"± {max(bench.clock_ppm.u95, LAST_PLACE):.2f}"
        )
    return lines


LAST_PLACE = 0.01
"""No doubt is shown as nothing: at least one in the last place."""


def _signed(value: float) -> str:
    """Return a number with two places and its sign; nothing is neither plus nor minus."""
    return "0.00" if abs(value) < LAST_PLACE / 2.0 else f"{value:+.2f}".replace("-", "−")


def _quiet(label: str, inlet: InputFigures, figure: Figure, after: str = "") -> str:
    """Return a line of noise or hum: of volts nobody measured about, of a doubt as large below."""
    if inlet.volts_full_scale.how == "assumed":
        said = f"about {write_number(figure.value, 'V')}{after}"
        return f"{label:<20} {said} (volts {HOW['assumed']})"
    if figure.u95 >= figure.value / 2.0:
        said = write_number(figure.value + figure.u95, "V")
        return f"{label:<20} below {said}{after} ({HOW[figure.how]})"
    return _line(label, figure, "V", after)


def _line(label: str, figure: Figure, unit: str, after: str = "") -> str:
    entry = {"value": figure.value, "u95": figure.u95, "unit": unit}
    shown = write_number(figure.value, unit) if figure.how == "assumed" else write(entry).whole
    return f"{label:<20} {shown}{after} ({HOW[figure.how]})"


def check_shown(result: CheckResult) -> str:
    """Return the outcome of a check, one line each."""
    lines = [
        f"input {row.input}: {row.deviation_db:+.3f} dB from its calibration "
        f"(up to {row.limit_db:.3f} is as it should be)".replace("-", "−")
        for row in result.rows
    ]
    if result.fine:
        return "\n".join([*lines, "as calibrated: a session may begin"]) + "\n"
    return "\n".join([*lines, *(f"NOT AS CALIBRATED: {f}" for f in result.findings)]) + "\n"
