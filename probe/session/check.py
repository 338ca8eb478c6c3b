"""What must agree between the keys of session.toml, before any audio file is opened.

Each check returns nothing or raises the one line that says which key is wrong and why. Things
that only cast doubt on a result (a clipped take, a weak tone) are not judged here.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from itertools import pairwise
from pathlib import Path, PurePosixPath, PureWindowsPath

from probe.errors import BadInput
from probe.formats.places import Keys
from probe.formats.text import all_of, counted, quoted
from probe.formats.toml import complaint
from probe.session.document import InjectTable, LoadTable, SessionTable, TakeTable

BENCH_SIGNALS = ("floor", "channel-match", "loop-back", "check")
"""Takes of the bench itself: one recording of these may stand for both sides."""

_MANY = 10**9
TONES_OF_SIGNAL = {
    "multitone": (1, _MANY),
    "tone": (1, 1),
    "level-steps": (0, 1),
    "sweep": (0, 0),
    "idle": (0, 0),
    "floor": (0, 0),
    "channel-match": (0, _MANY),
    "loop-back": (0, _MANY),
    "check": (0, _MANY),
}
"""Least and most entries of ``tones_hz`` for each signal."""

KEYS_OF_SIGNAL = {
    "sweep": ("from_hz", "to_hz", "sweep_s"),
    "level-steps": ("levels_volts", "step_s"),
}
"""Keys that belong to one signal: needed with it, without meaning elsewhere."""


def check_document(path: Path, document: SessionTable) -> None:
    """Check everything that can be checked from the text alone.

    Raises
    ------
    BadInput
        The first disagreement, with its line and key.
    """
    if not document.take:
        raise complaint(path, (), "no take in it; at least one [[take]] table is needed")
    _check_meters(path, document)
    for position, take in enumerate(document.take):
        _TakeCheck(path, position, take).run()
    _check_names(path, document)
    _check_parts(path, document)
    _check_claims(path, document)


class _TakeCheck:
    """The checks of one take."""

    def __init__(self, path: Path, position: int, take: TakeTable) -> None:
        self.path = path
        self.here: Keys = ("take", position)
        self.take = take

    def run(self) -> None:
        self.file()
        self.channels()
        self.signal()
        self.tones()
        self.scale_and_drive()
        self.loads()
        self.injections()

    def wrong(self, what: str, *keys: str | int) -> BadInput:
        return complaint(self.path, (*self.here, *keys), what)

    def file(self) -> None:
        file, windows = self.take.file, PureWindowsPath(self.take.file)
        if PurePosixPath(file).is_absolute() or windows.drive or windows.root:
            raise self.wrong(
                f"{quoted(file)} is an absolute path; name a file inside the session folder", "file"
            )
        if "\\" in file:
            raise self.wrong(f"{quoted(file)}: write / between folders, not \\", "file")
        if ".." in PurePosixPath(file).parts:
            raise self.wrong(
                f"{quoted(file)} leaves the session folder; copy the file into it", "file"
            )

    def channels(self) -> None:
        channels = self.take.channels
        for position in _repeated(channels):
            if channels[position] != "unused":
                raise self.wrong(
                    f'"{channels[position]}" is listed twice in one take', "channels", position
                )
        if "difference" in channels and {"hot", "cold"} & set(channels):
            raise self.wrong(
                '"difference" cannot stand with "hot" or "cold" in one take: '
                "a balanced input takes both legs",
                "channels",
            )
        if set(channels) == {"unused"} and self.take.signal not in BENCH_SIGNALS:
            raise self.wrong("every channel is unused: this take records nothing", "channels")

    def signal(self) -> None:
        signal = self.take.signal
        if self.take.driven_side != "both" and self.take.side == "mono":
            raise self.wrong(
                "has no meaning on side mono; a mono device has one half", "driven_side"
            )
        for owner, keys in KEYS_OF_SIGNAL.items():
            for key in keys:
                given = getattr(self.take, key) is not None
                if signal == owner and not given:
                    raise self.wrong(f'is missing; signal "{signal}" needs {all_of(keys)}', key)
                if signal != owner and given:
                    raise self.wrong(f'belongs to signal "{owner}", this take is "{signal}"', key)
        levels = self.take.levels_volts or ()
        for position, (low, high) in enumerate(pairwise(levels), 1):
            if high <= low:
                raise self.wrong(
                    f"{high:g} is not above the level before it, {low:g}; levels must rise",
                    "levels_volts",
                    position,
                )
        if self.take.from_hz and self.take.to_hz and self.take.from_hz >= self.take.to_hz:
            raise self.wrong(
                f"{self.take.from_hz:g} is not below to_hz = {self.take.to_hz:g}", "from_hz"
            )

    def tones(self) -> None:
        take = self.take
        least, most = TONES_OF_SIGNAL[take.signal]
        if len(take.tones_hz) < least:
            raise self.wrong(
                f'has no tones; signal "{take.signal}" needs the frequencies it plays', "tones_hz"
            )
        if len(take.tones_hz) > most:
            allowed = "plays no tones" if not most else "plays one tone"
            raise self.wrong(
                f'has {counted(len(take.tones_hz), "tone")}, but signal "{take.signal}" {allowed}; '
                "correct signal or tones_hz",
                "tones_hz",
            )
        self._tones_and_phases(take.tones_hz, take.phases_deg)

    def _tones_and_phases(
        self, tones: tuple[float, ...], phases: tuple[float, ...] | None, *keys: str | int
    ) -> None:
        for position in _repeated(tones):
            raise self.wrong(f"{tones[position]:g} Hz is listed twice", *keys, "tones_hz", position)
        if phases is not None and len(phases) != len(tones):
            raise self.wrong(
                f"has {counted(len(phases), 'value')} and tones_hz has {len(tones)}; "
                "one for each tone",
                *keys,
                "phases_deg",
            )

    def scale_and_drive(self) -> None:
        take = self.take
        if take.volts_full_scale is not None and len(take.volts_full_scale) != len(take.channels):
            raise self.wrong(
                f"has {counted(len(take.volts_full_scale), 'value')} and channels has "
                f"{len(take.channels)}; one for each channel",
                "volts_full_scale",
            )
        if take.drive_volts is not None and take.drive_dbfs is not None:
            raise self.wrong("cannot stand beside drive_volts; give one of them", "drive_dbfs")
        if take.start_frame is not None and take.timebase is None:
            raise self.wrong(
                "has no meaning without timebase, the name of the running stream", "start_frame"
            )

    def loads(self) -> None:
        if self.take.load and self.take.signal == "floor":
            raise self.wrong('a "floor" take has nothing connected; remove load', "load")
        for position, load in enumerate(self.take.load):
            if load.from_ == load.to:
                raise self.wrong(
                    f'goes from "{load.from_}" to itself; from and to must differ',
                    "load",
                    position,
                    "to",
                )

    def injections(self) -> None:
        take = self.take
        if take.inject and take.signal == "floor":
            raise self.wrong('a "floor" take has nothing connected; remove inject', "inject")
        for position in _repeated(i.into for i in take.inject):
            raise self.wrong(
                f'a second injector into "{take.inject[position].into}"; one for each terminal',
                "inject",
                position,
                "into",
            )
        for position, injection in enumerate(take.inject):
            self._injection(position, injection)
        self._shared_tones()

    def _injection(self, position: int, injection: InjectTable) -> None:
        if injection.volts > 0 and not injection.tones_hz:
            raise self.wrong(
                "has no tones; an injector that is not silent (volts above 0) needs them",
                "inject",
                position,
                "tones_hz",
            )
        self._tones_and_phases(injection.tones_hz, injection.phases_deg, "inject", position)

    def _shared_tones(self) -> None:
        """Refuse a tone of two sources: its amplitude says nothing about either."""
        sources = dict.fromkeys(self.take.tones_hz, "the device plays")
        for position, injection in enumerate(self.take.inject):
            if injection.volts == 0:
                continue
            for number, hz in enumerate(injection.tones_hz):
                if hz in sources:
                    raise self.wrong(
                        f"{hz:g} Hz is also a tone that {sources[hz]} in this take; "
                        "inject at tones nothing else carries",
                        "inject",
                        position,
                        "tones_hz",
                        number,
                    )
            sources |= dict.fromkeys(
                injection.tones_hz, f"the injector into {injection.into} carries"
            )


def _repeated(values: Iterable[Hashable]) -> list[int]:
    """Return the positions of values that occurred before, the first such position first."""
    seen: set[Hashable] = set()
    found = []
    for position, value in enumerate(values):
        if value in seen:
            found.append(position)
        seen.add(value)
    return found


def _check_meters(path: Path, document: SessionTable) -> None:
    for position, meter in enumerate(document.meter):
        here: Keys = ("meter", position)
        if meter.between[0] == meter.between[1]:
            raise complaint(
                path, (*here, "between"), f'"{meter.between[0]}" twice; name two terminals'
            )
        if meter.volts_dc is None and meter.volts_ac is None:
            raise complaint(path, here, "holds no reading; give volts_dc, volts_ac or both")


def _check_names(path: Path, document: SessionTable) -> None:
    seen: dict[str, int] = {}
    for position, take in enumerate(document.take):
        if take.name is None:
            continue
        first = seen.setdefault(take.name, position)
        if first != position:
            raise complaint(
                path,
                ("take", position, "name"),
                f"{quoted(take.name)} is also the name of take[{first}]; names must differ",
            )


def resistors(document: SessionTable) -> list[tuple[Keys, LoadTable | InjectTable]]:
    """Return every switched resistor with its place in the document, in its order."""
    found: list[tuple[Keys, LoadTable | InjectTable]] = []
    for position, take in enumerate(document.take):
        found += [(("take", position, "load", n), r) for n, r in enumerate(take.load)]
        found += [(("take", position, "inject", n), r) for n, r in enumerate(take.inject)]
    return found


def _check_parts(path: Path, document: SessionTable) -> None:
    """One physical resistor has one value, one uncertainty, and one place at a time."""
    known: dict[tuple[str, str], tuple[float, float | None, Keys]] = {}
    placed: set[tuple[str | int, str]] = set()
    for keys, resistor in resistors(document):
        if resistor.part is None:
            continue
        if (keys[1], resistor.part) in placed:
            raise complaint(
                path,
                (*keys, "part"),
                f"{quoted(resistor.part)} is already in use in this take; "
                "one resistor has one place",
            )
        placed.add((keys[1], resistor.part))
        _check_part(path, keys, resistor, known)


def _check_part(
    path: Path,
    keys: Keys,
    resistor: LoadTable | InjectTable,
    known: dict[tuple[str, str], tuple[float, float | None, Keys]],
) -> None:
    """Compare with what the same part was said to be before, as a load or as an injector.

    The resistance of an injector includes what drives it, so one part may be both, with two
    values.
    """
    load = isinstance(resistor, LoadTable)
    ohm = resistor.ohm if isinstance(resistor, LoadTable) else resistor.through_ohm
    key, use = ("ohm", "load") if load else ("through_ohm", "inject")
    part = str(resistor.part)
    before = known.get((use, part))
    if before is None:
        known[use, part] = (ohm, resistor.u95_percent, keys)
        return
    if ohm != before[0]:
        raise complaint(
            path,
            (*keys, key),
            f"{ohm:g} ohm, but part {quoted(part)} is {before[0]:g} ohm in take[{before[2][1]}]; "
            "one part is one resistor, name another part or correct the value",
        )
    declared = resistor.u95_percent
    if declared is not None and before[1] is not None and declared != before[1]:
        raise complaint(
            path,
            (*keys, "u95_percent"),
            f"{declared:g} %, but part {quoted(part)} has {before[1]:g} % in take[{before[2][1]}]; "
            "one part has one uncertainty",
        )
    known[use, part] = (ohm, before[1] if before[1] is not None else declared, before[2])


def _check_claims(path: Path, document: SessionTable) -> None:
    """One channel of one recording heard one terminal of one side, under one wiring.

    Two takes that both claim it are nearly always a file name that was copied and not changed.
    """
    claims: dict[tuple[str, int], int] = {}
    for position, take in enumerate(document.take):
        if take.signal in BENCH_SIGNALS:
            continue
        file = str(PurePosixPath(take.file))
        for channel, word in enumerate(take.channels):
            if word in ("unused", "reference"):
                continue
            first = claims.setdefault((file, channel), position)
            if first != position:
                raise complaint(
                    path,
                    ("take", position, "file"),
                    f'channel {channel + 1} ("{word}") of {quoted(take.file)} already belongs to '
                    f"take[{first}]; name this take's own file, or call the channel unused",
                )
