"""Audio transformers as data: a small library of invented parts, and a user's own file.

The file is ``probe-transformer/1``; its figures are those of `TwoPort`, in the units data sheets
print.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Annotated

from pydantic import Field

from probe.advice.network import TwoPort
from probe.advice.ranges import Level, Ohm
from probe.errors import BadInput
from probe.formats.text import nearest, quoted
from probe.formats.toml import OneLine, Table, read_toml

FORMAT = "probe-transformer/1"


class TransformerFile(Table):
    """The file as written."""

    name: OneLine
    about: OneLine = ""
    ratio: Annotated[float, Field(ge=0.01, le=100.0)] = 1.0
    primary_ohm: Ohm
    secondary_ohm: Ohm
    magnetising_henry: Annotated[float, Field(gt=0.0, le=1e5)]
    leakage_millihenry: Annotated[float, Field(gt=0.0, le=1e6)]
    core_loss_ohm: Ohm = 100e3
    primary_pf: Annotated[float, Field(ge=0.0, le=1e6)] = 200.0
    secondary_pf: Annotated[float, Field(ge=0.0, le=1e6)] = 200.0
    between_pf: Annotated[float, Field(ge=0.0, le=1e6)] = 20.0
    volts_at_20_hz: Level

    def part(self) -> TwoPort:
        """Return the same in SI units."""
        return TwoPort(
            ratio=self.ratio,
            primary_ohm=self.primary_ohm,
            secondary_ohm=self.secondary_ohm,
            magnetising_henry=self.magnetising_henry,
            leakage_henry=self.leakage_millihenry * 1e-3,
            loss_ohm=self.core_loss_ohm,
            primary_farad=self.primary_pf * 1e-12,
            secondary_farad=self.secondary_pf * 1e-12,
            between_farad=self.between_pf * 1e-12,
            volts_at_20_hz=self.volts_at_20_hz,
            name=self.name,
        )


def library() -> dict[str, Path]:
    """Return the transformers that come with the program: name to file."""
    folder = Path(str(resources.files("probe.advice"))) / "library"
    return {path.stem: path for path in sorted(folder.glob("*.toml"))}


def listed() -> str:
    """Return the library as text, one part a line, ending in a line break."""
    lines = []
    for name, path in library().items():
        part = read_toml(path, TransformerFile, format_word=FORMAT)
        lines.append(
            f"{name:<8} 1:{part.ratio:<4g} {part.volts_at_20_hz:>4g} V at 20 Hz  {part.about}"
        )
    return "\n".join(lines) + "\n"


def read_transformer(path: Path) -> TwoPort:
    """Read and check a transformer file.

    Raises
    ------
    BadInput
        As `read_toml`.
    """
    return read_toml(path, TransformerFile, format_word=FORMAT).part()


def find_transformer(named: str, beside: Path | None = None) -> TwoPort:
    """Return the transformer of the library called ``named``, or the one in the file ``named``.

    ``beside``: the folder that a relative path starts from.

    Raises
    ------
    BadInput
        There is neither such a part nor such a file, or the file is not what it should be.
    """
    own = library()
    if named in own:
        return read_transformer(own[named])
    if not named.endswith(".toml"):
        close = nearest(named, own)
        hint = f'did you mean "{close}"?' if close else f"there are {', '.join(own)}"
        raise BadInput(
            f"no transformer {quoted(named)}; {hint} (or give a file of your own ending in .toml)"
        )
    return read_transformer((beside or Path()) / named)


TEMPLATE = """\
# An audio transformer, as its data sheet gives it. All figures seen at the primary.
format = "probe-transformer/1"
name = "my line isolator"
ratio = 1.0                       # secondary turns over primary turns
primary_ohm = 60.0                # winding resistances
secondary_ohm = 60.0
magnetising_henry = 15.0          # decides the bass: R / (2 pi L)
leakage_millihenry = 3.0          # decides the treble, with the capacitances
core_loss_ohm = 100000.0
primary_pf = 200.0                # winding to its screen
secondary_pf = 200.0
between_pf = 20.0                 # primary to secondary: what the screen lets through
volts_at_20_hz = 5.0              # V rms before the core saturates
"""
"""A commented transformer file that reads as it stands."""
