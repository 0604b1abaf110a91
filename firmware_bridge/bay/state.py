"""One bay: what is known, what was advised, accepted and done, and what to say next."""

from __future__ import annotations

import functools
import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from firmware_bridge.bay import advisor, safety
from firmware_bridge.bay.advisor import Bay, Season, Words, named
from firmware_bridge.bay.decision import (
    NONE_TEXTS,
    WAITING,
    BayView,
    Decision,
    message_of,
    no_words,
)
from firmware_bridge.bay.diagnosis import Diagnosis, new_alarms
from firmware_bridge.bay.following import Following, plenum_off, power_off
from firmware_bridge.bay.memory import (
    AdvisorMemory,
    memory_from_text,
    released,
    told_from_text,
)
from firmware_bridge.bay.safety import History
from firmware_bridge.bay.standing import Answer
from firmware_bridge.bay.told import Told, fields_of, forgotten, hear, said_as, tell, told_alarms
from firmware_bridge.bay.week import (
    Question,
    Week,
    doubt_of,
    plan_hour,
    question_of,
    tariff_problem,
)
from firmware_bridge.codes import TARGETS
from firmware_bridge.config import BayConfig
from firmware_bridge.errors import BadConfig
from firmware_bridge.sensors.sample import Sample, actual_positions, contradiction
from firmware_bridge.sensors.source import Source
from firmware_bridge.wire.messages import Ack, AdviceMessage, Alarm
from firmware_bridge.wire.plain_advice import Consent
from firmware_bridge.wire.plain_topics import PlainInbox

__all__ = ["BayState", "new_bay"]


@dataclass(slots=True)
class BayState:
    """State of one bay; the loop of the service owns it."""

    config: BayConfig
    description: Bay
    source: Source
    plain: PlainInbox | None = None
    consent: Consent | None = None
    """Of a person at a plain controller, in mode ``confirm``."""
    memory: AdvisorMemory | None = None
    answer: Answer | None = None
    """Of the adviser; None where it may not be given again."""
    told: Told = field(default_factory=Told)
    """What people tell of the bay, by command or channel."""
    standing: tuple[Alarm, ...] = ()
    """The same for people."""
    week: Week | None = None
    """The days ahead; None without a forecast."""
    diagnosis: Diagnosis | None = None
    """What the journal shows; None before it was looked through."""
    history: History = field(default_factory=History)
    decision: Decision = WAITING
    """The last one that was sent (or, in ``observe``, would have been)."""
    decided_at: float = -math.inf
    since: float = -math.inf
    """Since when the same has been said. [s]"""
    awaited_at: float = math.inf
    """Since when the first word of the controller is waited for. [s]"""
    season: Season = field(default_factory=Season)
    ids: list[tuple[int, int]] = field(default_factory=list)
    """Of the last pieces of advice, for acknowledgements."""
    accepted: Ack | None = None
    accepted_at: float = -math.inf
    following: Following = field(default_factory=Following)
    words: Words = no_words
    find: Callable[[], tuple[Alarm, ...]] = tuple
    """Gives what the adviser found wrong when it was asked last."""
    alarms: tuple[Alarm, ...] = ()
    counts: Counter[str] = field(default_factory=Counter)
    unsent: bool = False
    """Whether what was said last could not be sent."""
    stored_at: float = -math.inf
    intruder: tuple[Alarm, ...] = ()
    """Somebody else speaks in the bridge's name."""
    other_until: float = -math.inf
    """Until when another bridge is believed to serve this bay. [s]"""
    foreign_until: float = -math.inf
    """Until when a plain controller may hold numbers that are not ours. [s]"""

    @property
    def name(self) -> str:
        """Name of the bay."""
        return self.config.name

    @property
    def complaints(self) -> tuple[Alarm, ...]:
        """What people told, and what adviser, journal and bridge found wrong."""
        frost = () if self.week is None else self.week.frost
        found = self.find()
        log = new_alarms(self.diagnosis, found)
        mine = (*self.intruder, *self.standing, *found, *frost)
        return (*mine, *log, *self.following.complaints)

    @property
    def zone(self) -> str:
        """IANA name of the store's time zone."""
        return self.description.site.time_zone

    @property
    def plan_doubt(self) -> str:
        """Why advice goes by the present alone; empty where it follows the plan, or never shall."""
        return "" if self.week is None else doubt_of(self.config, self.week, self.told)

    @property
    def protects(self) -> bool:
        """Whether a stage of freeze protection stands."""
        return self.memory is not None and self.memory.hourly.freeze_stage > 0

    @property
    def wants_birth(self) -> bool:
        """Whether the controller should say its birth again."""
        return self.plain is None and (self.source.birth is None or self.source.stranger)

    def doubt(self, now: float) -> str:
        """Why there can be no advice, of ``codes.NONE_REASONS``; empty for no doubt."""
        sample = self.source.newest
        if self.source.birth is None or sample is None:
            self.awaited_at = min(self.awaited_at, now)
            return "lost" if now - self.awaited_at > self.config.lost_after_s else "start"
        age = sample.age(now)
        if not self.source.online or age > self.config.lost_after_s:
            return "lost"
        if age > self.config.max_age_s:
            return "stale"
        if self.source.units_wrong:
            return "units"
        return sample.fault

    def due(self, now: float) -> bool:
        """Whether the rate limit allows the next piece of advice."""
        return now - self.decided_at >= self.config.advice_every_s - 1e-6

    def decide(self, ground: str, now: float, wall: float) -> Decision | None:
        """What to say now; None where nothing new is to be said."""
        sample = self.source.newest
        if sample is None:
            return None  # a token needs a reading
        code = ground or self.doubt(now)
        if not code and not self.due(now):
            return None
        if code:
            again = self.decision.targets is None and not self.due(now)
            return None if again else self.refuse(code)
        return self._ask(sample, now, wall)

    def refuse(self, code: str) -> Decision:
        """``none`` for a reason."""
        return self._none(code, self._text(code))

    def recall(self, now: float, wall: float) -> list[str]:
        """See what stands of what was told, by command and by channel; gives what is new of it."""
        sample, before = self._fresh(now), self.told
        if sample is not None:
            self.told = hear(self.told, sample, wall)
        if self.told == before == Told():
            self.standing = power_off(sample)
            return []
        news = [
            f"the controller tells: {key} {said_as(word.value)}"
            for key, word in self.told.heard.items()
            if before.heard.get(key) != word
        ]
        self.told = forgotten(self.told, wall)
        over = before.said.keys() - self.told.said.keys()
        news += [f"{key} is over by itself; tell it again where it still holds" for key in over]
        self.standing = (*told_alarms(self.told, sample, wall, self.zone), *power_off(sample))
        return news

    def _fresh(self, now: float) -> Sample | None:
        sample = self.source.newest
        current = sample is not None and sample.fresh and sample.age(now) <= self.config.max_age_s
        return sample if current else None

    def tell(self, given: Mapping[str, Any], by: str, now: float, wall: float) -> None:
        """Take what a person tells; raises ``BadMessage`` where it cannot be."""
        self.told = tell(self.told, given, by, wall, self._fresh(now))
        self.recall(now, wall)

    def release(self) -> bool:
        """Release a latched freeze protection; False where none is latched."""
        memory = released(self.memory)
        self.memory = memory or self.memory
        return memory is not None

    def _ask(self, sample: Sample, now: float, wall: float) -> Decision:
        actual = actual_positions(sample)
        self.history = safety.watch(self.history, actual.fan, actual.cool, now)
        hour = plan_hour(self.config, self.week, self.told, wall)
        last = self.answer
        if last is not None and last.stands(sample, self.told, hour, self.memory, now):
            decision = self._checked(last, sample, now)
            if decision.targets is not None:
                return decision
        told = fields_of(self.told, self.description.mass)
        readings = advisor.readings_of(sample, wall, told, self.source.co2_top)
        fan_for = now - self.history.fan.since
        self.answer = None
        steered, word = (None, "") if hour is None else (hour.bay, hour.word)
        try:
            result = advisor.request(
                self.description, readings, self.memory, actual, fan_for, steered, word
            )
        except Exception as error:  # whatever the adviser stumbles over, the controller goes on
            return self._none("adviser", " ".join(f"{error}".split())[:120])
        self.memory, self.words, self.season = result.memory, result.words, result.season
        self.find = functools.partial(named, result.alarms, sample)
        if result.targets is None:
            return self._none("hands_off", " ".join(self.words("metric"))[:120])
        self.answer = Answer(
            at=now,
            sample=sample,
            told=self.told,
            hour=hour,
            memory=result.memory,
            targets=result.targets,
            people_inside=readings.people_inside,
        )
        return self._checked(self.answer, sample, now)

    def _checked(self, answer: Answer, sample: Sample, now: float) -> Decision:
        targets, limits = answer.targets, self.config.limits
        refusal = safety.check(targets, sample, self.history, limits, now, answer.people_inside)
        if refusal is not None:
            return self._none(refusal.code, refusal.text)
        return Decision(code="ok", text="", targets=targets, rests_on=(sample.boot, sample.seq))

    def question(self, now: float, wall: float) -> Question | None:
        """From where the days ahead are worked out; None without a reading that serves."""
        sample = self._fresh(now)
        if sample is None or self.doubt(now):
            return None
        told, memory = fields_of(self.told, self.description.mass), self.memory
        hourly = None if memory is None else memory.hourly
        return question_of(self.config, self.description, sample, wall, told, hourly)

    def _none(self, code: str, text: str) -> Decision:
        sample = self.source.newest
        token = (0, 0) if sample is None else (sample.boot, sample.seq)
        return Decision(code=code, text=text, targets=None, rests_on=token)

    def _text(self, code: str) -> str:
        sample = self.source.newest
        if code == "contradictory" and sample is not None:
            return f"{contradiction(sample)} contradict each other"
        keys = [key for key, fault in self._faults().items() if fault == code]
        more = f" and {len(keys) - 4} more" if len(keys) > 5 else ""
        names = ", ".join(keys[:4] if more else keys)[:60]
        return f"{NONE_TEXTS.get(code, code)}{': ' if keys else ''}{names}{more}"

    def settle(self, decision: Decision, identity: tuple[int, int], now: float) -> None:
        """Take note of what was said."""
        self.history = safety.remember(self.history, decision.targets, now)
        if decision.about != self.decision.about:
            self.since = now
        self.decision, self.decided_at = decision, now
        self.ids = [*self.ids[-7:], identity]
        if self.consent is not None:
            self.consent.take(self.advice(decision, identity), now)
        if self.config.mode != "observe" and self.plain is None:
            self.following.sent()

    def advice(self, decision: Decision, identity: tuple[int, int]) -> AdviceMessage:
        """A decision as a message: positions that the controller takes."""
        birth = self.source.birth
        return message_of(decision, self.config, birth.takes if birth is not None else (), identity)

    def stands(self, now: float) -> bool:
        """Whether a plain controller may apply now what was said last."""
        if self.decision.targets is None or now - self.decided_at > self.config.ttl_s:
            return False
        if self.consent is not None:
            return self.consent.stands(now)
        return self.config.mode == "bounded"

    def take_ack(self, ack: Ack, now: float) -> bool:
        """Take an answer; False where it answers nothing of ours."""
        birth = self.source.birth
        if birth is None or ack.boot != birth.boot or ack.ref not in self.ids:
            self.counts["foreign ack"] += 1
            return False
        self.accepted, self.accepted_at = ack, now
        self.counts[f"ack {ack.code}"] += 1
        self.following.answered(ack.code)
        return True

    def assess(self, doubt: str, now: float) -> list[tuple[str, str]]:
        """Whether advice is answered and carried out: code and text of what is new."""
        if doubt or self.config.mode == "observe":
            self.following.forget()
        # A spot far from the others is an alarm of the adviser's, with what to do first.
        faults = {} if doubt else self._faults()
        faults = {key: fault for key, fault in faults.items() if fault != "odd"}
        actual = actual_positions(self.source.newest)
        off = plenum_off(self._fresh(now), self.decision.targets)
        return self.following.assess(self._agreed(now), actual, faults, off, now)

    def _faults(self) -> dict[str, str]:
        sample = self.source.newest
        if sample is None:
            return {}
        return {
            key: fault
            for key, fault in sample.faults.items()
            if key not in sample.ignore and sample.kinds[key] != "other"
        }

    def _agreed(self, now: float) -> dict[str, float | None]:
        """Positions that the controller should have taken; empty where it is free."""
        targets, ack = self.decision.targets, self.accepted
        stands = now - self.decided_at <= self.config.ttl_s
        if targets is None or not stands or self.config.mode not in ("confirm", "bounded"):
            return {}
        if self.plain is not None:
            to = self.plain.mapping.advice if self.stands(now) else None
            named = [] if to is None else [name for name in TARGETS if getattr(to, name)]
            return {name: getattr(targets, name) for name in named}
        if ack is None or ack.code not in ("accepted", "clamped"):
            return {}
        return {name: getattr(ack, name) for name in TARGETS}

    def view(self, now: float) -> BayView:
        """The bay as people should see it."""
        sample = self.source.newest
        return BayView(
            name=self.name,
            zone=self.zone,
            mode=self.config.mode,
            decision=self.decision,
            words=self.words,
            advised_age=now - self.decided_at,
            accepted=self.accepted,
            accepted_age=now - self.accepted_at,
            actual=actual_positions(sample),
            sample=sample,
            reading_age=math.inf if sample is None else sample.age(now),
            alarms=self.alarms,
            complaints=self.complaints,
            since=now - self.since,
            offer=0 if self.consent is None else self.consent.offer,
            answers=self.plain is None,
            season=self.season,
            week=self.week,
            plans=self.config.plan,
            plan_doubt=self.plan_doubt,
            diagnosis=self.diagnosis,
        )


def new_bay(config: BayConfig, boot: int, memory: str | None = None) -> BayState:
    """A bay of which nothing is known yet but what was stored."""
    description = advisor.load_bay(config.bay_file)
    problem = tariff_problem(config.tariff)
    if problem:
        raise BadConfig(problem)
    bay = BayState(
        config=config,
        description=description,
        source=Source(
            ignore=frozenset(config.ignore),
            max_age=config.max_age_s,
            co2_top=math.inf if config.co2_top_ppm is None else config.co2_top_ppm * 1e-6,
        ),
        memory=None if memory is None else memory_from_text(memory, description.name),
        told=Told() if memory is None else told_from_text(memory),
    )
    if config.mapping is not None:
        bay.plain = PlainInbox(mapping=config.mapping, boot=boot, max_age=config.max_age_s)
        bay.source.take_birth(bay.plain.birth(), 0.0)
        asks = config.mapping.advice is not None and config.mapping.advice.confirm
        bay.consent = Consent() if asks and config.mode == "confirm" else None
    return bay
