"""The people at work, each on a browser: what they send, what was acknowledged, what is lost of it.

What somebody sends is a generator that gives requests and is given their answers. Where no answer
comes, the same request is sent again to whichever server there is next, so nobody is ever more than
one deed ahead of what was acknowledged.
"""

import html
import json
import random
import re
import secrets
import time
from collections import Counter
from collections.abc import Generator, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import cycle
from threading import Event

from sqlmodel import Session, func, select

from tests.conftest import ZONE, right_answer
from tests.durability.client import BROKEN_OFF, Answer, Client, Request, get, post
from tests.tables import ROSTER, csv_of
from trainer import bank, lessons
from trainer.services import errands, importing, learning, observing, recording, sitting
from trainer.store import record
from trainer.store.engine import Store
from trainer.store.tables import (
    Entry,
    Errand,
    ImportRun,
    LessonAnswer,
    LessonPlace,
    Person,
    Practice,
    Respirator,
    Sitting,
    SittingItem,
)

LESSON = "protection-factors"
PUT_OFF = (503, 507)
"""The page says that nothing was saved; the form is sent again."""

Deeds = Generator[Request, Answer, None]


class Unexpected(Exception):
    """A page answered what it never should."""


@dataclass
class AtWork:
    """Somebody at work."""

    store: Store  # where whoever tests looks up what a person would see on a page
    person: Person
    chance: random.Random
    client: Client = field(default_factory=Client)
    tally: Counter = field(default_factory=Counter)
    told: Counter = field(default_factory=Counter)  # sentences where nothing was saved
    deeds: int = 0  # how many were acknowledged
    rests: int = 0  # how often they came to the end of something
    fault: str = ""

    def __post_init__(self) -> None:
        self._deeds = self.work()
        self.next = next(self._deeds)

    def work(self) -> Deeds:
        """Give the requests of somebody who never comes to an end."""
        raise NotImplementedError

    def lost(self, db: Session) -> Iterator[str]:
        """Give a sentence for everything acknowledged that is not there, or there twice."""
        raise NotImplementedError

    def go_on(self, ports: list[int], over: Event, rests: int | None = None) -> None:
        """Work until it is over, or until they have come to an end so often."""
        while not (over.is_set() or self.fault or (rests is not None and self.rests >= rests)):
            try:
                answer = self.client.send(self.chance.choice(ports), self.next)
            except BROKEN_OFF:
                self.tally["broken off"] += 1
                over.wait(0.005)
                continue
            if answer.status in PUT_OFF:
                self.tally["put off"] += 1
                self.told[_why(answer)] += 1
                over.wait(0.05)
                continue
            try:
                self.next = self._deeds.send(answer)
            except Unexpected as fault:
                self.fault = f"{self.person.name}, {self.next.method} {self.next.path}: {fault}"

    def _took(self, what: str, answer: Answer, leads: str) -> re.Match:
        """Note that a deed was acknowledged; return what matched of where it leads."""
        found = re.fullmatch(leads, answer.leads)
        if answer.status != 303 or not found:
            fault = r'class="(lead|said no|faults?)"[^>]*>.*?</(p|div)>'
            said = re.search(fault, answer.text, re.DOTALL)
            words = re.sub(r"<[^>]+>", " ", said[0].partition(">")[2]).split() if said else ()
            raise Unexpected(f"{answer.status} {answer.leads} {' '.join(words)}")
        self.tally[what] += 1
        self.deeds += 1
        return found


def _why(answer: Answer) -> str:
    """Return the sentences with which a page says that it did not do it, and why."""
    found = re.search(r"(What you sent was|Where the record|The database that)[^<]*", answer.text)
    return html.unescape(found[0].strip()) if found else f"{answer.status}, and no sentence"


def _both(least: int, there: int, what: str) -> Iterator[str]:
    """Give a sentence where there are fewer than acknowledged, or more than one beyond."""
    if not least <= there <= least + 1:
        yield f"{least} {what} were acknowledged, and there are {there}"


class Learner(AtWork):
    """Reads a lesson, takes its sitting, answers, closes it, and begins again."""

    def work(self) -> Deeds:
        self.read: list[tuple[int, str]] = []  # round and section
        self.answers: dict[tuple[int, int], str] = {}  # by sitting and position, as kept
        self.sending: tuple[tuple[int, int], str] | None = None
        self.closed: list[int] = []
        lesson = lessons.load().get(LESSON)
        while True:
            for section in lesson.sections:
                answer = yield post(f"/lessons/{LESSON}/{section.id}/done")
                self._took("sections read", answer, rf"/lessons/{LESSON}.*")
                self.read.append((len(self.closed) + 1, section.id))
            answer = yield post(f"/lessons/{LESSON}/sitting")
            number = int(self._took("sittings begun", answer, r"/sittings/(\d+)/\w+")[1])
            yield from self._answer(number)
            answer = yield post(f"/sittings/{number}/close")
            self._took("sittings closed", answer, f"/sittings/{number}/result")
            self.closed.append(number)
            self.rests += 1

    def _answer(self, number: int) -> Deeds:
        with self.store.reading() as db:
            items = sitting.shown(db, db.get(Sitting, number))
        self.chance.shuffle(items)
        for one in items:
            place = number, one.item.position
            for given in (*self._tries(one), right_answer(one)):
                kept = sitting._kept(one, given)
                self.sending = place, kept
                answer = yield post(f"/sittings/{number}/{one.item.position}", answer=given)
                self._took("answers", answer, rf"/sittings/{number}/\w+")
                self.answers[place], self.sending = kept, None

    def _tries(self, one: sitting.Shown) -> Iterator[list[str]]:
        """Give answers that are changed afterwards."""
        for _ in range(self.chance.randrange(3)):
            if one.question is None:
                yield [f"{self.chance.randrange(1, 10**6)}"]
            elif one.question.in_rows:
                yield [f"0:{self.chance.choice(one.order)}"]
            else:
                yield [str(self.chance.choice(one.order))]

    def lost(self, db: Session) -> Iterator[str]:
        places = db.exec(select(LessonPlace).where(LessonPlace.person_id == self.person.id))
        done = {(one.round, section) for one in places for section in one.sections_done.split()}
        for round_, section in set(self.read) - done:
            yield f"{self.person.name} read section {section} in round {round_}"
        mine = select(Sitting.id).where(Sitting.person_id == self.person.id)
        columns = (SittingItem.sitting_id, SittingItem.position, SittingItem.answer)
        query = select(*columns).where(SittingItem.sitting_id.in_(mine))
        there = {(number, position): answer for number, position, answer in db.exec(query)}
        for place, kept in self.answers.items():
            sending = self.sending[1] if self.sending and self.sending[0] == place else kept
            if there.get(place) not in (kept, sending):
                yield f"{self.person.name} answered {kept} at {place}, not {there.get(place)}"
        passed = set(db.exec(mine.where(Sitting.passed.is_(True))))
        onces = [f"sitting:{number}" for number in passed]
        entered = set(db.exec(select(Entry.once).where(Entry.once.in_(onces))))
        for number in self.closed:
            if number not in passed or f"sitting:{number}" not in entered:
                yield f"{self.person.name} closed sitting {number}"
        yield from _both(len(self.closed), len(passed), f"sittings of {self.person.name}")
        if set(onces) != entered:
            yield f"sittings of {self.person.name} are passed without an entry"


class Solver(AtWork):
    """Works problems, one exercise after another, with a slip now and then."""

    def work(self) -> Deeds:
        self.given: list[tuple[str, int, int, str]] = []  # exercise, problem, step, as typed
        every = list(bank.load().exercises.values())
        self.chance.shuffle(every)
        for exercise in cycle(every):
            finished = False
            while not finished:
                with self.store.reading() as db:
                    drill = learning.drill(db, self.person, exercise, "en")
                finished = yield from self._step(exercise.slug, drill)
                self.rests += drill.done

    def _step(self, slug: str, drill: learning.Drill) -> Generator[Request, Answer, bool]:
        sent = {"ordinal": str(drill.ordinal), "step": str(drill.step)}
        if drill.done:
            answer = yield post(f"/exercises/{slug}", act="next", **sent)
            self._note(answer, slug, drill.ordinal, learning.WENT_ON, "")
            return drill.finished
        blank = drill.problem.steps[drill.step].blank
        tries = [blank.typed]
        if blank.kind == "number" and self.chance.random() < 0.2:
            tries.insert(0, f"{self.chance.randrange(10**9)}")
        for typed in tries:
            answer = yield post(f"/exercises/{slug}", answer=typed, **sent)
            self._note(answer, slug, drill.ordinal, drill.step, typed)
        return False

    def _note(self, answer: Answer, slug: str, ordinal: int, step: int, typed: str) -> None:
        self._took("problems", answer, f"/exercises/{slug}")
        self.given.append((slug, ordinal, step, typed))

    def lost(self, db: Session) -> Iterator[str]:
        columns = (
            LessonAnswer.exercise, LessonAnswer.ordinal, LessonAnswer.step, LessonAnswer.typed
        )  # fmt: skip
        query = select(*columns).where(LessonAnswer.person_id == self.person.id)
        there = Counter(map(tuple, db.exec(query)))
        for one in self.given:
            if there[one] != 1:
                yield f"{self.person.name} answered {one}, which is there {there[one]} times"
        yield from _both(len(self.given), there.total(), f"answers of {self.person.name}")


@dataclass
class Watcher(AtWork):
    """Watches practices and signs them."""

    wearers: list[tuple[Person, Respirator]] = field(default_factory=list)

    def work(self) -> Deeds:
        self.signed: list[int] = []
        for person, worn in cycle(self.wearers):
            answer = yield post(f"/people/{person.number}/practice", respirator=str(worn.id))
            number = int(self._took("practices begun", answer, r"/practice/(\d+)")[1])
            marks = {f"act-{act.slug}": "unprompted" for act in observing.acts_for(worn)}
            answer = yield post(f"/practice/{number}", act="sign", **marks)
            self._took("practices signed", answer, f"/people/{person.number}")
            self.signed.append(number)
            self.rests += 1

    def lost(self, db: Session) -> Iterator[str]:
        query = select(Practice.id).where(
            Practice.trainer_id == self.person.id, Practice.passed.is_(True)
        )
        there = set(db.exec(query))
        onces = {f"practice:{number}" for number in there}
        entered = set(db.exec(select(Entry.once).where(Entry.once.in_(onces))))
        for number in self.signed:
            if number not in there or f"practice:{number}" not in entered:
                yield f"{self.person.name} signed practice {number}"
        yield from _both(len(self.signed), len(there), f"practices of {self.person.name}")
        if entered != onces:
            yield f"practices of {self.person.name} are signed without an entry"


@dataclass
class Clerk(AtWork):
    """Enters that Appendix D was given, and corrects the day of it, once or more often."""

    workers: list[Person] = field(default_factory=list)

    def work(self) -> Deeds:
        self.entered: dict[str, date] = {}  # by deed
        self.corrected: dict[str, date] = {}
        today = self.person.added_at.astimezone(ZONE).date()
        for worker in cycle(self.workers):
            deed, on = secrets.token_hex(16), today
            answer = yield post(f"/people/{worker.number}/appendix-d", deed=deed, on=f"{on}")
            self._took("entries", answer, f"/people/{worker.number}")
            self.entered[deed] = on
            # Never twice to the same day, which is no correction.
            for back in self.chance.sample(range(1, 300), self.chance.randrange(1, 4)):
                with self.store.reading() as db:
                    entry = record.done(db, f"appendix-d:{deed}")
                    newest = recording.as_it_stands(db, entry.number).newest
                yield from self._correct(worker, entry.number, newest, today - timedelta(days=back))
            self.rests += 1

    def _correct(self, worker: Person, entry: int, newest: int, on: date) -> Deeds:
        deed = secrets.token_hex(16)
        answer = yield post(
            f"/people/{worker.number}/entries/{entry}/correct",
            how="right", act="do", seen=str(newest), deed=deed, right__on=f"{on}",
            right__why="wrong-date", right__note=f"Day of deed {deed[:6]}",
        )  # fmt: skip
        self._took("corrections", answer, rf"/people/{worker.number}#entry-{entry}")
        self.corrected[deed] = on

    def lost(self, db: Session) -> Iterator[str]:
        yield from self._missing(db, "appendix-d", self.entered)
        yield from self._missing(db, "correction", self.corrected)

    def _missing(self, db: Session, kind: str, kept: dict[str, date]) -> Iterator[str]:
        mine = [one.number for one in self.workers]
        query = select(Entry).where(Entry.kind == kind, Entry.person_number.in_(mine))
        there = {one.once: record.body(one) for one in db.exec(query)}
        for deed, on in kept.items():
            said = there.get(f"{kind}:{deed}")
            day = said and (said["said"] if kind == "correction" else said)["happened_on"]
            if day != f"{on}":
                yield f"{self.person.name} entered {kind} {deed}, {on}, not {day}"
        yield from _both(len(kept), len(there), f"entries of kind {kind}, {self.person.name}")


@dataclass
class Importer(AtWork):
    """Brings rosters of new people in: the file, its columns, its lines, the deed."""

    worksite: str = ""
    EACH = 3

    def work(self) -> Deeds:
        self.brought: list[str] = []  # deeds
        self.asked: list[int] = []  # errands
        self.joined: list[str] = []  # numbers of people
        while True:
            numbers = [f"i{len(self.joined) + at:05}" for at in range(self.EACH)]
            rows = [(number, self._name(), self.worksite) for number in numbers]
            deed = secrets.token_hex(16)
            answer = yield post("/import", csv_of(ROSTER, *rows), kind="roster", deed=deed)
            run = int(self._took("rosters brought", answer, r"/import/(\d+)/columns")[1])
            self.brought.append(deed)
            with self.store.reading() as db:
                matched = importing.matched_of(db.get(ImportRun, run))
            columns = {f"column-{slug}": str(at) for slug, at in matched["columns"].items()}
            answer = yield post(f"/import/{run}/columns", worksite="0", days="mdy", **columns)
            yield from self._until_done("rosters tried", answer)
            answer = yield get(f"/import/{run}/do")
            seen = re.search(r'name="seen" value="([^"]+)"', answer.text)
            if seen is None:
                raise Unexpected(f"{answer.status}, nothing to confirm")
            fields = {"seen": seen[1].replace("&#34;", '"'), "deed": secrets.token_hex(16)}
            answer = yield post(f"/import/{run}/do", **fields)
            yield from self._until_done("rosters confirmed", answer)
            self.joined += numbers
            self.tally["people brought in"] += self.EACH
            self.rests += 1

    def _name(self) -> str:
        """Return a name that is like no other."""
        return " ".join("".join(self.chance.choices("abdeghiklmnoprstuvz", k=9)).title()
                        for _ in "ab")  # fmt: skip

    def _until_done(self, what: str, answer: Answer) -> Deeds:
        """Look at the page of an errand until it is done."""
        errand = int(self._took(what, answer, r"/errands/(\d+)")[1])
        self.asked.append(errand)
        state = "waiting"
        while state != "done":
            time.sleep(0.03)
            answer = yield get(f"/errands/{errand}")
            with self.store.reading() as db:
                found = db.get(Errand, errand)
                state = found.state
            if answer.status != 200 or state == "failed":
                raise Unexpected(f"{answer.status}, errand {errand}: {errands.said(found)}")

    def lost(self, db: Session) -> Iterator[str]:
        runs = set(db.exec(select(ImportRun.once)))
        for deed in self.brought:
            if f"import:{deed}" not in runs:
                yield f"{self.person.name} brought file {deed}"
        yield from _both(len(self.brought), len(runs), "files")
        there = set(db.exec(select(Errand.id)))
        for number in set(self.asked) - there:
            yield f"{self.person.name} asked for errand {number}"
        query = select(Person.number).where(Person.number.startswith("i"))
        people = list(db.exec(query))
        for number in set(self.joined) - set(people):
            yield f"person {number} was brought in"
        # A roster is done whole or not at all, and each person comes once.
        done = select(func.count()).select_from(ImportRun).where(ImportRun.state == "done")
        if len(people) != self.EACH * db.exec(done).one() or len(people) != len(set(people)):
            yield f"{len(people)} people came of {db.exec(done).one()} rosters"


def said(tally: Counter) -> str:
    """Return what was acknowledged, in a line."""
    return json.dumps(dict(sorted(tally.items()))).strip("{}").replace('"', "")
