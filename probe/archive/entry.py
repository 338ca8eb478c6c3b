"""An entry of the archive without its documents, and the columns it is read from."""

from __future__ import annotations

from dataclasses import dataclass

WITH_FAULTS, WITH_SIMULATED = 3, 4
"""Tables from which an entry states its faults, and whether it is simulated; of older ones these
are read from its facts."""

_COLUMNS = "id, key, maker, model, serial, measured_on, firmware, added_on, note"


def columns_in(tables: int) -> str:
    """Return the columns of `Entry` as a query names them in tables of this version."""
    faults = "faults" if tables >= WITH_FAULTS else repr("")
    return f"{_COLUMNS}, {faults}, {'simulated' if tables >= WITH_SIMULATED else 0}"


@dataclass(frozen=True)
class Entry:
    """One measured device in the archive, without its documents.

    ``faults`` are those found, as the report names them, each with its side; empty where there are
    none. ``simulated``: calculated from a circuit, no real device.
    """

    id: int
    key: str
    maker: str
    model: str
    serial: str
    measured_on: str
    firmware: str
    added_on: str
    note: str
    faults: str
    simulated: bool

    @property
    def device(self) -> tuple[str, str, str]:
        """What one example of a device is known by."""
        return self.maker, self.model, self.serial
