"""session.toml and its audio files, read, checked and turned into SI units."""

from __future__ import annotations

import hashlib
import math
from dataclasses import replace
from pathlib import Path
from typing import cast

from probe.errors import BadInput
from probe.formats.places import Keys
from probe.formats.text import all_of, counted, nearest, quoted, shown_path
from probe.formats.toml import complaint, dotted, read_bytes, read_toml
from probe.session.check import check_document, resistors
from probe.session.document import (
    FORMAT_WORD,
    BenchTable,
    DeviceTable,
    InjectTable,
    InputTable,
    LoadTable,
    RefusedLoadTable,
    SessionTable,
    TakeTable,
)
from probe.session.header import AudioFile, read_header
from probe.session.model import (
    Assumption,
    Bench,
    BenchOutput,
    Connector,
    Device,
    Injection,
    KeptAlthough,
    LevelSteps,
    Load,
    MeterReading,
    RecorderInput,
    RefusedLoad,
    Session,
    Sweep,
    Take,
)

SESSION_FILE = "session.toml"

DEFAULT_U95_PERCENT = 1.0
"""Of a full scale, a resistor or an injected voltage about which the session says nothing."""
DEFAULT_IMPEDANCE_U95_PERCENT = 2.0
DEFAULT_CAPACITANCE_PF = 150.0
"""An input and a short lead."""
DEFAULT_CAPACITANCE_U95_PF = 50.0
DEFAULT_CONNECTORS: tuple[Connector, ...] = ("xlr", "rca")

_HASHED_AT_ONCE = 1 << 20


def read_session(path: str | Path) -> Session:
    """Read a session: its folder, or the session.toml in it.

    Raises
    ------
    BadInput
        Anything in the text or in the audio files that cannot be used; the message is one line
        naming the file, the line and the key.
    """
    toml_path = _find(Path(path))
    _refuse_drafts(toml_path)
    document = read_toml(toml_path, SessionTable, format_word=FORMAT_WORD)
    check_document(toml_path, document)
    audio = [_open(toml_path, n, take) for n, take in enumerate(document.take)]
    _check_timebases(toml_path, document, audio)
    return _Build(toml_path, document, audio).session()


OPEN_QUESTION = "# QUESTION"
"""What a line of a draft begins with that asks something nobody has answered yet."""


def _refuse_drafts(path: Path) -> None:
    """Refuse a draft with open questions in the words of its reader, whatever it lacks."""
    lines = read_bytes(path).decode("utf-8", "replace").splitlines()
    asked = [n for n, line in enumerate(lines, 1) if line.startswith(OPEN_QUESTION)]
    if asked:
        # a question about several recordings has one number and stands in each of them
        which = {
            lines[n - 1].removeprefix(OPEN_QUESTION).split(":")[0].split()[:1][0] for n in asked
        }
        raise BadInput(
            f"{shown_path(path)}:{asked[0]}: is a draft with {counted(len(which), 'question')} "
            f"left; answer the questions in the draft: {counted(len(asked), 'line')} that "
            f'begin{"s" * (len(asked) == 1)} with "{OPEN_QUESTION}"; write the answer below each '
            "and take the line away"
        )


def session_sha256(session: Session) -> str:
    """Return the SHA-256, hexadecimal, of session.toml and then of every take's file, in order.

    A file that several takes name is included once for each of them.

    Raises
    ------
    BadInput
        A file can no longer be read.
    """
    digest = hashlib.sha256()
    buffer = memoryview(bytearray(_HASHED_AT_ONCE))
    for path in (session.toml_path, *(take.path for take in session.takes)):
        try:
            with path.open("rb", buffering=0) as file:
                while got := file.readinto(buffer):
                    digest.update(buffer[:got])
        except OSError as error:
            raise BadInput(f"{shown_path(path)}: can no longer be read") from error
    return digest.hexdigest()


def _find(path: Path) -> Path:
    """Return the path of session.toml for a folder or for that file itself."""
    try:
        if path.is_dir():
            if (path / SESSION_FILE).exists():
                return path / SESSION_FILE
            facts = "; give the facts.json in it" if (path / "facts.json").is_file() else ""
            raise BadInput(
                f"{shown_path(path)}: this folder holds no {SESSION_FILE}"
                f"{facts or '; where it holds recordings, probe draft FOLDER writes one from them'}"
            )
        if not path.exists():
            raise BadInput(f"{shown_path(path)}: there is no such folder or file")
        if path.is_file() and path.suffix.lower() != ".toml":
            raise BadInput(
                f"{shown_path(path)}: is no session: give the folder that holds {SESSION_FILE}, "
                "or that file"
            )
    except (OSError, ValueError) as error:
        raise BadInput(f"{shown_path(path)}: cannot be read") from error
    return path


def _open(toml_path: Path, position: int, take: TakeTable) -> AudioFile:
    """Open a take's file and check what it promises against what the take says."""
    here: Keys = ("take", position)
    path = _locate(toml_path, (*here, "file"), take.file)
    try:
        audio = read_header(path)
    except BadInput as error:
        raise complaint(toml_path, (*here, "file"), f"{quoted(take.file, 120)} {error}") from error
    if audio.channels != len(take.channels):
        raise complaint(
            toml_path,
            (*here, "channels"),
            f"lists {len(take.channels)} and {quoted(take.file, 120)} has {audio.channels}; "
            'name every channel of the file, "unused" where nothing is connected',
        )
    _check_below_nyquist(toml_path, here, take, audio)
    return audio


def _locate(toml_path: Path, keys: Keys, file: str) -> Path:
    """Return the real path of a take's file, which must lie inside the session folder."""
    try:
        folder = toml_path.parent.resolve()
        path = (folder / file).resolve()
        inside = path.is_relative_to(folder)
        exists = path.exists()
    except (OSError, RuntimeError, ValueError) as error:
        raise complaint(toml_path, keys, f"{quoted(file)} cannot be found on this disk") from error
    if not inside:
        raise complaint(
            toml_path,
            keys,
            f"{quoted(file)} leads out of the session folder by a symbolic link; "
            "copy the file into it",
        )
    if not exists:
        close = nearest(path.name, _names(path.parent))
        hint = f"; did you mean {quoted(close)}?" if close else ""
        raise complaint(toml_path, keys, f"there is no file {quoted(file)} in the folder{hint}")
    if not path.is_file():
        raise complaint(toml_path, keys, f"{quoted(file)} is not a file")
    return path


def _names(folder: Path) -> list[str]:
    try:
        return [entry.name for entry in folder.iterdir()]
    except OSError:
        return []


def _check_below_nyquist(toml_path: Path, here: Keys, take: TakeTable, audio: AudioFile) -> None:
    """Refuse tones the recording cannot hold."""
    highest = audio.sample_rate / 2
    tones: list[tuple[Keys, float]] = [
        ((*here, "tones_hz", n), hz) for n, hz in enumerate(take.tones_hz)
    ]
    for number, injection in enumerate(take.inject):
        keys: Keys = (*here, "inject", number, "tones_hz")
        tones += [((*keys, n), hz) for n, hz in enumerate(injection.tones_hz)]
    if take.to_hz is not None:
        tones.append(((*here, "to_hz"), take.to_hz))
    for keys, hz in tones:
        if hz >= highest:
            raise complaint(
                toml_path,
                keys,
                f"{hz:g} Hz is not below half the sample rate of {quoted(take.file, 120)} "
                f"({audio.sample_rate} Hz); tones must be below {highest:g} Hz",
            )


def _check_timebases(toml_path: Path, document: SessionTable, audio: list[AudioFile]) -> None:
    """Compare takes of one running stream: one rate, a start for each file, no overlap."""
    takes = document.take
    for later, take in enumerate(takes):
        for earlier in range(later):
            if take.timebase is None or takes[earlier].timebase != take.timebase:
                continue
            _check_stream(toml_path, takes, audio, earlier, later)


def _check_stream(
    toml_path: Path, takes: tuple[TakeTable, ...], audio: list[AudioFile], earlier: int, later: int
) -> None:
    one, other = takes[earlier], takes[later]
    starts = one.start_frame or 0, other.start_frame or 0
    here: Keys = ("take", later)
    if audio[earlier].sample_rate != audio[later].sample_rate:
        raise complaint(
            toml_path,
            (*here, "timebase"),
            f"{quoted(other.timebase or '')} runs at {audio[earlier].sample_rate} Hz in "
            f"take[{earlier}] and at {audio[later].sample_rate} Hz here; one stream has one rate",
        )
    same_file = audio[earlier].path == audio[later].path
    if same_file and starts[0] != starts[1]:
        raise complaint(
            toml_path,
            (*here, "start_frame"),
            f"{starts[1]}, but the same file starts at {starts[0]} in take[{earlier}]",
        )
    overlap = (
        starts[0] < starts[1] + audio[later].frames
        and starts[1] < starts[0] + audio[earlier].frames
    )
    if overlap and not same_file and one.side == other.side:
        raise complaint(
            toml_path,
            (*here, "start_frame"),
            f"{starts[1]}: the file then overlaps take[{earlier}] (frames {starts[0]} to "
            f"{starts[0] + audio[earlier].frames}) in timebase {quoted(other.timebase or '')}; "
            "say where in the stream each file starts",
        )


class _Build:
    """Turns the document into the model, filling in defaults and keeping account of them."""

    def __init__(self, toml_path: Path, document: SessionTable, audio: list[AudioFile]) -> None:
        self.toml_path = toml_path
        self.document = document
        self.audio = audio
        self.assumptions: list[Assumption] = []
        self.resistor_u95 = _declared_u95(document)

    def session(self) -> Session:
        device = self._device(self.document.device)
        bench = self._bench(self.document.bench)
        self._note_resistors()
        self._note_injected_volts()
        names = _take_names(self.document.take)
        takes = tuple(self._take(n, names[n], bench) for n in range(len(names)))
        meters = tuple(
            MeterReading(m.side, m.between, m.volts_dc, m.volts_ac) for m in self.document.meter
        )
        return Session(
            folder=self.toml_path.parent,
            toml_path=self.toml_path,
            device=device,
            bench=bench,
            meters=meters,
            takes=takes,
            assumptions=tuple(self.assumptions),
            refused_loads=tuple(_refused(table) for table in self.document.refused_load),
            kept_although=tuple(
                KeptAlthough(k.about, k.seen, k.side, k.volume) for k in self.document.kept_although
            ),
        )

    def _assume(self, where: str, message: str) -> None:
        self.assumptions.append(Assumption(where, message))

    def _device(self, table: DeviceTable) -> Device:
        if table.connectors is None:
            self._assume(
                "device.connectors",
                f"the device's connectors are not given: {all_of(DEFAULT_CONNECTORS)} taken",
            )
        return Device(
            maker=table.maker,
            model=table.model,
            serial=table.serial,
            kind=table.kind,
            output=table.output,
            connectors=table.connectors or DEFAULT_CONNECTORS,
            firmware=table.firmware,
            stated_polarity=table.stated_polarity,
            minimum_load_ohm=table.minimum_load_ohm,
            full_output_volts=table.full_output.volts if table.full_output else None,
        )

    def _bench(self, table: BenchTable) -> Bench:
        self._note_inputs(table.input, "u95_percent", f"{DEFAULT_U95_PERCENT:g} %")
        self._note_inputs(
            table.input, "impedance_u95_percent", f"{DEFAULT_IMPEDANCE_U95_PERCENT:g} %"
        )
        self._note_inputs(table.input, "capacitance_pf", f"{DEFAULT_CAPACITANCE_PF:g} pF")
        self._note_inputs(table.input, "capacitance_u95_pf", f"{DEFAULT_CAPACITANCE_U95_PF:g} pF")
        return Bench(
            interface=table.interface,
            mains_hz=table.mains_hz,
            recorded_on=table.recorded_on,
            calibrated_on=table.calibrated_on,
            repeatability_db=table.repeatability_db,
            inputs=tuple(_recorder_input(i, table.common_u95_percent / 100) for i in table.input),
            outputs=tuple(BenchOutput(o.volts_full_scale, o.impedance_ohm) for o in table.output),
        )

    def _note_inputs(self, inputs: tuple[InputTable, ...], key: str, taken: str) -> None:
        missing = [str(n) for n, i in enumerate(inputs, 1) if getattr(i, key) is None]
        if missing:
            plural = "s" if len(missing) > 1 else ""
            self._assume(
                f"bench.input.{key}",
                f"{key} of recorder channel{plural} {all_of(missing)} is not given: {taken} taken",
            )

    def _note_resistors(self) -> None:
        missing: dict[str, None] = {}
        for keys, resistor in resistors(self.document):
            part = resistor.part or dotted(keys)
            if resistor.u95_percent is None and part not in self.resistor_u95:
                missing[part] = None
        if missing:
            self._assume(
                "load and inject u95_percent",
                f"u95_percent of resistor {all_of(missing)} is not given: "
                f"{DEFAULT_U95_PERCENT:g} % taken",
            )

    def _note_injected_volts(self) -> None:
        missing = [
            dotted(("take", n, "inject", i))
            for n, take in enumerate(self.document.take)
            for i, injection in enumerate(take.inject)
            if injection.volts > 0 and injection.volts_u95_percent is None
        ]
        if missing:
            self._assume(
                "inject volts_u95_percent",
                f"volts_u95_percent of {all_of(missing)} is not given: "
                f"{self._output_u95_percent():g} % taken, as of the bench's output",
            )

    def _output_u95_percent(self) -> float:
        """Which output drives the injector is not said: the least certain one counts."""
        outputs = self.document.bench.output
        known = [_or(o.u95_percent, DEFAULT_U95_PERCENT) for o in outputs]
        return max(known, default=DEFAULT_U95_PERCENT)

    def _take(self, position: int, name: str, bench: Bench) -> Take:
        table, audio = self.document.take[position], self.audio[position]
        self._check_inputs(position, bench, audio)
        return Take(
            name=name,
            file=table.file,
            path=audio.path,
            side=table.side,
            channels=table.channels,
            inputs=_scaled(bench.inputs[: audio.channels], table.volts_full_scale),
            signal=table.signal,
            tones_hz=table.tones_hz,
            phases_rad=_radians(table.phases_deg),
            drive_volts=table.drive_volts,
            drive_dbfs=table.drive_dbfs,
            volume=table.volume,
            state=table.state,
            driven_input_leg=table.driven_input_leg,
            timebase=table.timebase,
            start_frame=table.start_frame or 0,
            loads=tuple(self._load(("take", position, "load", n)) for n in range(len(table.load))),
            injections=tuple(
                self._injection(("take", position, "inject", n)) for n in range(len(table.inject))
            ),
            sample_rate=audio.sample_rate,
            frames=audio.frames,
            sweep=_sweep(table),
            level_steps=_level_steps(table),
            driven_side=table.driven_side,
        )

    def _check_inputs(self, position: int, bench: Bench, audio: AudioFile) -> None:
        if audio.channels > len(bench.inputs):
            raise complaint(
                self.toml_path,
                ("take", position, "channels"),
                f"has {counted(audio.channels, 'channel')} and only {len(bench.inputs)} "
                "[[bench.input]] are described; describe one for each channel of the file, "
                "in its order",
            )

    def _load(self, keys: Keys) -> Load:
        table = self.document.take[cast(int, keys[1])].load[cast(int, keys[3])]
        part = table.part or dotted(keys)
        return Load(table.from_, table.to, table.ohm, self._u95(table, part), part)

    def _injection(self, keys: Keys) -> Injection:
        table = self.document.take[cast(int, keys[1])].inject[cast(int, keys[3])]
        part = table.part or dotted(keys)
        sounding = table.volts > 0
        volts_u95 = _or(table.volts_u95_percent, self._output_u95_percent())
        return Injection(
            into=table.into,
            through_ohm=table.through_ohm,
            u95_relative=self._u95(table, part),
            part=part,
            volts=table.volts,
            volts_u95_relative=volts_u95 / 100,
            tones_hz=table.tones_hz if sounding else (),
            phases_rad=_radians(table.phases_deg) if sounding else None,
        )

    def _u95(self, table: LoadTable | InjectTable, part: str) -> float:
        declared = self.resistor_u95.get(part, DEFAULT_U95_PERCENT)
        return _or(table.u95_percent, declared) / 100


def _or(value: float | None, default: float) -> float:
    return default if value is None else value


def _declared_u95(document: SessionTable) -> dict[str, float]:
    """Return the uncertainty of each part, percent, from wherever it was declared."""
    declared: dict[str, float] = {}
    for keys, resistor in resistors(document):
        if resistor.u95_percent is not None:
            declared.setdefault(resistor.part or dotted(keys), resistor.u95_percent)
    return declared


def _refused(table: RefusedLoadTable) -> RefusedLoad:
    loads = tuple(
        Load(
            one.from_,
            one.to,
            one.ohm,
            _or(one.u95_percent, DEFAULT_U95_PERCENT) / 100,
            one.part or "",
        )
        for one in table.load
    )
    return RefusedLoad(table.side, table.volume, loads, table.seen)


def _take_names(takes: tuple[TakeTable, ...]) -> list[str]:
    """Return a unique name for each take: as declared, else its file, else file and side."""
    used = {take.name for take in takes if take.name is not None}
    names = []
    for position, take in enumerate(takes):
        choices = (take.file, f"{take.file} ({take.side})", f"{take.file} (take[{position}])")
        name = take.name or next(c for c in choices if c not in used)
        used.add(name)
        names.append(name)
    return names


def _recorder_input(table: InputTable, common: float) -> RecorderInput:
    """Percent and picofarads become fractions and farads."""
    u95 = _or(table.u95_percent, DEFAULT_U95_PERCENT) / 100
    return RecorderInput(
        volts_full_scale=table.volts_full_scale,
        u95_relative=u95,
        impedance_ohm=table.impedance_ohm,
        impedance_u95_relative=_or(table.impedance_u95_percent, DEFAULT_IMPEDANCE_U95_PERCENT)
        / 100,
        capacitance_farad=_or(table.capacitance_pf, DEFAULT_CAPACITANCE_PF) * 1e-12,
        capacitance_u95_farad=_or(table.capacitance_u95_pf, DEFAULT_CAPACITANCE_U95_PF) * 1e-12,
        common_u95_relative=min(common, u95),
    )


def _scaled(
    inputs: tuple[RecorderInput, ...], volts_full_scale: tuple[float, ...] | None
) -> tuple[RecorderInput, ...]:
    """Apply a take's own scale."""
    if volts_full_scale is None:
        return inputs
    pairs = zip(inputs, volts_full_scale, strict=True)
    return tuple(replace(i, volts_full_scale=volts) for i, volts in pairs)


def _radians(degrees: tuple[float, ...] | None) -> tuple[float, ...] | None:
    return None if degrees is None else tuple(math.radians(d) for d in degrees)


def _sweep(table: TakeTable) -> Sweep | None:
    if table.from_hz is None or table.to_hz is None or table.sweep_s is None:
        return None
    return Sweep(table.from_hz, table.to_hz, table.sweep_s)


def _level_steps(table: TakeTable) -> LevelSteps | None:
    if table.levels_volts is None or table.step_s is None:
        return None
    return LevelSteps(table.levels_volts, table.step_s)
