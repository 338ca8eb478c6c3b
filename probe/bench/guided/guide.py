"""The guided run: from an unplugged device to a session that can be trusted.

The order of one pass: questions, what will be learnt, the meter, cautions, then take after take
as the plan says; each is drawn, made, judged, kept or made again, and the facts so far are shown.
Whatever ends the run, everything kept stands in the folder, and the run goes on from there.
"""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Any

from probe.bench.guided.checking import offer_check
from probe.bench.guided.continued import refuse_another
from probe.bench.guided.equipment import Equipment
from probe.bench.guided.one_take import LOUD_ENOUGH, OneTake, Pass, of_bench
from probe.bench.guided.playing import FilePlayer, files_of, write_files
from probe.bench.guided.raised import NoiseGain
from probe.bench.guided.screen import Screen
from probe.bench.guided.setting_up import (
    Answers,
    ask_answers,
    ask_device,
    ask_kit,
    ask_maximum,
    ask_meters,
    confirmed,
    keep_answers,
    kept_answers,
    tell_learn,
)
from probe.bench.guided.taking import Taker
from probe.bench.guided.wanted_level import output_of, tones_again, words_wanted
from probe.bench.judged.interim import Interim
from probe.bench.judged.legs import loudest_tone, open_take
from probe.bench.planned import cautions, plan
from probe.bench.planned.able import FIRST, Known, Setting, able, step_for
from probe.bench.planned.kit import Kit
from probe.bench.planned.steps import Step
from probe.bench.shown.dialogue import Dialogue, Quit
from probe.bench.shown.drawing import sentences
from probe.bench.stored.storage import SESSION, SessionFolder
from probe.bench.stored.tables import bench_table, device_of, device_table, word_of
from probe.bench.stream.recorder import Recorder
from probe.errors import NotStored
from probe.interrupt import Terminated
from probe.line_output import looks_like_power, output_ohm
from probe.numbers import write_number
from probe.session.model import Side

LOOP_BACK = "loop-back"


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
        self.interim = Interim(folder)
        self.screen = Screen(talk, folder, self.interim, equipment.device)
        self.doubted: list[str] = []
        self.no_floor = False
        self.answers = Answers()
        self.device = equipment.device
        self.kit = equipment.kit or Kit()
        self.store: SessionFolder
        self.takes: OneTake

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
                self.takes = self._takes(recorder)
                self._gain_left_up()
                if offer_check(self.talk, recorder, self.store, self.equipment, self.kit):
                    self._floor_while_there()
                for volume in self.answers.volumes:
                    for side in self.answers.sides:
                        self._side(side, volume)
        except NotStored as error:
            if not (self.folder / SESSION).is_file():
                raise
            self.talk.warn(
                "Not stored", f"{error}. Make room there (or let it be written to), then go on."
            )
            return self._stopped()
        except Quit:
            return self._stopped()
        except (KeyboardInterrupt, Terminated):
            if (self.folder / SESSION).is_file():
                self.talk.say("")  # what was typed, or the bar of a take, stands on the line
                self._stopped()
            raise
        self.talk.heading("Done")
        self._tell_left_over()
        complete = "The session is complete"
        if self.doubted:
            complete += f", but takes do not fit the others: {', '.join(self.doubted)}"
        self.talk.say(f"{complete}. The report: probe analyse {self.folder}")
        self.screen.show("done", complete[0].lower() + complete[1:], over=True)
        return True

    def _stopped(self) -> bool:
        self._tell_left_over()
        self.talk.say(
            f"Stopped. Everything kept is in {self.folder}; go on with: "
            f"probe measure {shlex.quote(str(self.folder))}{self.equipment.options}"
        )
        self.screen.show("stopped", "the run was stopped; it can be continued", over=True)
        return False

    def _tell_left_over(self) -> None:
        for line in self.equipment.left_over():
            self.talk.say(line)

    def _prepare(self) -> None:
        resuming = (self.folder / SESSION).is_file()
        if resuming:
            self.store = SessionFolder.resume(self.folder)
            refuse_another(self.store, self.equipment)
        for caution in cautions.before_meter():
            self.screen.caution(caution)
        if resuming:
            self._resume()
        else:
            self.device = ask_device(self.talk, self.equipment.device)
            self.kit = self.equipment.kit or ask_kit(self.talk)
            self.answers = self._ask_answers()
            self.store = SessionFolder.create(
                self.folder,
                device_table(self.device),
                bench_table(self.equipment.bench),
                head=self.equipment.head,
            )
            keep_answers(self.folder, self.answers)
        self.screen.device, self.screen.sides = self.device, self.answers.sides
        tell_learn(self.talk, self._setting(self.answers.sides[0], self.answers.volumes[0]))
        self._ask_power(None, 0.0)
        for caution in cautions.before_probes(valve=self.answers.valve):
            self.screen.caution(caution)
        ask_meters(self.talk, self.store, self.device, self.answers.sides, valve=self.answers.valve)
        for caution in cautions.before_connecting(
            self._setting(self.answers.sides[0], self.answers.volumes[0])
        ):
            self.screen.caution(caution)
        self.talk.say(f"A larger drawing of each step: open {self.screen.page.path} in a browser.")

    def _resume(self) -> None:
        self.device = device_of(self.store.device)
        self.kit = self.equipment.kit or ask_kit(self.talk)
        self.answers = kept_answers(self.folder) or self._ask_answers()
        if self.equipment.maximum and not self.answers.maximum:
            self.answers = ask_maximum(self.talk, self.answers, asked=True)
        keep_answers(self.folder, self.answers)
        count = len(self.store.takes)
        held = f"{count} takes are" if count != 1 else "1 take is"
        self.talk.say(f"This session goes on: {held} in it.")
        if self.store.cut is not None:
            self.talk.say(
                f"The take {self.store.cut.take['name']} was cut when the program ended; it is "
                "set aside (its file stays) and made again."
            )
            self.store.drop_cut()
        self.screen.told += [(str(t["name"]), "kept earlier") for t in self.store.takes]

    def _ask_answers(self) -> Answers:
        answers = ask_answers(self.talk, self.equipment.sides, self.equipment.all_sides)
        if answers.file_rate and not self.equipment.maximum:
            return answers  # what plays files itself is not driven until it clips
        return ask_maximum(self.talk, answers, asked=self.equipment.maximum)

    def _takes(self, recorder: Recorder) -> OneTake:
        equipment = self.equipment
        taker = Taker(
            *(recorder, equipment.bench, self.store, equipment.seconds, {}, self.talk.progress),
            player=self._player(),
        )
        gain = NoiseGain(self.talk, recorder, self.store, equipment.bench, equipment.turn)
        most = self.answers.most_volts
        return OneTake(self.screen, equipment, self.store, taker, gain, most)

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
            maximum=self.answers.maximum,
            levels=frozenset()
            if self.answers.file_rate
            else words_wanted(self.equipment.tone_volts),
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
        self.takes.gain.down(open_take(self.interim.phasors(side, volume)))

    def _floor_while_there(self) -> None:
        """Make the take of the interface's own noise while the reference stands there anyway."""
        one = Pass(self._setting(self.answers.sides[0], self.answers.volumes[0]))
        step = step_for("floor", one.setting, Known(), "the reference is there anyway")
        if isinstance(step, Step) and "floor" not in of_bench(self.store):
            self.takes.take(one, step)
        self.no_floor = "floor" in one.given_up
        self.talk.say("Take the reference out again.")

    # -- one side

    def _side(self, side: Side, volume: str) -> None:
        one = Pass(self._setting(side, volume))
        self._earlier(one)
        self._tones_at_wanted_level(one)
        name = " ".join(p for p in (side, volume and f"at {volume}") if p)
        self.talk.heading(f"{name}: takes")
        while True:
            self._analyse(volume)
            body = self.interim.body(side)
            known = plan.known_of(body, one.volts)
            loudest = loudest_tone(self.interim.phasors(side, volume))
            self._loop_back_again(one, loudest)
            there = of_bench(self.store, loudest) | ({"floor"} if self.no_floor else set())
            so_far = plan.SoFar(tuple(one.made), frozenset(one.given_up | there), body)
            if one.made:
                self.screen.tell_facts(body)
                self._ask_power(body, one.volts.get("hot", 0.0) + one.volts.get("cold", 0.0))
            again = self._made_again(one, known)
            step = again or plan.next_step(
                one.setting,
                known,
                so_far,
                lambda takes: self.interim.ranked(side, volume, takes),
                everything=self.answers.everything,
            )
            if isinstance(step, plan.Done):
                doubted = one.doubts.standing(self.interim.doubts(side, volume))
                self.screen.tell_done(name, step, doubted)
                self.doubted += [d.take for d in doubted]
                return
            self.takes.take(one, step)

    def _tones_at_wanted_level(self, one: Pass) -> None:
        """Have takes of one tone that an earlier run made at another level made again."""
        wanted, setting = self.equipment.tone_volts, one.setting
        if not wanted or not one.made or setting.plays_files:
            return
        self._analyse(setting.volume)
        at = (setting.side, setting.volume)
        takes = [t for t in self.store.takes if (t["side"], t.get("volume", "")) == at]
        steps = {step.name: step for step in able(setting, Known()).values()}
        again, stays = tones_again(
            takes, steps, self.interim.body(setting.side), wanted, self.equipment.bench
        )
        for why in stays:
            self.talk.say(f"{why}.")
        for take in again:
            word = word_of(take)
            assert word is not None
            self.store.forget(take["file"])
            one.made.remove(word)
            level = wanted[output_of(steps[take["name"]])]
            at_level = f"made again for {write_number(level, 'V')}"
            self.talk.say(f"{take['name']} is {at_level}; the earlier one is kept as .old.")
            self.screen.told.append((take["name"], at_level))

    def _loop_back_again(self, one: Pass, loudest: float) -> None:
        """Have what the interface adds itself taken again where tones became louder than that take.

        Only where it can be louder than it is: its level ends at what an input may hear of it.
        """
        loops = [t for t in self.store.takes if t["signal"] == "loop-back"]
        if LOOP_BACK not in one.made or LOOP_BACK in of_bench(self.store, loudest):
            return
        wanted = self.takes.taker.loop_volts(loudest)
        if max((t["drive_volts"] for t in loops), default=0.0) >= LOUD_ENOUGH * wanted:
            return
        for take in loops:
            if word_of(take) == LOOP_BACK and take["side"] == one.setting.side:
                self.store.forget(take["file"])
        one.made.remove(LOOP_BACK)

    def _analyse(self, volume: str) -> None:
        if self.store.takes:
            self.interim.update(volume)
        else:
            self.interim.clear()

    def _made_again(self, one: Pass, known: Known) -> Step | None:
        """Return a take that the analysis doubts and that is to be made again, or None."""
        doubts = self.interim.doubts(one.setting.side, one.setting.volume)
        word = one.doubts.settle(
            doubts, self.screen, self.store, self.takes.taker.recorder.timebase
        )
        if word is None:
            return None
        one.made.remove(word)
        self._analyse(one.setting.volume)
        step = step_for(word, one.setting, known, "the one before does not fit the other takes")
        return step if isinstance(step, Step) else None

    def _earlier(self, one: Pass) -> None:
        """Take up what an earlier run kept of this side and volume."""
        side, volume = one.setting.side, one.setting.volume
        driven: dict[str, float] = {}
        for take in self.store.takes:
            if (take["side"], take.get("volume", "")) == (side, volume):
                word = word_of(take)
                if word is not None:
                    one.made.append(word)
                if word == "idle" and "volts_full_scale" in take:
                    one.given_up.add("floor")  # at that gain there is one, or none any more
                if take.get("drive_volts") and take["signal"] == "multitone":
                    alone = "single-ended" in take["channels"]
                    driven["single-ended" if alone else word or "other"] = take["drive_volts"]
        self.takes.taker.take_up(side, volume, driven)

    def _ask_power(self, body: dict[str, Any] | None, heard: float) -> None:
        """Ask again about an output that looks like one for headphones or loudspeakers."""
        if self.answers.power_accepted:
            return
        ohm = output_ohm((body or {}).get("facts", {}))
        question = looks_like_power(ohm, self.device.full_output_volts, heard)
        if question is None:
            return
        self.talk.warn("Is this really a line output?", f"{question[0].upper()}{question[1:]}.")
        confirmed(self.talk, "power", "A line output it is, by its maker's words?")
        self.answers = Answers(**{**self.answers.__dict__, "power_accepted": True})
        keep_answers(self.folder, self.answers)
