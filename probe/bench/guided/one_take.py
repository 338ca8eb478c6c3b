"""One take: plugged, made, judged, and kept, made again or passed over."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from probe.bench.guided.doubts import Doubts
from probe.bench.guided.equipment import Equipment
from probe.bench.guided.playing import path_lines
from probe.bench.guided.raised import NoiseGain
from probe.bench.guided.rising import NOTHING_ALIKE, alike, make_rising, rise_of
from probe.bench.guided.screen import Screen
from probe.bench.guided.setting_up import confirmed, title
from probe.bench.guided.taking import Made, Taker, peak_of
from probe.bench.guided.wanted_level import below_maximum, output_of, tone_drive, words_at
from probe.bench.judged.judge import judge, judge_loop_back
from probe.bench.judged.judgement import Judgement
from probe.bench.judged.legs import loudest_tone, open_take, tones_volts
from probe.bench.planned import cautions
from probe.bench.planned.able import Known, Setting, step_for
from probe.bench.planned.steps import MAXIMA, OF_BENCH, Played, Plugged, Step, take_table
from probe.bench.shown.drawing import sentences, terminal
from probe.bench.shown.what_now import AFTER_STOP, DEVICE_CLIPS, GONE, NOT_STORED, TRY, choices
from probe.bench.stored.storage import SessionFolder
from probe.bench.stream.stop import Reason, Stopped
from probe.bench.tones.sets import TONE
from probe.errors import NotStored
from probe.numbers import write_number
from probe.phasors import TakePhasors
from probe.session.model import Kept


@dataclass
class Pass:
    """One side at one volume, as far as it is."""

    setting: Setting
    made: list[str] = field(default_factory=list)
    given_up: set[str] = field(default_factory=set)
    volts: dict[str, float] = field(default_factory=dict)
    anew: bool = False
    doubts: Doubts = field(default_factory=Doubts)


@dataclass
class OneTake:
    """Makes takes, one at a time.

    Attributes
    ----------
    screen
        Says and shows; asks.
    taker, gain
        Record; turn the gain for noise.
    most_volts
        Where a rising tone must end, V rms between the legs.
    """

    screen: Screen
    equipment: Equipment
    store: SessionFolder
    taker: Taker
    gain: NoiseGain
    most_volts: float | None = None
    _scales: tuple[float, ...] | None = None
    _stands: Plugged | None = None
    _volume: str = ""

    def take(self, one: Pass, step: Step) -> None:
        """Make one take, again and again, until it is kept or passed over.

        While the gain is turned up for the take of noise, that of the interface's own noise is
        made as well; then the gain is taken back.
        """
        self._until_settled(one, step)
        if self.store.gain_raised is not None:
            away = "idle" in one.made and self._raised_floor(one)
            self._gain_back(one, away=away)

    def _raised_floor(self, one: Pass) -> bool:
        """Make that take; return whether the lead may be off the device now."""
        floor = step_for("floor", one.setting, Known(), "how much of it is the interface's own")
        if not isinstance(floor, Step):
            return False
        name = " ".join([*floor.name.split()[:-1], "raised floor"])
        self.screen.talk.say("Leave the gain where it is now, turned up, for one more take.")
        self._until_settled(one, replace(floor, name=name))
        one.given_up.add("floor")
        return True

    def _gain_back(self, one: Pass, *, away: bool) -> None:
        idle = step_for("idle", one.setting, Known())
        if away and isinstance(idle, Step):
            question = "The lead back on the device's output, as in the take before. Is it?"
            confirmed(self.screen.talk, "floor-back", question)
            self.equipment.plug(idle.plugged, "")
        self.gain.down(self._opened(one))
        self._scales = None

    def _opened(self, one: Pass) -> TakePhasors | None:
        return open_take(self.screen.interim.phasors(one.setting.side, one.setting.volume))

    def _until_settled(self, one: Pass, step: Step) -> None:
        attempts = 0
        while True:
            attempts += 1
            if not self._plug(one, step):
                return
            made = self._make_idle(one, step) if step.take == "idle" else self._make(step)
            found = self._judged(one, made)
            if self._settled(one, made, found, attempts):
                return

    def _plug(self, one: Pass, step: Step) -> bool:
        """Say and draw what to plug, and wait; return False where the take is passed over."""
        talk = self.screen.talk
        talk.heading(f"Take: {title(step.take)}")
        if step.reason:
            talk.say(f"Why now: {step.reason}.")
        before = cautions.before(step)
        stands = self._stands == step.plugged
        self._stands = None
        status = "nothing to plug, it stands" if stands else "plug this, then"
        self.screen.show_step(step, f"{status}; go on in the terminal", before)
        for caution in before:
            self.screen.caution(caution)
        self._set_volume(step.plugged)
        if stands:
            talk.say("Nothing to plug: leave everything as it is.")
        elif talk.plain:
            for sentence in sentences(step):
                talk.say(sentence)
        else:
            talk.draw(terminal(step))
        choices = {"r": "ready: it is plugged, record", "s": "skip this take"}
        question = "Plugged as before. Ready?" if stands else "Plug this. Ready?"
        answer = talk.choose("ready", question, choices, "r")
        if answer == "s":
            one.given_up.add(step.take)
            return False
        self.equipment.plug(step.plugged, step.take)
        return True

    def _set_volume(self, plugged: Plugged) -> None:
        """Have the volume position set that a take is of; a player's when its tones sound."""
        named = plugged.volume
        if plugged.fixture or plugged.loop_back or not named or named == self._volume:
            return
        self._volume = named
        if self.taker.player is None:
            question = f"Set the device's volume to {named}. Is it there?"
            confirmed(self.screen.talk, "volume-set", question)

    def _make_idle(self, one: Pass, step: Step) -> Made:
        """Make the take of noise, with more gain where somebody wants that."""
        if self.store.gain_raised is None:
            self._scales = self.gain.up(self._opened(one))
        return self._make(step)

    def _make(self, step: Step) -> Made:
        key = (step.plugged.side, step.plugged.volume)
        self.screen.show_step(step, "recording: touch nothing", ())
        try:
            if key not in self.taker.volts and self._level_counts(step):
                self._find_level(step)
            if self.taker.player is not None and not step.plugged.fixture:
                self.taker.player.for_step(step, self.taker.recorder)
            self._at_wanted_level(step)
            loudest = loudest_tone(self.screen.interim.phasors(*key))
            if step.take in MAXIMA:
                made = self._make_rising(step)
            else:
                made = self.taker.make(step, self._scales, loudest)
        except Stopped as stopped:
            if stopped.stop.reason is not Reason.GONE:
                raise
            return self._gone(step, stopped.stop.message)
        except NotStored as error:
            self.taker.recorder.silence()
            return Made(step, None, judged=(_not_stored(str(error)),))
        stop = None if made.recorded is None else made.recorded.stop
        if stop is not None and stop.reason is Reason.GONE:
            return self._gone(step, stop.message)
        return made

    def _make_rising(self, step: Step) -> Made:
        """Drive the output until it clips, as far as output and inputs reach."""
        side, volume = step.plugged.side, step.plugged.volume
        before = alike(step, self.screen.interim.phasors(side, volume))
        if before is None:
            return Made(step, None, judged=(NOTHING_ALIKE,))
        body, bench = self.screen.interim.body(side), self.equipment.bench
        rise = rise_of(before, bench, body, self.taker.tone_volts(step), self.most_volts)
        made, told = make_rising(self.taker, step, rise, before)
        for line in told:
            self.screen.talk.say(line)
        return made

    def _at_wanted_level(self, step: Step) -> None:
        """Have a take of one tone made at the level that is wanted, or say why it is not."""
        output = output_of(step)
        wanted = self.equipment.tone_volts.get(output)
        if wanted is None or step.signal != "tone" or not step.plays:
            return
        level = write_number(wanted, "V")
        drive, why = None, "the device plays files, whose level is its own"
        body = self.screen.interim.body(step.plugged.side)
        if self.taker.player is None:
            drive, why = tone_drive(step, body, wanted, self.equipment.bench)
        if drive is None:
            self.screen.talk.warn(
                f"Not at {level}", f"{_sentence(why)} The tone is taken at the usual level."
            )
            return
        self.taker.tone_drive[step.name] = drive
        if why:
            self.screen.talk.warn(f"Not at {level}", _sentence(why))
            wanted = below_maximum(body, output, wanted)[0]
        entry = body.get("facts", {}).get(f"{output}_level")
        lowered = self.taker.lowered.get((step.name,), 1.0)
        self.screen.talk.say(words_at(entry, output, wanted, lowered))

    def _level_counts(self, step: Step) -> bool:
        """Whether the level must be right for a take: of a player its volume, played or not."""
        plugged = step.plugged
        if self.taker.player is None or plugged.fixture or plugged.state != "play":
            return step.plays
        return True

    def _find_level(self, step: Step) -> None:
        player = self.taker.player
        if player is None:
            self.taker.find_level(step)
            return
        side, volume = step.plugged.side, step.plugged.volume
        opened = open_take(self.screen.interim.phasors(side, volume))
        if opened is not None:
            scales = [i.volts_full_scale for i in self.equipment.bench.inputs]
            player.settle_back(step, self.taker.recorder, tones_volts(opened), scales)
            self.taker.volts[side, volume] = 0.0
            return
        player.settle_level(step, self.taker.recorder)
        found = player.settle_path(step, self.taker.recorder)
        for line in path_lines(found, side, volume):
            self.store.remark(line)
        wrong = [f"{one.code}: {one.seen}" for one in found if one.word == "seen"]
        self.store.keep_although("player-path", wrong, side, volume)
        self.taker.volts[side, volume] = 0.0

    def _gone(self, step: Step, message: str) -> Made:
        """Wait until the interface is back, and open it again: another timebase from here on."""
        self.store.abandon()
        self.screen.talk.warn("The interface is gone", message)
        while True:
            confirmed(self.screen.talk, "back", "Plug it in again. Is it back?")
            try:
                self.taker.recorder.reopen()
                return Made(step, None)
            except (Stopped, OSError) as error:
                self.screen.talk.say(str(error))

    def _judged(self, one: Pass, made: Made) -> tuple[Judgement, ...]:
        if made.refused is not None:
            return ()
        if made.judged:
            return made.judged
        if made.recorded is None:
            return (GONE,)
        stop = made.recorded.stop
        if stop is not None and stop.reason is Reason.DISK:
            return (_not_stored(stop.message),)
        if stop is not None:
            return (Judgement("stopped", stop.message, AFTER_STOP.get(stop.reason, TRY)),)
        if made.step.signal == "loop-back":
            top = (made.played.drive_volts or 0.0) * peak_of(TONE)
            wanted = [top / i.volts_full_scale for i in self.equipment.bench.inputs[:2]]
            return judge_loop_back(made.recorded.peaks, wanted, lost=bool(made.recorded.lost))
        if made.heard is None:
            return ()
        side, volume = one.setting.side, one.setting.volume
        others = [s for s in self.screen.sides if s != side]
        found = judge(
            made.heard,
            self.screen.interim.phasors(side, volume),
            self.screen.interim.phasors(others[0], volume) if others else (),
        )
        if any(j.code == "samples-lost" for j in found) and not made.recorded.lost:
            self.taker.recorder.reopen()  # the stream's frames are no longer those of the card
        return found

    def _settled(self, one: Pass, made: Made, found: tuple[Judgement, ...], attempts: int) -> bool:
        """Keep, repeat or pass over; return whether the take is settled."""
        talk, step = self.screen.talk, made.step
        if made.refused is not None:
            talk.warn("The load is refused", _sentence(made.refused) + " Take the resistor off.")
            one.given_up.add(step.take)
            self.store.refuse(take_table(step, Played(), ""), made.refused)
            self.screen.told.append((step.name, f"load refused: {made.refused}"))
            return True
        for one_judgement in found:
            talk.warn(f"Look [{one_judgement.code}]", f"{one_judgement.seen}.")
            talk.say(f"Do: {one_judgement.do}.")
            self.screen.show_step(step, f"{one_judgement.seen}: {one_judgement.do}", ())
        recorded = made.recorded
        usable = recorded is not None and recorded.complete
        if found:
            lower = self.taker.player is None and step.plays and step.take not in MAXIMA
            offered = choices(found, usable, attempts, one.anew, lower=lower)
            answer = talk.choose("judged", "What now?", *offered)
            if answer in ("k", "s"):
                self._note_clipping(one, step, found)
            if answer != "k":
                self.store.abandon(recorded)
                return self._not_kept(one, step, answer)
        assert recorded is not None
        if not found:
            self._note_clipping(one, step, ())
        self.store.keep(recorded, in_stream=self.taker.player is None or not step.plays)
        one.made.append(step.take)
        self._stands = step.plugged
        self._note_volts(one, made)
        codes = ", ".join(j.code for j in found)
        self.screen.told.append((step.name, f"kept, although: {codes}" if codes else "kept"))
        talk.say(f"Kept: {step.name}.")
        return True

    def _not_kept(self, one: Pass, step: Step, answer: str) -> bool:
        """Make it again (False), pass it over, or begin this side anew."""
        key = (one.setting.side, one.setting.volume)
        if answer == "l":
            self.taker.lower(step)
            return False
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
        self.taker.lowered.clear()
        self.store.keep_although(CLIPS, (), *key)
        one.made.clear()
        one.anew = True
        one.given_up.clear()
        self.screen.told.append(
            (one.setting.side, "begun anew; the earlier takes are kept as .old")
        )
        return True

    def _note_clipping(self, one: Pass, step: Step, found: tuple[Judgement, ...]) -> None:
        """Note with the session that an output clipped in a take, or that it does not any more."""
        at = (one.setting.side, one.setting.volume)
        before = [
            (str(k.get("take", "")), str(k["seen"]))
            for k in self.store.kept_although
            if (k["about"], k.get("side", ""), k.get("volume", "")) == (CLIPS, *at)
        ]
        now = [(take, seen) for take, seen in before if take != step.name]
        now += [(step.name, j.seen) for j in found if j.code in DEVICE_CLIPS]
        if now != before:
            self.store.keep_although(
                CLIPS, [seen for _, seen in now], *at, takes=[take for take, _ in now]
            )

    def _note_volts(self, one: Pass, made: Made) -> None:
        """Note the volts of the open legs, by which a load's watts are judged."""
        if made.heard is None or made.step.take != "open":
            return
        for role, rms, scale in zip(
            made.step.plugged.channels, made.heard.rms, self.equipment.bench.inputs, strict=False
        ):
            one.volts[role] = rms * scale.volts_full_scale


CLIPS: Kept = "output-clips"
"""What the session's note of an output that clips is about."""

LOUD_ENOUGH = 0.97
"""Level of a loop-back take over the tones it stands beside from which it serves them: the bound of
its tenth harmonic grows by a third, no more."""


def of_bench(store: SessionFolder, loudest: float = 0.0) -> set[str]:
    """Return words of the takes of the bench itself that are there, at the gain of the tones.

    ``loudest``: V rms of the tones that a loop-back take must stand beside.
    """
    there = (t for t in store.takes if "volts_full_scale" not in t)
    loud = LOUD_ENOUGH * loudest
    return {
        t["signal"]
        for t in there
        if t["signal"] in OF_BENCH and (t["signal"] != "loop-back" or t["drive_volts"] >= loud)
    }


def _not_stored(seen: str) -> Judgement:
    return Judgement(NOT_STORED, seen, AFTER_STOP[Reason.DISK])


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."
