"""The guided run: from an unplugged device to a session that can be trusted.

The order of one pass: questions, what will be learnt, the meter, cautions, then take after take
as the plan says; each is drawn, made, judged, kept or made again, and the facts so far are shown.
Whatever ends the run, everything kept stands in the folder, and the run goes on from there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from probe.bench.guided.playing import FilePlayer, Hands, files_of, write_files
from probe.bench.guided.raised import NoiseGain
from probe.bench.guided.setting_up import (
    Answers,
    ask_answers,
    ask_device,
    ask_kit,
    ask_meters,
    confirmed,
    keep_answers,
    kept_answers,
    tell_learn,
    title,
)
from probe.bench.guided.taking import Made, Taker
from probe.bench.judged.interim import Interim
from probe.bench.judged.judge import judge
from probe.bench.judged.judgement import Judgement
from probe.bench.judged.legs import open_take
from probe.bench.planned import cautions, meters, plan
from probe.bench.planned.able import FIRST, Known, Setting, step_for
from probe.bench.planned.kit import Kit
from probe.bench.planned.steps import Plugged, Step
from probe.bench.shown.dialogue import Dialogue, Quit
from probe.bench.shown.drawing import sentences, terminal
from probe.bench.shown.follow import FollowPage, Shown
from probe.bench.shown.told import facts_rows, open_rows
from probe.bench.shown.what_now import AFTER_STOP, GONE, TRY, choices
from probe.bench.stored.storage import SESSION, SessionFolder
from probe.bench.stored.tables import bench_table, device_of, device_table, word_of
from probe.bench.stream.card import Card
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.stop import Reason, Stopped
from probe.session.model import Bench, Device, Side


@dataclass
class Equipment:
    """What the run works with.

    Attributes
    ----------
    card
        The sound card.
    bench
        Its figures.
    recorder
        Makes a `Recorder` for this card; the number is that of the first timebase.
    kit
        None: it is asked for.
    device
        What answers begin with.
    sides
        The sides the device is known to have.
    plug
        Told what is to be plugged for which take (the virtual bench's hands).
    turn
        Told how far the input gain is turned up, dB (the same hands).
    hands
        Told which file the device is to play, and by how much to turn its volume.
    head
        Comment for the top of session.toml.
    """

    card: Card
    bench: Bench
    recorder: Callable[[int], Recorder]
    kit: Kit | None
    device: Device
    sides: tuple[Side, ...] = ("left",)
    plug: Callable[[Plugged, str], None] = lambda _plugged, _take: None
    turn: Callable[[float], None] = lambda _db: None
    hands: Hands = lambda _word, _file, _db: None
    head: tuple[str, ...] = ()
    seconds: float = 3.0
    inputs: int = 2


@dataclass
class _Pass:
    """One side at one volume, as far as it is."""

    setting: Setting
    made: list[str] = field(default_factory=list)
    given_up: set[str] = field(default_factory=set)
    volts: dict[str, float] = field(default_factory=dict)
    anew: bool = False


class Guide:
    """One guided run.

    Parameters
    ----------
    talk
        Who is talked to.
    folder
        The session's folder; a session in it is continued.
    equipment
        Card, bench, kit.
    """

    def __init__(self, talk: Dialogue, folder: Path, equipment: Equipment) -> None:
        self.talk = talk
        self.folder = folder
        self.equipment = equipment
        self.page = FollowPage(folder)
        self.interim = Interim(folder)
        self.told: list[tuple[str, str]] = []
        self.confirmed_codes: set[str] = set()
        self.answers = Answers()
        self.device = equipment.device
        self.kit = equipment.kit or Kit()
        self.store: SessionFolder
        self.taker: Taker
        self.gain: NoiseGain

    # -- the run

    def run(self) -> bool:
        """Guide through the session; return whether everything asked for was done.

        Raises
        ------
        BadInput
            Something that stands in the way: a reading, an output, a folder, a card.
        """
        try:
            self._prepare()
            with self.equipment.recorder(self.store.next_run) as recorder:
                self.taker = self._taker(recorder)
                self.gain = NoiseGain(
                    self.talk,
                    *(recorder, self.store, self.equipment.bench, self.equipment.turn),
                )
                self._gain_left_up()
                for volume in self.answers.volumes:
                    for side in self.answers.sides:
                        self._side(side, volume)
        except Quit:
            self.talk.say(
                f"Stopped. Everything kept is in {self.folder}; go on with: "
                f"probe measure {self.folder}"
            )
            self._show("stopped", "the run was stopped; it can be continued", over=True)
            return False
        self.talk.heading("Done")
        self.talk.say(f"The session is complete. The report: probe analyse {self.folder}")
        self._show("done", "the session is complete", over=True)
        return True

    def _prepare(self) -> None:
        resuming = (self.folder / SESSION).is_file()
        for code in cautions.BEFORE_METER:
            self._caution(cautions.CAUTIONS[code])
        if resuming:
            self._resume()
        else:
            self.device = ask_device(self.talk, self.equipment.device)
            self.kit = self.equipment.kit or ask_kit(self.talk)
            self.answers = ask_answers(self.talk, self.equipment.sides)
            self.store = SessionFolder.create(
                self.folder,
                device_table(self.device),
                bench_table(self.equipment.bench),
                head=self.equipment.head,
            )
            keep_answers(self.folder, self.answers)
        tell_learn(self.talk, self._setting(self.answers.sides[0], self.answers.volumes[0]))
        self._ask_power(None, 0.0)
        ask_meters(self.talk, self.store, self.device, self.answers.sides)
        for caution in cautions.before_connecting(
            self._setting(self.answers.sides[0], self.answers.volumes[0])
        ):
            self._caution(caution)
        self.talk.say(f"A larger drawing of each step: open {self.page.path} in a browser.")

    def _resume(self) -> None:
        self.store = SessionFolder.resume(self.folder)
        self.device = device_of(self.store.device)
        self.kit = self.equipment.kit or ask_kit(self.talk)
        self.answers = kept_answers(self.folder) or ask_answers(self.talk, self.equipment.sides)
        keep_answers(self.folder, self.answers)
        self.talk.say(f"This session goes on: {len(self.store.takes)} takes are in it.")
        if self.store.cut is not None:
            self.talk.say(
                f"The take {self.store.cut.take['name']} was cut when the program ended; it is "
                "set aside (its file stays) and made again."
            )
            self.store.drop_cut()
        self.told += [(str(t["name"]), "kept earlier") for t in self.store.takes]

    def _taker(self, recorder: Recorder) -> Taker:
        return Taker(
            recorder,
            self.equipment.bench,
            self.store,
            self.equipment.seconds,
            {},
            self.talk.progress,
            player=self._player(),
        )

    def _player(self) -> FilePlayer | None:
        """Return the device as its own player, its files written, or None."""
        if not self.answers.file_rate:
            return None
        files = files_of(self.answers.file_rate)
        write_files(files, self.folder)
        self.talk.say(
            f"The files to play are in {self.folder / 'play'}: bring them to the device as they "
            "are, not converted. Switch off there: volume levelling, equaliser, loudness."
        )
        return FilePlayer(self.talk, files, self.equipment.hands)

    def _setting(self, side: Side, volume: str) -> Setting:
        outputs = self.equipment.bench.outputs
        return Setting(
            device=self.device,
            kit=self.kit,
            side=side,
            volume=volume,
            inputs=self.equipment.inputs,
            output_ohm=outputs[min(1, len(outputs) - 1)].impedance_ohm if outputs else 0.0,
            valve=self.answers.valve,
            plays_files=bool(self.answers.file_rate),
        )

    def _gain_left_up(self) -> None:
        """Where an earlier run ended with the gain turned up: insist before anything is played."""
        if self.store.gain_raised is None or not self.store.takes:
            return
        last = self.store.takes[-1]
        side, volume = last["side"], last.get("volume", "")
        setting = self._setting(side, volume)
        step = step_for(FIRST, setting, Known())
        assert isinstance(step, Step)
        self.talk.heading("The input gain was turned up when this session was stopped")
        for sentence in sentences(step):
            self.talk.say(sentence)
        self.interim.update(volume)
        self.equipment.plug(step.plugged, "idle")
        self.gain.down(open_take(self.interim.phasors(side, volume)))

    # -- one side

    def _side(self, side: Side, volume: str) -> None:
        one = _Pass(self._setting(side, volume))
        self._earlier(one)
        name = " ".join(p for p in (side, volume and f"at {volume}") if p)
        self.talk.heading(f"{name}: takes")
        while True:
            if self.store.takes:
                self.interim.update(volume)
            else:
                self.interim.clear()
            body = self.interim.body(side)
            known = plan.known_of(body, one.volts)
            so_far = plan.SoFar(tuple(one.made), frozenset(one.given_up), body)
            if one.made:
                self._tell_facts(body)
                self._ask_power(body, one.volts.get("hot", 0.0) + one.volts.get("cold", 0.0))
            step = plan.next_step(
                one.setting,
                known,
                so_far,
                lambda takes: self.interim.ranked(side, volume, takes),
                everything=self.answers.everything,
            )
            if isinstance(step, plan.Done):
                self._tell_done(name, step)
                return
            self._take(one, step)

    def _earlier(self, one: _Pass) -> None:
        """Take up what an earlier run kept of this side and volume."""
        for take in self.store.takes:
            if take["side"] == one.setting.side and take.get("volume", "") == one.setting.volume:
                word = word_of(take)
                if word is not None:
                    one.made.append(word)
                if take.get("drive_volts"):
                    self.taker.volts[one.setting.side, one.setting.volume] = take["drive_volts"]

    # -- one take

    def _take(self, one: _Pass, step: Step) -> None:
        attempts = 0
        while True:
            attempts += 1
            if not self._plug(one, step):
                return
            made = self._make_idle(one, step) if step.take == "idle" else self._make(step)
            found = self._judged(one, made)
            if self._settled(one, made, found, attempts):
                return

    def _plug(self, one: _Pass, step: Step) -> bool:
        """Say and draw what to plug, and wait; return False where the take is passed over."""
        talk = self.talk
        talk.heading(f"Take: {title(step.take)}")
        if step.reason:
            talk.say(f"Why now: {step.reason}.")
        before = cautions.before(step)
        self._show_step(step, "plug this, then go on in the terminal", before)
        for caution in before:
            self._caution(caution)
        if talk.plain:
            for sentence in sentences(step):
                talk.say(sentence)
        else:
            talk.draw(terminal(step))
        choices = {"r": "ready: it is plugged, record", "s": "skip this take"}
        answer = talk.choose("ready", "Plug this. Ready?", choices, "r")
        if answer == "s":
            one.given_up.add(step.take)
            return False
        self.equipment.plug(step.plugged, step.take)
        return True

    def _make_idle(self, one: _Pass, step: Step) -> Made:
        """Make the take of noise, with more gain where somebody wants that, and take it back."""
        opened = open_take(self.interim.phasors(one.setting.side, one.setting.volume))
        made = self._make(step, self.gain.up(opened))
        self.gain.down(opened)
        return made

    def _make(self, step: Step, scales: tuple[float, ...] | None = None) -> Made:
        key = (step.plugged.side, step.plugged.volume)
        self._show_step(step, "recording: touch nothing", ())
        try:
            if step.plays and key not in self.taker.volts:
                self._find_level(step)
            if self.taker.player is not None:
                self.taker.player.for_step(step, self.taker.recorder)
            made = self.taker.make(step, scales)
        except Stopped as stopped:
            if stopped.stop.reason is not Reason.GONE:
                raise
            return self._gone(step, stopped.stop.message)
        stop = None if made.recorded is None else made.recorded.stop
        if stop is not None and stop.reason is Reason.GONE:
            return self._gone(step, stop.message)
        return made

    def _find_level(self, step: Step) -> None:
        player = self.taker.player
        if player is None:
            self.taker.find_level(step)
            return
        player.settle_level(step, self.taker.recorder)
        for line in player.settle_path(step, self.taker.recorder):
            self.store.remark(line)
        self.taker.volts[step.plugged.side, step.plugged.volume] = 0.0

    def _gone(self, step: Step, message: str) -> Made:
        """Wait until the interface is back, and open it again: another timebase from here on."""
        self.store.abandon()
        self.talk.warn("The interface is gone", message)
        while True:
            confirmed(self.talk, "back", "Plug it in again. Is it back?")
            try:
                self.taker.recorder.reopen()
                return Made(step, None)
            except (Stopped, OSError) as error:
                self.talk.say(str(error))

    def _judged(self, one: _Pass, made: Made) -> tuple[Judgement, ...]:
        if made.refused is not None:
            return ()
        if made.recorded is None:
            return (GONE,)
        stop = made.recorded.stop
        if stop is not None:
            return (Judgement("stopped", stop.message, AFTER_STOP.get(stop.reason, TRY)),)
        if made.heard is None:
            return ()
        side, volume = one.setting.side, one.setting.volume
        others = [s for s in self.answers.sides if s != side]
        found = judge(
            made.heard,
            self.interim.phasors(side, volume),
            self.interim.phasors(others[0], volume) if others else (),
        )
        if any(j.code == "samples-lost" for j in found) and not made.recorded.lost:
            self.taker.recorder.reopen()  # the stream's frames are no longer those of the card
        return found

    def _settled(self, one: _Pass, made: Made, found: tuple[Judgement, ...], attempts: int) -> bool:
        """Keep, repeat or pass over; return whether the take is settled."""
        talk, step = self.talk, made.step
        if made.refused is not None:
            talk.warn("The load is refused", f"{made.refused}. Take the resistor off.")
            one.given_up.add(step.take)
            self.told.append((step.name, f"load refused: {made.refused}"))
            return True
        for one_judgement in found:
            talk.warn(f"Look [{one_judgement.code}]", f"{one_judgement.seen}.")
            talk.say(f"Do: {one_judgement.do}.")
            self._show_step(step, f"{one_judgement.seen}: {one_judgement.do}", ())
        recorded = made.recorded
        usable = recorded is not None and recorded.complete
        if found:
            answer = talk.choose("judged", "What now?", *choices(found, usable, attempts, one.anew))
            if answer != "k":
                self.store.abandon(recorded)
                return self._not_kept(one, step, answer)
        assert recorded is not None
        self.store.keep(recorded, in_stream=self.taker.player is None or not step.plays)
        one.made.append(step.take)
        self._note_volts(one, made)
        codes = ", ".join(j.code for j in found)
        self.told.append((step.name, f"kept, although: {codes}" if codes else "kept"))
        talk.say(f"Kept: {step.name}.")
        return True

    def _not_kept(self, one: _Pass, step: Step, answer: str) -> bool:
        """Make it again (False), pass it over, or begin this side anew."""
        key = (one.setting.side, one.setting.volume)
        if answer == "a":
            if step.take == "open":
                self.taker.volts.pop(key, None)
            return False
        if answer == "s":
            one.given_up.add(step.take)
            return True
        for take in list(self.store.takes):
            if (take["side"], take.get("volume", "")) == key:
                self.store.forget(take["file"])
        self.taker.volts.pop(key, None)
        one.made.clear()
        one.anew = True
        one.given_up.clear()
        self.told.append((one.setting.side, "begun anew; the earlier takes are kept as .old"))
        return True

    def _note_volts(self, one: _Pass, made: Made) -> None:
        """Note the volts of the open legs, by which a load's watts are judged."""
        if made.heard is None or made.step.take != "open":
            return
        for role, rms, scale in zip(
            made.step.plugged.channels, made.heard.rms, self.equipment.bench.inputs, strict=False
        ):
            one.volts[role] = rms * scale.volts_full_scale

    # -- what is said

    def _caution(self, caution: cautions.Caution) -> None:
        if caution.code in self.confirmed_codes:
            return
        self.talk.warn(caution.title, caution.text)
        confirmed(self.talk, f"caution-{caution.code}", "Done, or understood?")
        self.confirmed_codes.add(caution.code)

    def _ask_power(self, body: dict[str, Any] | None, heard: float) -> None:
        """Ask again about an output that looks like one for headphones or loudspeakers."""
        if self.answers.power_accepted:
            return
        ohm = meters.output_ohm((body or {}).get("facts", {}))
        question = meters.looks_like_power(ohm, self.device.full_output_volts, heard)
        if question is None:
            return
        self.talk.warn("Is this really a line output?", f"{question[0].upper()}{question[1:]}.")
        confirmed(self.talk, "power", "A line output it is, by its maker's words?")
        self.answers = Answers(**{**self.answers.__dict__, "power_accepted": True})
        keep_answers(self.folder, self.answers)

    def _tell_facts(self, body: dict[str, Any]) -> None:
        rows = facts_rows(body)
        if rows:
            self.talk.heading("So far")
            self.talk.rows([*rows, *open_rows(body)])

    def _tell_done(self, name: str, done: plan.Done) -> None:
        self.talk.say(f"{name}: {done.why}.")
        for one in done.open_:
            self.talk.say(f"Still open: {one}.")

    def _show_step(self, step: Step, status: str, before: tuple[cautions.Caution, ...]) -> None:
        self._show(title(step.take), status, step=step, before=before)

    def _show(
        self,
        head: str,
        status: str,
        *,
        step: Step | None = None,
        before: tuple[cautions.Caution, ...] = (),
        over: bool = False,
    ) -> None:
        if not self.folder.is_dir():
            return
        body = self.interim.body(step.plugged.side) if step is not None else {}
        if step is None:
            body = next((b for s in self.answers.sides if (b := self.interim.body(s))), {})
        self.page.show(
            Shown(
                device=f"{self.device.maker} {self.device.model}",
                title=head[0].upper() + head[1:],
                status=status,
                step=step,
                cautions=before,
                takes=tuple(self.told),
                facts=(*facts_rows(body), *open_rows(body)),
                over=over,
            )
        )
