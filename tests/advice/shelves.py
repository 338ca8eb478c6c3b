"""Shelves that more than one test picks from, as their files are typed."""

from __future__ import annotations

HEAD = 'format = "probe-shelf/1"\ncurrency = "EUR"\n'

THROUGH = 'wires = ["centre-centre", "shell-shell"]'
"""Of an RCA lead or splitter."""

OPEN = 'wires = ["2-centre", "1-shell"]'
TIED = 'wires = ["2-centre", "1-shell"]\njoined_from = ["1-3"]'
STRAIGHT = 'wires = ["1-1", "2-2", "3-3"]'
"""Of an XLR lead."""


def part(name: str, kind: str, plugs: str, price: float, more: str = "", stock: int = 8) -> str:
    """Return one part; ``plugs``: from the device on, two words."""
    from_, to = plugs.split()
    return (
        f'[[part]]\nname = "{name}"\nkind = "{kind}"\nfrom = "{from_}"\nto = "{to}"\n'
        f"price = {price}\nstock = {stock}\n{more}\n"
    )


def pad(name: str, db: float, price: float, stock: int = 8) -> str:
    """Return an attenuator between RCA sockets and plugs; ``db`` is what it takes off."""
    more = f"attenuation_db = {db}"
    return part(name, "attenuator", "rca-female rca-male", price, more, stock)


PAIR = part("pair", "lead", "rca-male rca-male", 17.0, f"{THROUGH}\nlength_m = 1.5\npieces = 2")
"""Two RCA leads of 1.5 m in a package."""

DATA = "capacitance_pf_per_m = 90.0\nshield_milliohm_per_m = 25.0\ncontact_milliohm = 15.0"
"""Of a lead of usual make."""

OF_LIBRARY = 'transformer = "alder"'
"""An isolator as the library has it."""

STOCKED = (
    PAIR,
    part("RCA lead", "lead", "rca-male rca-male", 14.0, f"{THROUGH}\nlength_m = 3.0\n{DATA}"),
    part("open lead", "lead", "xlr-female rca-male", 22.0, f"{OPEN}\nlength_m = 3.0\n{DATA}"),
    part("tied lead", "lead", "xlr-female rca-male", 26.0, f"{TIED}\nlength_m = 3.0\n{DATA}"),
    part("XLR lead", "lead", "xlr-female xlr-male", 19.0, f"{STRAIGHT}\nlength_m = 3.0\n{DATA}"),
    part("isolator", "transformer", "xlr-female rca-female", 85.0, OF_LIBRARY),
    part("RCA isolator", "transformer", "rca-female rca-female", 60.0, OF_LIBRARY),
    pad("pad 6", 6.0, 15.0), pad("pad 10", 10.0, 13.0), pad("pad 20", 20.0, 12.0),
    part("RCA Y", "splitter", "rca-male rca-female", 9.0, THROUGH),
    part("XLR Y", "splitter", "xlr-female xlr-male", 18.0, STRAIGHT),
)  # fmt: skip
"""Parts of most ways into an RCA input; nothing from an RCA output into an XLR."""
