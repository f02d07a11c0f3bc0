"""The demo: Tern Quay Works, invented from its worksites to its last worker.

Whatever happened there is done again through the services that real people use, deed by
deed in the order of time, so that entries, chain and standing are the real thing. Days count
back from today; everything else is the same each time (salts and one-time codes apart).
"""

import csv
import tomllib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache, partial
from hashlib import sha256
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from trainer import lessons
from trainer.lessons.written import Text
from trainer.reference import respirator_classes, training_elements
from trainer.services import (
    asking,
    assigning,
    authoring,
    curriculum,
    describing,
    joining,
    learning,
    observing,
    recording,
    signing_in,
    site_questions,
    sitting,
    teaching,
)
from trainer.services.scribe import Scribe
from trainer.store import changes, people, site_lessons
from trainer.store.engine import Store
from trainer.store.tables import Installation, Person, Respirator, Setting, WorkerQuestion

ORGANISATION = "Tern Quay Works (invented)"
MARK = "demo"
"""The name of the row of Installation that says a folder holds the demo."""

ZONE = ZoneInfo("America/Chicago")
PIN = "580291"
# Of people who do not exist, printed at every start of the demo.
PASSPHRASE = "seven terns on a wet slipway"  # noqa: S105  # nosec B105
CODE_MINUTES = 24 * 60
PASS_MARK = 80
TAUGHT, TAUGHT_DAYS_AGO = "practice to come", 7
"""Whose first lesson was taught in a room, and how many days ago: just before they sat it."""
CAST = Path(__file__).with_name("demonstrating_cast.csv")
FIRST_DAY = 450  # days ago; nothing at Tern Quay Works happened before
COORDINATOR = "00101"

WORKSITES = (
    # Name; who is asked, where, by which telephone, when. 555-01xx is kept for invented people.
    ("Blast Shed", "Adaeze Thornlow", "Desk beside the pot room", "555-0141", "Mon-Fri 6:00-14:30"),
    ("Laminating Loft", "Joaquín Pedregosa", "Gel coat bench", "555-0142", "Mon-Fri 7:00-15:30"),
    ("Spray Hall", "Linh Varnham", "Mixing room window", "555-0143", "Mon-Sat 6:00-14:00"),
    ("Joinery", "Renske Oduvale", "Desk by the east door", "555-0144", "Mon-Fri 7:00-15:30"),
    ("Tank Pit", "Calder Whitsunby", "Hut at the pit head", "555-0145", "Mon-Fri 7:00-17:00"),
)

OV = {
    "cartridge": "organic vapor", "serves": True, "cartridge_limit": 1000.0,
    "approval": "TC-23C-0000", "schedule_hours": 6.0, "schedule_basis": "invented tests at 250 ppm",
}  # fmt: skip
AIR = (
    # Worksite; task; substances, each with its samples (hours, concentration); respirators.
    ("Blast Shed", "Blasting castings", ({"substance": "silica"}, ((4, 0.31), (4, 0.18))),
     ({"class_slug": "apr-half", "filter_class": "P100"}, {"class_slug": "sar-flow-hood"})),
    ("Laminating Loft", "Rolling gel coat",
     ({"substance": "styrene"}, ((3, 130), (4, 70), (1, 30))),
     ({"class_slug": "apr-half", "eye_protection": True, **OV}, {"class_slug": "apr-full", **OV})),
    ("Spray Hall", "Washing spray guns", ({"substance": "toluene"}, ((2, 150), (6, 60))),
     ({"class_slug": "apr-half", **OV}, {"class_slug": "apr-full", **OV})),
    ("Joinery", "Sanding", ({"substance": "wood-dust"}, ((6, 8.5), (2, 0))),
     ({"class_slug": "apr-filtering", "filter_class": "N95", "eye_protection": True},)),
    ("Tank Pit", "Cleaning the pit",
     ({"name": "Air low in oxygen", "kind": "gas", "unit": "ppm", "oxygen_percent": 17.0}, ()),
     ({"class_slug": "scba-pressure-full"},)),
)  # fmt: skip
"""What was measured at Tern Quay Works, and what is worn there: invented, like all of it. In the
Spray Hall the eyes are left bare: the check says so."""

QUESTIONS = (
    # Days ago; who asks, about which lesson, in which of its sections (None: from the tag), what;
    # after how many hours who answers what; is it shown to everybody there?
    (40, "00120", "putting-on", None, "¿Hago la verificación de sellado también después de comer?",
     3, "00104", "Sí: cada vez que se lo pone, antes de entrar.", False),
    (12, "00110", "fit", None, "Does the hood need a fit test as well?",
     20, "00103", "No. Your hood fits loosely, so there is no seal to test.", False),
    (7, "00123", "cartridges", 3, "¿Cada cuánto cambio los cartuchos si trabajo medio turno?",
     5, "00104", "Siga el programa de cambio: está en el puesto de gel coat.", True),
    (1, "00121", "upkeep", None, "Who has new straps for my half mask?",
     2, "00104", "I do, at the gel coat bench. Do not wear it with the old ones.", False),
    (2, "00127", "respirator-classes", 1, "Does a visor with a fan count as loose?",
     0, "", "", False),
    (1, "00117", "", None, "¿Puedo repetir el intento hoy, después de hablar con usted?",
     0, "", "", False),
    (1, "00148", "why-respirators", 1, "Can I smell wood dust before it is too much?",
     0, "", "", False),
)  # fmt: skip
NEEDS = (
    # Days ago; who tells it, what; after how many days who deals with it (0: it is open still).
    (30, "00111", "leak", 1, "00103"),
    (9, "00131", "health", 2, "00105"),
    (2, "00125", "leak", 0, ""),
    (1, "00120", "fit", 0, ""),
    (1, "00112", "health", 0, ""),
)
"""Told in one tap; kinds of `asking.KINDS`."""
STANDING_AT, STANDING_BY = "Laminating Loft", "00104"
"""Where whoever comes has the full training before first wearing, and who set that up."""

LESSON = Path(__file__).with_name("demonstrating_lesson.toml")
LESSON_AT, LESSON_BY, LESSON_DONE_BY = "Laminating Loft", "00104", ("00121", "00123")
"""Which worksite wrote a lesson of its own, who published it, and who passed it since."""

SIGN_INS = (
    ("coordinator", COORDINATOR),
    ("trainer", "00104"),
    ("worker, done", "00121"),
    ("new hire", "00128"),
)


@dataclass(frozen=True)
class SignIn:
    """How to sign in as somebody of the demo: by passphrase or a one-time code made just now."""

    who: str
    number: str
    name: str
    passphrase: str = ""
    code: str = ""


@dataclass(frozen=True)
class Member:
    """Somebody of the cast, with what they wear and what has happened to them."""

    number: str
    name: str
    language: str
    roles: tuple[str, ...]
    worksites: tuple[str, ...]
    qualification: str
    equipment: str
    later: str  # a second respirator, given not long ago
    story: str

    def lot(self, most: int, about: str = "") -> int:
        """Return a number from 0 to `most`, the same each time."""
        text = f"{self.number}:{about}"
        return int.from_bytes(sha256(text.encode()).digest()[:4]) % (most + 1)


@dataclass(frozen=True)
class Gear:
    """A respirator as it is handed out; makes and models are invented, and each make says so."""

    class_slug: str
    make: str
    model: str
    style: str
    filters: str


EQUIPMENT = {
    "half": Gear("apr-half", "Aldermoor", "Half 2", "elastomeric", "P100"),
    "full": Gear("apr-full", "Aldermoor", "Full 5", "elastomeric", "P100"),
    "vapor-half": Gear("apr-half", "Quillfen", "Half 7", "elastomeric", "organic vapor, P95"),
    "vapor-full": Gear("apr-full", "Quillfen", "Full 9", "elastomeric", "organic vapor, P95"),
    "papr-full": Gear("papr-full", "Brackmere", "Blower 3", "full facepiece", "organic vapor, HE"),
    "papr-loose": Gear("papr-loose", "Brackmere", "Visor 1", "visor", "organic vapor, HE"),
    "blast-hood": Gear("sar-flow-hood", "Stonelap", "Blast Hood 4", "hood", ""),
    "filtering": Gear("apr-filtering", "Saltmarsh", "Cup 95", "cup", "N95"),
    "self-contained": Gear("scba-pressure-full", "Deepholm", "Pack 45", "full facepiece", ""),
}
BY_CHOICE = " by choice"
"""What stands behind the equipment of somebody who wears it without being required to."""


@dataclass(frozen=True)
class Story:
    """What has happened to a person so far.

    rounds      days ago on which a round of training ended with practice
    spread      up to so many days later for each person, so that not all falls on one day
    started     days ago of the beginning, where there is no round yet
    fit_tests   days ago, where not at each round
    """

    rounds: tuple[int, ...] = ()
    spread: int = 0
    started: int = 0
    medical: str = "cleared"  # recording.OUTCOMES, or "" for none
    limit: str = ""
    ended: int | None = None  # days ago of the last day of medical clearance
    limited: int | None = None  # days ago, when a later recommendation allowed only powered ones
    fit_tests: tuple[int, ...] | None = None
    fits: bool = True
    lessons: str = ""  # without a round: read, sitting, passed, failed once or twice, credited
    practice: str = ""  # without a round: helped
    appendix_d: bool = False
    retraining: str = ""


STORIES = {
    "": Story(started=FIRST_DAY, medical=""),
    "clear": Story(rounds=(200,), spread=140),
    "clear again": Story(rounds=(385, 25), spread=10),
    "due soon": Story(rounds=(356,), spread=12),
    "overdue": Story(rounds=(400,), spread=20, fit_tests=(60,)),
    "fit test due soon": Story(rounds=(390, 30), spread=10, fit_tests=(354,)),
    "fit test lapsed": Story(rounds=(398, 40), spread=10, fit_tests=(398,)),
    "fit test failed": Story(started=9, fit_tests=(6,), fits=False, lessons="passed"),
    "medical ended": Story(rounds=(170,), spread=30, ended=8),
    "not cleared": Story(started=6, medical="not", fit_tests=()),
    "powered only": Story(rounds=(120,), spread=40, medical="limits", limit="powered_only"),
    "powered only since": Story(rounds=(150,), spread=40, limited=12),
    "practice to come": Story(started=11, fit_tests=(6,), lessons="passed"),
    "practice not yet": Story(started=13, fit_tests=(9,), lessons="passed", practice="helped"),
    "two failed sittings": Story(started=10, fit_tests=(6,), lessons="failed twice"),
    "one failed sitting": Story(started=10, fit_tests=(6,), lessons="failed once"),
    "in a sitting": Story(started=8, fit_tests=(5,), lessons="sitting"),
    "reading": Story(started=7, fit_tests=(), lessons="read"),
    "new respirator": Story(rounds=(150,), spread=20, retraining="changed-respirator"),
    "use not good enough": Story(rounds=(210,), spread=30, retraining="knowledge-or-use"),
    "trained elsewhere": Story(started=9, fit_tests=(5,), lessons="credited"),
    "Appendix D given": Story(started=90, medical="", fit_tests=(), appendix_d=True),
    "Appendix D to come": Story(started=3, medical="", fit_tests=()),
    "by choice with medical": Story(started=60, fit_tests=(), appendix_d=True),
    "new hire": Story(started=2, medical="", fit_tests=()),
}


@cache
def cast() -> tuple[Member, ...]:
    """Return everybody at Tern Quay Works."""
    with CAST.open(encoding="utf-8", newline="") as file:
        return tuple(_member(row) for row in csv.DictReader(file))


def is_fresh(db: Session) -> bool:
    """Say whether the database holds nobody yet."""
    return db.exec(select(Person.id).limit(1)).first() is None


def holds_demo(db: Session) -> bool:
    """Say whether the database was filled with the demo."""
    return db.get(Installation, MARK) is not None


def fill(
    store: Store, now: datetime, watch: Callable[[Sequence], Iterable] = iter
) -> None:
    """Fill a database without people: all of it, or, where the program is ended, nothing.

    watch   gives the deeds one by one and may show how far it is; it takes half a minute
    """
    # One slow hash each for everybody; it is no secret, and never made inside `writing()`.
    pin_hash, phrase_hash = signing_in.hashed(PIN), signing_in.hashed(PASSPHRASE)
    with store.writing() as db:
        works = _Works(db, now.astimezone(ZONE).date())
        for deed in watch(sorted(works.deeds(), key=lambda deed: deed.at)):
            # The log tells of it as if the coordinator had done it on that day.
            by = works.person.get(COORDINATOR)
            db.info["by"] = changes.By(*((by.number, by.name) if by else ("", "")), at=deed.at)
            deed.do(deed.at)
            db.flush()
        for member in cast():
            if member.story != "new hire":
                signing_in.set_pin(db, works.person[member.number], pin_hash)
                signing_in.set_passphrase(db, works.person[member.number], phrase_hash)
        db.add(Installation(name=MARK, value=ORGANISATION))
        db.add(Setting(name="organisation", value=ORGANISATION, set_at=now))


def sign_ins(db: Session, now: datetime) -> list[SignIn]:
    """Return how to sign in, one person of each kind; a new hire's code is made fresh."""
    found = []
    limits = signing_in.Limits(code_minutes=CODE_MINUTES)
    for who, number in SIGN_INS:
        person = people.by_number(db, number)
        plain = SignIn(who, number, person.name, passphrase=PASSPHRASE)
        if person.passphrase_hash is None:
            code, _ = signing_in.make_code(db, None, now, limits, person=person)
            # No passphrase is none to know.
            plain = replace(plain, passphrase="", code=code)  # nosec B106
        found.append(plain)
    return found


def _member(row: dict[str, str]) -> Member:
    split = {"roles": tuple(row["roles"].split())}
    split["worksites"] = tuple(name for name in row["worksites"].split(";") if name)
    return Member(**(row | split))


@dataclass(frozen=True)
class _Deed:
    """Something that is done at a moment."""

    at: datetime
    do: Callable[[datetime], object]


class _Works:
    """Tern Quay Works while it is being filled in."""

    def __init__(self, db: Session, today: date) -> None:
        self.db = db
        self.today = today
        self.person: dict[str, Person] = {}

    def deeds(self) -> Iterator[_Deed]:
        """Give everything that happened, person by person, each in the order of time."""
        yield _Deed(self.moment(FIRST_DAY + 1, 6), self._open)
        for member in cast():
            yield from self._life(member)
        yield _Deed(self.moment(30, 7), self._describe)
        yield _Deed(self.moment(30, 8), self._stand)
        yield _Deed(self.moment(TAUGHT_DAYS_AGO, 9), self._teach)
        yield from self._questions()
        yield from self._needs()
        yield _Deed(self.moment(2, 15), self._publish)
        for nth, number in enumerate(LESSON_DONE_BY):
            yield _Deed(self.moment(1, 9, nth), partial(self._sit_theirs, number=number))

    def _questions(self) -> Iterator[_Deed]:
        for nth, (days, who, lesson, section, text, hours, by, said, show) in enumerate(QUESTIONS):
            key, at = f"demo-question:{nth}", self.moment(days, 10, nth)
            about = (lesson, section)
            yield _Deed(at, partial(self._ask, who=who, about=about, text=text, once=key))
            if by:
                then = partial(self._answer, by=by, text=said, once=key, show=show)
                yield _Deed(at + timedelta(hours=hours), then)

    def _needs(self) -> Iterator[_Deed]:
        for nth, (days, who, kind, later, by) in enumerate(NEEDS):
            yield _Deed(self.moment(days, 11, nth), partial(self._tell, who=who, kind=kind))
            if by:
                dealt = partial(self._deal_with, who=who, by=by)
                yield _Deed(self.moment(days - later, 11, nth), dealt)

    def moment(self, days_ago: int, hour: int, minute: int = 0) -> datetime:
        """Return a moment of a working day at Tern Quay Works."""
        day = self.today - timedelta(days=days_ago)
        return datetime.combine(day, time(hour, minute), ZONE).astimezone(UTC)

    def _open(self, now: datetime) -> None:
        for name, who, place, telephone, hours in WORKSITES:
            joining.add_worksite(
                self.db,
                name=name,
                time_zone=ZONE.key,
                ask_name=who,
                ask_place=place,
                ask_telephone=telephone,
                ask_hours=hours,
            )

    def _describe(self, now: datetime) -> None:
        named = {one.name: one for one in people.all_worksites(self.db)}
        for place, task_name, (hazard, samples), worn in AIR:
            trainer = next(
                one for one in cast() if "trainer" in one.roles and place in one.worksites
            )
            by = Scribe(self.person[trainer.number], now, ZONE)
            task = describing.add_task(self.db, named[place], task_name)
            row = describing.add_hazard(self.db, by, task, **hazard)
            for hours, concentration in samples:
                describing.add_sample(
                    self.db, by, row, on=_day(now) - timedelta(days=5), hours=hours,
                    concentration=concentration,
                )  # fmt: skip
            for one in worn:
                describing.add_respirator(self.db, by, task, **one)
            describing.describe(
                self.db, named[place], emergency="Leave by the marked way.\nMeet at the gate.",
                storage="Locker room, own bin",
            )  # fmt: skip

    def _teach(self, now: datetime) -> None:
        """Let the trainer of each worksite teach the first lesson to those who begin there."""
        named = {one.name: one for one in people.all_worksites(self.db)}
        for place in named:
            there = [one for one in cast() if one.story == TAUGHT and place == one.worksites[0]]
            if not there:
                continue
            teaching.give(
                self.db,
                self._trainer(there[0], now),
                named[place],
                once=f"demo-talk:{place}",
                day=_day(now),
                began=time(8, 0),
                minutes=45,
                language=there[0].language,
                mode="taught in person",
                slugs=[lessons.load().all[0].slug],
                numbers=[one.number for one in there],
            )

    def _publish(self, now: datetime) -> None:
        """Let a trainer write the lesson of a worksite, and publish it."""
        written = tomllib.loads(LESSON.read_text(encoding="utf-8"))
        place = people.worksite_named(self.db, LESSON_AT)
        by = Scribe(self.person[LESSON_BY], now, ZONE)
        lesson = authoring.begin(self.db, by, place, "en")
        for language in ("en", "es"):
            draft = authoring.begin_language(self.db, by, lesson, language)
            said = written[language]
            text = Text(said["title"], said["summary"], said["text"].strip() + "\n")
            authoring.save(
                self.db, by, lesson, language, text, since=draft.revision, page="demo", turn=0
            )
        for raw in written["question"]:
            site_questions.save(self.db, by, lesson, None, raw, 0)
        authoring.publish(self.db, by, lesson)

    def _sit_theirs(self, now: datetime, number: str) -> None:
        """Let somebody pass the lesson that their worksite wrote."""
        person = self.person[number]
        member = next(one for one in cast() if one.number == number)
        (slug, *_) = site_lessons.in_course(self.db, person.id)
        self._sit(now, member, curriculum.find_for(self.db, person, slug), "passed")

    def _stand(self, now: datetime) -> None:
        named = {one.name: one for one in people.all_worksites(self.db)}
        by = Scribe(self.person[STANDING_BY], now, ZONE)
        assigning.begin_standing(self.db, by, named[STANDING_AT], [assigning.FULL])

    def _life(self, member: Member) -> Iterator[_Deed]:
        story = STORIES[member.story]
        later = member.lot(story.spread)
        rounds = tuple(day - later for day in story.rounds)
        tests = (
            rounds
            if story.fit_tests is None
            else tuple(day - later if story.rounds else day for day in story.fit_tests)
        )
        start = _beginning(member, story, rounds, tests)
        at = _Clock(self, member)
        joined = FIRST_DAY if "worker" not in member.roles or "trainer" in member.roles else start
        yield at(joined, 7, self._join, member)
        if not member.equipment:
            return
        yield at(start, 9, self._hand_out, member, member.equipment)
        if story.medical:
            yield at(start, 10, self._clear, member, story)
        if story.limited:
            later_on = replace(story, medical="limits", limit="powered_only")
            yield at(story.limited, 10, self._clear, member, later_on)
        if story.appendix_d:
            yield at(start - 1, 8, self._give_appendix_d, member)
        for day in tests:
            yield at(day + 1, 10, self._fit_test, member, story)
        by_itself = member.story == "new hire" and STANDING_AT in member.worksites
        by_choice = member.equipment.endswith(BY_CHOICE)
        if story.medical != "not" and not by_choice and not by_itself:
            yield at(start - 1, 8, self._assign, member, "first", 14)
        for place, day in enumerate(rounds):
            if place:
                yield at(day + 2, 8, self._assign, member, "yearly", 3)
            yield from self._lessons(at, member, day + 1)
            yield at(day, 14, self._practise, member, "unprompted")
        yield from self._without_round(at, member, story, start)
        if story.retraining:
            yield at(4, 9, self._assign_again, member, story.retraining)
        if member.later:
            yield at(20, 9, self._hand_out, member, member.later)

    def _without_round(
        self, at: "_Clock", member: Member, story: Story, start: int
    ) -> Iterator[_Deed]:
        first, second, *_ = lessons.load().all
        match story.lessons:
            case "passed":
                yield from self._lessons(at, member, start - 5)
            case "credited":
                yield at(4, 11, self._credit, member)
            case "read":
                yield at(2, 11, self._read, member, first, 1)
            case "sitting":
                yield at(3, 11, self._sit, member, first, "right")
                yield at(2, 11, self._sit, member, second, "half way")
            case "failed once":
                yield at(3, 11, self._sit, member, first, "wrong")
                yield at(2, 11, self._sit, member, first, "right")
            case "failed twice":
                yield at(3, 11, self._sit, member, first, "wrong")
                yield at(2, 11, self._sit, member, first, "wrong")
        if story.practice:
            yield at(2, 14, self._practise, member, story.practice)

    def _lessons(self, at: "_Clock", member: Member, day: int) -> Iterator[_Deed]:
        for place, lesson in enumerate(lessons.load().all):
            yield at(day, 9 + place / 2, self._sit, member, lesson, "right")

    # Each deed, through the service that does it.

    def _join(self, now: datetime, member: Member) -> None:
        known = {site.name: site.id for site in people.all_worksites(self.db)}
        self.person[member.number] = joining.add_person(
            self.db,
            now,
            number=member.number,
            name=member.name,
            roles=list(member.roles),
            language=member.language,
            worksites=[known[name] for name in member.worksites],
            qualification=member.qualification,
            seed=f"tern-quay-{member.number}",
        )

    def _hand_out(self, now: datetime, member: Member, equipment: str) -> None:
        gear = EQUIPMENT[equipment.removesuffix(BY_CHOICE)]
        use = "voluntary" if equipment.endswith(BY_CHOICE) else "required"
        size = ("S", "M", "L")[member.lot(2, "size")]
        joining.give_respirator(
            self.db,
            self._trainer(member, now),
            self.person[member.number],
            class_slug=gear.class_slug,
            use=use,
            make=f"Invented {gear.make}",
            model=gear.model,
            style=gear.style,
            size=size,
            filters=gear.filters,
        )

    def _clear(self, now: datetime, member: Member, story: Story) -> None:
        until = None if story.ended is None else self.today - timedelta(days=story.ended)
        recording.record_medical(
            self.db,
            Scribe(self.person[COORDINATOR], now, ZONE),
            self.person[member.number],
            once=f"demo-medical:{member.number}:{_day(now)}",
            on=_day(now),
            outcome=story.medical,
            limit=story.limit,
            until=until,
        )

    def _give_appendix_d(self, now: datetime, member: Member) -> None:
        recording.record_appendix_d(
            self.db,
            self._trainer(member, now),
            self.person[member.number],
            once=f"demo-appendix-d:{member.number}",
            on=_day(now),
        )

    def _credit(self, now: datetime, member: Member) -> None:
        asked = {row.paragraph: "asked" for row in training_elements.seven()}
        recording.record_credit(
            self.db,
            self._trainer(member, now),
            self.person[member.number],
            once=f"demo-credit:{member.number}",
            earlier_on=_day(now) - timedelta(days=120),
            given_by="Invented Saltpan Boatyard",
            proof="certificate with the outline of the course",
            trained_with=[self._worn(member).class_slug],
            elements=asked | {"(k)(1)(v)": recording.NOT_COVERED},
        )

    def _fit_test(self, now: datetime, member: Member, story: Story) -> None:
        worn = self._worn(member)
        row = respirator_classes.get(worn.class_slug)
        if not row.tight or worn.use == "voluntary":
            return
        recording.record_fit_test(
            self.db,
            self._trainer(member, now),
            self.person[member.number],
            worn,
            once=f"demo-fit-test:{member.number}:{_day(now)}",
            on=_day(now),
            **_measured(member, row.facepiece, story.fits),
        )

    def _assign(self, now: datetime, member: Member, reason: str, days: int) -> None:
        slugs = [lesson.slug for lesson in lessons.load().all]
        assigning.assign(
            self.db,
            self._trainer(member, now),
            self.person[member.number],
            slugs,
            _day(now) + timedelta(days=days),
            reason,
        )

    def _assign_again(self, now: datetime, member: Member, reason: str) -> None:
        assigning.assign(
            self.db,
            self._trainer(member, now),
            self.person[member.number],
            [lessons.load().all[0].slug],
            _day(now) + timedelta(days=10),
            reason,
        )

    def _read(
        self, now: datetime, member: Member, lesson: lessons.Lesson, sections: int | None = None
    ) -> None:
        for section in lesson.sections[:sections]:
            learning.finish_section(self.db, self.person[member.number], lesson, section.id, now)

    def _sit(self, now: datetime, member: Member, lesson: lessons.Lesson, how: str) -> None:
        # The moment of the deed is that of its end, when the entry is made.
        person = self.person[member.number]
        begun = now - timedelta(minutes=12)
        if teaching.opening(self.db, person, lesson.slug, begun) is None:
            self._read(begun - timedelta(minutes=15), member, lesson)
        one = sitting.begin(self.db, person, lesson, begun)
        items = sitting.shown(self.db, one)
        missed = _missed(member, items, how, f"{lesson.slug}:{one.ordinal}")
        for place, item in enumerate(items[:4] if how == "half way" else items):
            given = _wrong(item) if place in missed else _right(item)
            at = begun + timedelta(seconds=40 * (place + 1))
            sitting.answer(self.db, one, item.item.position, given, at)
        if how != "half way":
            sitting.close(self.db, Scribe(person, now, ZONE), one, person.language, PASS_MARK)

    def _practise(self, now: datetime, member: Member, how: str) -> None:
        worn = self._worn(member)
        begun = self._trainer(member, now - timedelta(minutes=8))
        practice = observing.begin(self.db, begun, self.person[member.number], worn)
        marks = {act.slug: "unprompted" for act in observing.acts_for(worn)}
        if how != "unprompted":
            marks |= {"strap-tension": "helped", "seal-check-negative": "not_yet"}
        observing.mark(self.db, begun, practice, marks)
        observing.sign(self.db, self._trainer(member, now), practice)

    def _ask(
        self, now: datetime, who: str, about: tuple[str, int | None], text: str, once: str
    ) -> None:
        slug, section = about
        part = None if section is None else lessons.load().get(slug).sections[section]
        asking.ask(
            self.db,
            self.person[who],
            text,
            once=once,
            language=self.person[who].language,
            now=now,
            lesson=slug,
            section=part.id if part else "",
        )

    def _answer(self, now: datetime, by: str, text: str, once: str, show: bool) -> None:
        question = self.db.exec(select(WorkerQuestion).where(WorkerQuestion.once == once)).one()
        asking.answer(
            self.db, self.person[by], question, text, once=once, now=now, show=show
        )

    def _tell(self, now: datetime, who: str, kind: str) -> None:
        person = self.person[who]
        worn = None if kind == "health" else people.respirators(self.db, person.id)[0]
        asking.tell(self.db, person, kind, worn, now)

    def _deal_with(self, now: datetime, who: str, by: str) -> None:
        (told, *_) = asking.needs_of(self.db, self.person[who])
        asking.deal_with(self.db, self.person[by], told.need, now)

    def _worn(self, member: Member) -> Respirator:
        return people.respirators(self.db, self.person[member.number].id)[0]

    def _trainer(self, member: Member, now: datetime) -> Scribe:
        """Return a trainer of the member's worksite who is somebody else."""
        here = [
            other
            for other in cast()
            if "trainer" in other.roles
            and other.number != member.number
            and set(other.worksites) & set(member.worksites)
        ]
        chosen = here[member.lot(len(here) - 1, "trainer")]
        return Scribe(self.person[chosen.number], now, ZONE)


@dataclass(frozen=True)
class _Clock:
    """Sets the moment of a person's deeds, so that not everybody comes at the same minute."""

    works: _Works
    member: Member

    def __call__(self, days_ago: int, hour: float, do: Callable, *given: object) -> _Deed:
        """Return a deed of that day and hour, or half hour."""
        minute = int(hour % 1 * 60) + cast().index(self.member) % 30
        moment = self.works.moment(days_ago, int(hour), minute)
        return _Deed(moment, lambda now: do(now, *given))


def _beginning(
    member: Member, story: Story, rounds: tuple[int, ...], tests: tuple[int, ...]
) -> int:
    """Return how many days ago a person's story begins: before all else in it."""
    return max([story.started, *(day + 6 for day in rounds), *(day + 3 for day in tests)])


def _day(now: datetime) -> date:
    return now.astimezone(ZONE).date()


def _measured(member: Member, facepiece: str, fits: bool) -> dict[str, object]:
    """Return the fields of a fit test: the factor against 100 for a half, 500 for a full facepiece.

    Source: 29 CFR 1910.134(f)(7).
    """
    needed = 500 if facepiece == "full" else 100
    protocol = "ambient-aerosol-filtering" if facepiece == "filtering" else "ambient-aerosol"
    share = 2 + member.lot(80, "fit") / 10 if fits else 0.6
    return {
        "protocol": protocol,
        "fit_factor": float(round(needed * share)),
        "recording": f"fit test binder, sheet {member.lot(400, 'sheet') + 1}",
    }


def _missed(member: Member, items: list[sitting.Shown], how: str, about: str) -> set[int]:
    """Return the places answered wrong: two must-knows in a failed sitting, else one or none."""
    must = [place for place, one in enumerate(items) if one.item.must_know]
    rest = [place for place in range(len(items)) if place not in must]
    if how == "wrong":
        return {*must[:2], rest[0]}
    # One miss among five or more leaves the pass mark.
    misses_one = len(rest) >= 5 and member.lot(2, about) == 0
    return {rest[member.lot(len(rest) - 1, f"{about}:which")]} if misses_one else set()


def _right(one: sitting.Shown) -> list[str]:
    if one.problem is not None:
        return [one.problem.blank.typed]
    places = range(len(one.question.options))
    if one.question.in_rows:
        return [f"{place}:{place}" for place in places]
    return [str(place) for place in places if one.question.options[place].right]


def _wrong(one: sitting.Shown) -> list[str]:
    """Return an answer as people get it wrong: a usual slip, or an option that is not right."""
    if one.problem is not None:
        blank = one.problem.blank
        return [replace(blank, value=blank.slips[0].value).typed if blank.slips else "1"]
    if one.question.in_rows:
        last = len(one.question.options) - 1
        return [f"{place}:{last - place}" for place in range(last + 1)]
    options = enumerate(one.question.options)
    return [next((str(place) for place, option in options if not option.right), "0")]
