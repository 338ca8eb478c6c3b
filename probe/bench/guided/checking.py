"""The check with the 100 ohm reference, before the first take of a session."""

from __future__ import annotations

from probe.bench.calibration.check import CheckParts, CheckResult, check
from probe.bench.calibration.live import LivePlayer
from probe.bench.calibration.solve import KnownResistor
from probe.bench.calibration.steps import Wiring
from probe.bench.guided.equipment import Equipment
from probe.bench.guided.setting_up import confirmed
from probe.bench.planned.kit import InjectorPart, Kit, injector_of
from probe.bench.planned.steps import Plugged
from probe.bench.shown.dialogue import Dialogue
from probe.bench.shown.what_now import MOST_ATTEMPTS
from probe.bench.stored.storage import SessionFolder
from probe.bench.stream.recorder import Recorder
from probe.bench.stream.stop import Stopped
from probe.errors import NotUsable
from probe.session.model import Channel

WORD = "check"
"""What hands are told that it is plugged for."""


def offer_check(
    talk: Dialogue,
    recorder: Recorder,
    store: SessionFolder,
    equipment: Equipment,
    kit: Kit,
) -> bool:
    """Offer the check where kit and calibration allow it; what came of it stays with the session.

    Returns
    -------
    bool
        Whether the reference stands in place of the device now, and the bench is as it was.

    Raises
    ------
    Quit
        Somebody stops.
    """
    figures, injector, reference = equipment.figures, kit.injector, kit.reference
    if figures is None or not figures.loop_gain or injector is None or reference is None:
        return False
    talk.heading("The bench, before anything is connected")
    talk.say(
        f"One take with the {reference.ohm:g} ohm reference in place of the device finds a gain "
        "knob that was moved, a dirty contact, a wrong lead."
    )
    choices = {"y": "yes, check the bench", "s": "skip it: nothing was touched since"}
    usual = "s" if store.takes else "y"
    if talk.choose("check", "Check it now?", choices, usual) == "s":
        store.remark(
            "Gone on later without checking the bench with the reference again."
            if store.takes or _checked(store)
            else "Bench not checked with the reference before this session."
        )
        return False
    parts = CheckParts(
        KnownResistor(injector.ohm, injector.u95_percent / 100.0),
        KnownResistor(reference.ohm, reference.u95_percent / 100.0),
    )
    hands = _Hands(talk, equipment, injector)
    attempt = 0
    while True:
        attempt += 1
        try:
            found = check(LivePlayer(recorder), hands, figures, parts)
        except (NotUsable, Stopped) as error:
            found = CheckResult((), (str(error),))
        for row in found.rows:
            talk.say(f"Input {row.input}: {row.deviation_db:+.2f} dB from its calibration.")
        if found.fine:
            talk.say("The bench is as it was calibrated. Take the injector out again.")
            later = f" again, before going on after {len(store.takes)} takes" if store.takes else ""
            store.remark(f"Bench checked with the reference{later}: {_read(found)}as calibrated.")
            if not store.takes:
                store.keep_although("bench-check", ())
            return True
        for one in found.findings:
            talk.warn("Look [not-as-calibrated]", f"{one[0].upper()}{one[1:]}.")
        talk.say(
            "Do: put that right and check again. Where it cannot be put right, stop (q) and "
            "calibrate: probe calibrate. Kept as it is, levels and impedances are off by as much."
        )
        choices = {"a": "check again, after putting it right", "k": "go on as it is"}
        usual = "k" if attempt >= MOST_ATTEMPTS else "a"
        if talk.choose("check-failed", "What now?", choices, usual) == "k":
            store.remark(f"Bench NOT as calibrated: {'; '.join(found.findings)}.")
            store.keep_although("bench-check", found.findings)
            return False


def _checked(store: SessionFolder) -> bool:
    return any(line.startswith(("# Bench checked", "# Bench NOT")) for line in store.head)


def _read(found: CheckResult) -> str:
    return "".join(f"input {r.input} reads {r.deviation_db:+.2f} dB, " for r in found.rows)


class _Hands:
    """Somebody at the bench, through the guided run's dialogue."""

    def __init__(self, talk: Dialogue, equipment: Equipment, injector: InjectorPart) -> None:
        self._talk = talk
        self._equipment = equipment
        self._injector = injector

    def plug(self, wiring: Wiring, _number: int, _count: int) -> None:
        """Show the wiring with its caution, wait, and plug it."""
        self._talk.warn("Nothing but the reference", wiring.caution)
        if self._talk.plain:
            through = f"{self._injector.ohm:g} ohm injector"
            self._talk.say("The reference plug on the lead, in place of the device.")
            self._talk.say(f"Output 1 of the interface through the {through} into A, input 1.")
        else:
            self._talk.draw("\n".join(wiring.plug))
        confirmed(self._talk, "check-plugged", "Plugged?")
        outputs = self._equipment.bench.outputs
        through_ohm = outputs[0].impedance_ohm if outputs else 0.0
        silent: tuple[Channel, ...] = ("unused",)
        self._equipment.plug(
            Plugged(
                side=self._equipment.sides[0],
                channels=("hot", "cold", *silent * (self._equipment.inputs - 2)),
                injector=injector_of(self._injector, "hot", through_ohm),
                fixture=True,
            ),
            WORD,
        )

    def read_meter(self, _problem: str) -> str | None:
        """Return None: no meter is read in a check."""
        return None

    def again(self, problem: str) -> bool:
        """Say what was wrong with a recording; it is made again."""
        self._talk.say(problem)
        return True

    def say(self, text: str) -> None:
        """Tell something."""
        self._talk.say(text)
