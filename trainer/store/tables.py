"""The tables. Rules of the trade live elsewhere; here are only shapes and small rules of storing.

Due dates are dates, never moments. Moments are UTC. Worker numbers are text, kept as typed.
"""

from datetime import date, datetime

from sqlalchemy import Index, MetaData, UniqueConstraint, false
from sqlmodel import Field, SQLModel

# Every constraint has a name, so that a later migration can drop it (batch mode needs this).
SQLModel.metadata.naming_convention = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
METADATA: MetaData = SQLModel.metadata
# A row is never validated: what would do it is built where somebody asks for it, so by nobody.
SQLModel.model_config["defer_build"] = True


class Installation(SQLModel, table=True):
    """One fact about this data folder, such as that it holds the demo."""

    name: str = Field(primary_key=True)
    value: str


class Setting(SQLModel, table=True):
    """What a coordinator chose for a setting; the environment wins over it."""

    name: str = Field(primary_key=True)  # as in config.Settings
    value: str
    set_at: datetime
    set_by: int | None = Field(default=None, foreign_key="person.id")


class Person(SQLModel, table=True):
    """Somebody who learns, trains or coordinates."""

    id: int | None = Field(default=None, primary_key=True)
    number: str
    number_key: str = Field(unique=True)  # casefolded: what is matched
    name: str
    search_key: str = Field(index=True)  # name and number without accents or capitals
    language: str = "en"
    qualification: str = ""  # a trainer's, as it goes into the record
    seed: str  # what this person's problems are drawn from
    pin_hash: str | None = None
    passphrase_hash: str | None = None
    added_at: datetime
    left_on: date | None = None  # or the day on which the record was joined to another one


class MergedPerson(SQLModel, table=True):
    """Two records were of one person: this one was joined to another, which goes on.

    Its worker number stays a number of that person: entries made with it are never changed.
    """

    __tablename__ = "merged_person"

    person_id: int = Field(foreign_key="person.id", primary_key=True)
    into_id: int = Field(foreign_key="person.id", index=True)  # never one that was merged itself
    merged_at: datetime
    merged_by: int = Field(foreign_key="person.id")


class PersonRole(SQLModel, table=True):
    """A role that a person holds (worker, trainer, coordinator), or the right `medical` beside."""

    __tablename__ = "person_role"

    person_id: int = Field(foreign_key="person.id", primary_key=True)
    role: str = Field(primary_key=True, index=True)


class Worksite(SQLModel, table=True):
    """A place with its people, and whom they can ask there."""

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    time_zone: str
    rule_set: str = "federal"
    ask_name: str = ""
    ask_place: str = ""
    ask_telephone: str = ""
    ask_hours: str = ""
    emergency_steps: str = Field(default="", sa_column_kwargs={"server_default": ""})
    storage_place: str = Field(default="", sa_column_kwargs={"server_default": ""})
    # The written program, 29 CFR 1910.134(c): where it is kept, its date, who administers it.
    program_place: str = Field(default="", sa_column_kwargs={"server_default": ""})
    program_on: date | None = None
    program_by: str = Field(default="", sa_column_kwargs={"server_default": ""})


class Task(SQLModel, table=True):
    """Work at a worksite that is done in one kind of air."""

    id: int | None = Field(default=None, primary_key=True)
    worksite_id: int = Field(foreign_key="worksite.id", index=True)
    name: str
    ended_at: datetime | None = None


class SiteHazard(SQLModel, table=True):
    """One substance in the air of a task, with the limit that the employer uses."""

    __tablename__ = "site_hazard"

    id: int | None = Field(default=None, primary_key=True)
    task_id: int = Field(foreign_key="task.id", index=True)
    substance: str = ""  # slug of reference.contaminants; "" for one of the trainer's own
    name: str  # as people call it there
    kind: str  # calculations.selection.KINDS
    unit: str  # ppm or mg/m³
    molecular_weight: float | None = None  # g/mol, of one of the trainer's own
    limit: float | None = None
    limit_kind: str = "TWA"  # or ceiling
    limit_source: str = ""
    idlh: float | None = None
    oil: bool = False
    eye_irritation: bool = False
    oxygen_percent: float = 20.9
    described_at: datetime
    described_by: int = Field(foreign_key="person.id")
    ended_at: datetime | None = None


class Sample(SQLModel, table=True):
    """A concentration that was measured in the air of a task, for so many hours of one day."""

    id: int | None = Field(default=None, primary_key=True)
    hazard_id: int = Field(foreign_key="site_hazard.id", index=True)
    measured_on: date
    hours: float
    concentration: float  # in the unit of the hazard
    # What was typed, with its unit, where that was another one; "" where it was the same.
    as_measured: str = Field(default="", sa_column_kwargs={"server_default": ""})
    entered_at: datetime
    entered_by: int = Field(foreign_key="person.id")
    ended_at: datetime | None = None


class TaskRespirator(SQLModel, table=True):
    """A respirator that is worn for a task, with what it carries."""

    __tablename__ = "task_respirator"

    id: int | None = Field(default=None, primary_key=True)
    task_id: int = Field(foreign_key="task.id", index=True)
    class_slug: str
    make: str = ""
    model: str = ""
    style: str = Field(default="", sa_column_kwargs={"server_default": ""})
    sizes: str = Field(default="", sa_column_kwargs={"server_default": ""})  # such as S, M, L
    filter_class: str = ""  # such as P100
    cartridge: str = ""
    serves: bool = False  # is the cartridge made for every gas and vapor of the task?
    cartridge_limit: float | None = None
    approval: str = ""  # such as TC-23C-0000
    schedule_hours: float | None = None  # after so many hours the cartridge is changed
    schedule_basis: str = ""  # how that was arrived at
    indicator: bool = False  # has it an end-of-service-life indicator?
    eye_protection: bool = False
    hood_evidence: bool = False
    described_at: datetime
    described_by: int = Field(foreign_key="person.id")
    ended_at: datetime | None = None


class Picture(SQLModel, table=True):
    """A photo or drawing of a worksite, made safe; ended and never deleted: lessons refer to it."""

    __table_args__ = (UniqueConstraint("worksite_id", "sha256"),)
    id: int | None = Field(default=None, primary_key=True)
    worksite_id: int = Field(foreign_key="worksite.id")
    sha256: str  # of the data, so that the same picture is one row
    kind: str  # png, jpeg, webp or svg
    width: int  # pixels, as is the height
    height: int
    data: bytes
    description_en: str = ""  # what it shows, for people who do not see it
    description_es: str = ""
    added_at: datetime
    added_by: int = Field(foreign_key="person.id")
    ended_at: datetime | None = None


class Membership(SQLModel, table=True):
    """A person belongs to a worksite; a trainer's are those they train at."""

    person_id: int = Field(foreign_key="person.id", primary_key=True)
    worksite_id: int = Field(foreign_key="worksite.id", primary_key=True, index=True)
    joined_at: datetime | None = None  # None: since the person was added


class PastMembership(SQLModel, table=True):
    """A person belonged to a worksite until a moment: append-only, so that a past day is known."""

    __tablename__ = "past_membership"

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    worksite_id: int = Field(foreign_key="worksite.id", index=True)
    joined_at: datetime | None = None  # None: since the person was added
    left_at: datetime


class SiteLesson(SQLModel, table=True):
    """A lesson that trainers write for one worksite."""

    __tablename__ = "site_lesson"
    id: int | None = Field(default=None, primary_key=True)
    worksite_id: int = Field(foreign_key="worksite.id", index=True)
    for_everyone: bool = True  # part of the course of everybody at the worksite
    begun_at: datetime
    begun_by: int = Field(foreign_key="person.id")
    ended_at: datetime | None = None


class SiteDraft(SQLModel, table=True):
    """What a worksite's lesson says in one language, as it is being written."""

    __tablename__ = "site_draft"
    lesson_id: int = Field(foreign_key="site_lesson.id", primary_key=True)
    language: str = Field(primary_key=True)
    title: str = ""
    summary: str = ""
    text: str = ""
    revision: int = 0  # one more with each saving
    # The open page that saved last, and which of its savings that was: pages save by themselves,
    # and a late one of theirs must neither undo a newer one nor pass for another person's.
    page: str = ""
    turn: int = 0
    saved_at: datetime
    saved_by: int = Field(foreign_key="person.id")


class SiteDraftAside(SQLModel, table=True):
    """A text that was written while another one was saved: kept beside it, never over it."""

    __tablename__ = "site_draft_aside"
    __table_args__ = (UniqueConstraint("lesson_id", "language", "page"),)
    id: int | None = Field(default=None, primary_key=True)
    lesson_id: int = Field(foreign_key="site_lesson.id")
    language: str
    title: str = ""
    summary: str = ""
    text: str = ""
    page: str
    turn: int = 0
    kept_at: datetime
    kept_by: int = Field(foreign_key="person.id")
    dealt_with_at: datetime | None = None


class SiteQuestion(SQLModel, table=True):
    """A question of a worksite's lesson, as it is being written."""

    __tablename__ = "site_question"
    id: int | None = Field(default=None, primary_key=True)
    lesson_id: int = Field(foreign_key="site_lesson.id", index=True)
    content: str  # JSON: the fields of questions/README.md
    revision: int = 1
    saved_at: datetime
    saved_by: int = Field(foreign_key="person.id")
    ended_at: datetime | None = None


class SiteLessonVersion(SQLModel, table=True):
    """What a worksite's lesson said from a moment on, with its questions; never changed."""

    __tablename__ = "site_lesson_version"
    __table_args__ = (UniqueConstraint("lesson_id", "ordinal"),)
    id: int | None = Field(default=None, primary_key=True)
    lesson_id: int = Field(foreign_key="site_lesson.id")
    ordinal: int
    version: str  # first 12 hexadecimal digits of the SHA-256 of the content
    content: str  # JSON: texts by language, questions
    retrain: bool = False  # were those who had an older one asked to do it again?
    why: str = ""  # why, or why not
    published_at: datetime
    published_by: int = Field(foreign_key="person.id")


class Respirator(SQLModel, table=True):
    """A respirator that a person wears, ended and never deleted."""

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    class_slug: str
    make: str = ""
    model: str = ""
    style: str = ""
    size: str = ""
    filters: str = ""
    use: str = "required"  # or voluntary
    given_at: datetime
    given_by: int = Field(foreign_key="person.id", index=True)
    ended_at: datetime | None = None


class Assignment(SQLModel, table=True):
    """A lesson that a person is to do by a day, and why."""

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    lesson: str
    due: date
    reason: str
    assigned_by: int = Field(foreign_key="person.id", index=True)
    assigned_at: datetime
    withdrawn_at: datetime | None = None
    # What was seen that made it needed: acts of practice, or "answers"; a space between.
    seen: str = Field(default="", sa_column_kwargs={"server_default": ""})


class StandingAssignment(SQLModel, table=True):
    """What everybody is to do who comes to a worksite after it was set up.

    Who has it is worked out from dates whenever it is asked; nothing is handed out.
    """

    __tablename__ = "standing_assignment"

    id: int | None = Field(default=None, primary_key=True)
    worksite_id: int = Field(foreign_key="worksite.id", index=True)
    lesson: str = ""  # "" for the full training
    class_slug: str = ""  # only for those who wear this class; "" for everybody
    days: int | None = None  # after coming; None: before first wearing
    begun_at: datetime
    begun_by: int = Field(foreign_key="person.id")
    ended_at: datetime | None = None
    ended_by: int | None = Field(default=None, foreign_key="person.id")


class Device(SQLModel, table=True):
    """A browser that may be signed in to with number and PIN."""

    id: int | None = Field(default=None, primary_key=True)
    secret_hash: str = Field(unique=True)
    kind: str  # own or shared
    person_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    worksite_id: int | None = Field(default=None, foreign_key="worksite.id", index=True)
    enrolled_by: int | None = Field(default=None, foreign_key="person.id")
    enrolled_at: datetime
    revoked_at: datetime | None = None


class OneTimeCode(SQLModel, table=True):
    """A code that enrols one device, once, for a short while."""

    __tablename__ = "one_time_code"

    id: int | None = Field(default=None, primary_key=True)
    code_hash: str = Field(unique=True)
    person_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    worksite_id: int | None = Field(default=None, foreign_key="worksite.id")
    made_by: int | None = Field(default=None, foreign_key="person.id")
    made_at: datetime
    expires_at: datetime
    used_at: datetime | None = None


class SignInTry(SQLModel, table=True):
    """How many wrong tries a person, device or network address has."""

    __tablename__ = "sign_in_try"

    scope: str = Field(primary_key=True)  # services.throttling.RULES
    wrong: int = 0
    last_at: datetime = Field(index=True)


class WebSession(SQLModel, table=True):
    """A person signed in on a browser, ended by the server."""

    __tablename__ = "web_session"

    id: int | None = Field(default=None, primary_key=True)
    token_hash: str = Field(unique=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    device_id: int | None = Field(default=None, foreign_key="device.id")
    started_at: datetime
    seen_at: datetime
    ended_at: datetime | None = None
    half: bool = Field(  # the second step is still to come
        default=False, sa_column_kwargs={"server_default": false()}
    )


class SecondStep(SQLModel, table=True):
    """The secret that a person's app makes time-based one-time codes from (RFC 6238).

    Secrets are encrypted with a key that is not in the database: services.second_step.
    """

    __tablename__ = "second_step"

    person_id: int = Field(foreign_key="person.id", primary_key=True)
    secret: bytes | None = None  # None: set up, but not yet confirmed by a code
    since: datetime | None = None
    last_step: int = 0  # of the clock, the last whose code was used: none is taken twice
    pending: bytes | None = None  # of an app being set up
    pending_at: datetime | None = None


class RecoveryCode(SQLModel, table=True):
    """A code that takes the place of the second step once."""

    __tablename__ = "recovery_code"

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    code_hash: str  # keyed
    made_at: datetime
    used_at: datetime | None = None


class SentForm(SQLModel, table=True):
    """The key of a form that did its deed, so that it does it once."""

    __tablename__ = "sent_form"
    once: str = Field(primary_key=True)
    sent_at: datetime = Field(index=True)


class Unsent(SQLModel, table=True):
    """What somebody typed into a form and could not send; for nobody else, and for a short time."""

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    page: str  # the address on which the form stands
    action: str  # the address that it is sent to
    fields: str  # JSON: name and value of each field, in order
    kept_at: datetime


class SignInEvent(SQLModel, table=True):
    """One line of the history of signing in. Triggers refuse a change or deletion.

    It never holds a secret, nor a number that nobody has: a PIN may have been typed there.
    """

    __tablename__ = "sign_in_event"
    id: int | None = Field(default=None, primary_key=True)
    at: datetime
    kind: str  # services.signing_in.KINDS
    person_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    device_id: int | None = Field(default=None, foreign_key="device.id")
    worksite_id: int | None = Field(default=None, foreign_key="worksite.id")  # of a tablet's code
    by_id: int | None = Field(default=None, foreign_key="person.id")  # who made or ended it
    address: str = ""  # of the network; "" where nothing came through it


class Change(SQLModel, table=True):
    """Something that somebody changed. Triggers refuse a change or deletion.

    Who, whom and which are kept as they stood then. No medical value is ever in it.
    """

    id: int | None = Field(default=None, primary_key=True)
    at: datetime = Field(index=True)
    by_number: str = Field(default="", index=True)  # "": not from a page
    by_name: str = ""
    kind: str = Field(index=True)  # what it is about, such as person or worksite
    deed: str  # added, changed, ended, or a word of its own
    about_number: str = Field(default="", index=True)  # the worker number, where about a person
    about: str = ""  # a name
    detail: str = "[]"  # JSON: lists of field, before, after


class LessonPlace(SQLModel, table=True):
    """Where a person is in a lesson, in the round of training it belongs to."""

    __tablename__ = "lesson_place"
    __table_args__ = (UniqueConstraint("person_id", "lesson", "round"),)
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id")
    lesson: str
    round: int = 1  # a new one after each pass
    section: str  # the section to go on with
    sections_done: str = ""  # section ids, a space between
    # Those that the browser read aloud from beginning to end.
    sections_heard: str = Field(default="", sa_column_kwargs={"server_default": ""})
    started_at: datetime
    moved_at: datetime


class LessonAnswer(SQLModel, table=True):
    """One answer to a step of a problem inside a lesson, marked at once."""

    __tablename__ = "lesson_answer"
    __table_args__ = (
        UniqueConstraint("person_id", "exercise", "version", "ordinal", "step", "attempt"),
        Index("ix_lesson_answer_person_exercise", "person_id", "exercise"),
    )
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id")
    lesson: str
    exercise: str
    version: str  # of the exercise: a changed one begins anew
    ordinal: int  # which problem: 0 is the worked example
    step: int  # -1: the person went on to the next problem
    attempt: int
    typed: str
    verdict: str
    slip: str = ""
    # Of step -1: JSON of the next problem where it has the numbers of a worksite; else "".
    following: str = Field(default="", sa_column_kwargs={"server_default": ""})
    answered_at: datetime


class Sitting(SQLModel, table=True):
    """One go at the questions and problems that close a lesson, or at a refresher."""

    __table_args__ = (UniqueConstraint("person_id", "lesson", "ordinal"),)
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id")
    lesson: str  # "" for a refresher, which mixes lessons
    ordinal: int
    months: int | None = None  # of a refresher: 1, 3 or 6 after the training
    after: int | None = None  # of a refresher: the number of the training's entry
    seed: int
    lesson_version: str
    started_at: datetime
    closed_at: datetime | None = None
    passed: bool | None = None
    language: str = ""  # the one it was closed in
    right: int = 0
    asked: int = 0
    must_right: int = 0
    must_asked: int = 0
    on_paper: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    talk: int | None = None  # the number of the talk that the person was at, where one counts


class PaperSitting(SQLModel, table=True):
    """A sitting that was printed for a person, to be written on and then entered by a trainer."""

    __tablename__ = "paper_sitting"
    sitting_id: int = Field(foreign_key="sitting.id", primary_key=True)
    code: str = Field(unique=True)  # what stands on the paper
    language: str  # what it is printed in, and marked in
    printed_by: int = Field(foreign_key="person.id")
    printed_at: datetime
    withdrawn_at: datetime | None = None  # it is not to be used any more


class SittingItem(SQLModel, table=True):
    """A question or problem of a sitting, as it was drawn, with the answer given."""

    __tablename__ = "sitting_item"
    __table_args__ = (UniqueConstraint("sitting_id", "position"),)
    id: int | None = Field(default=None, primary_key=True)
    sitting_id: int = Field(foreign_key="sitting.id", index=True)
    position: int
    kind: str  # question or problem
    slug: str
    drawn: str  # JSON: the order of the options, or the problem's numbers
    must_know: bool = False
    answer: str | None = None  # option indices with a space between, or the text typed
    answered_at: datetime | None = None
    # How often the button sent an answer; a page that saves by itself tells what it began from.
    savings: int = Field(default=0, sa_column_kwargs={"server_default": "0"})
    right: bool | None = None  # set when the sitting is closed
    slip: str = ""


class Talk(SQLModel, table=True):
    """A trainer talked with a person after failed sittings, so another may begin."""

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    lesson: str
    trainer_id: int = Field(foreign_key="person.id")
    at: datetime


class TaughtTalk(SQLModel, table=True):
    """A trainer taught lessons to people in a room. Triggers refuse a change or deletion.

    Who taught is kept as it stood then, whatever becomes of the name or the qualification.
    """

    __tablename__ = "taught_talk"
    id: int | None = Field(default=None, primary_key=True)
    once: str = Field(unique=True)  # the key of the form: sent twice, it is one talk
    worksite_id: int = Field(foreign_key="worksite.id", index=True)
    day: date
    began: str = ""  # HH:MM by the clock of the worksite; "" where only the minutes are known
    minutes: int
    language: str
    mode: str  # taught in person, or read aloud
    trainer_id: int = Field(foreign_key="person.id")
    trainer_number: str
    trainer_name: str
    qualification: str
    recorded_at: datetime


class TalkLesson(SQLModel, table=True):
    """A lesson that was taught in a talk, in the version that stood then."""

    __tablename__ = "talk_lesson"
    talk_id: int = Field(foreign_key="taught_talk.id", primary_key=True)
    lesson: str = Field(primary_key=True)
    version: str


class TalkPerson(SQLModel, table=True):
    """Somebody who was there at a talk."""

    __tablename__ = "talk_person"
    talk_id: int = Field(foreign_key="taught_talk.id", primary_key=True)
    person_id: int = Field(foreign_key="person.id", primary_key=True, index=True)


class TalkTakenBack(SQLModel, table=True):
    """A talk that was recorded by mistake: it stays, and opens nothing from then on."""

    __tablename__ = "talk_taken_back"
    talk_id: int = Field(foreign_key="taught_talk.id", primary_key=True)
    taken_back_by: int = Field(foreign_key="person.id")
    taken_back_at: datetime


class WorkerQuestion(SQLModel, table=True):
    """Something a person asked the trainers of their worksites; open until it has an answer."""

    __tablename__ = "worker_question"
    # The key of the form: sent twice with the same words, it is one question.
    __table_args__ = (UniqueConstraint("person_id", "once", "text"),)
    id: int | None = Field(default=None, primary_key=True)
    once: str
    person_id: int = Field(foreign_key="person.id")
    lesson: str = ""  # "" where it is about no lesson
    section: str = ""  # "" where it was asked from the tag
    text: str
    language: str  # the one it was asked in
    asked_at: datetime


class TrainerAnswer(SQLModel, table=True):
    """What a trainer answered to a question; a further answer is a further row."""

    __tablename__ = "trainer_answer"
    __table_args__ = (UniqueConstraint("question_id", "once", "text"),)
    id: int | None = Field(default=None, primary_key=True)
    once: str
    question_id: int = Field(foreign_key="worker_question.id")
    text: str
    answered_at: datetime
    answered_by: int = Field(foreign_key="person.id")
    read_at: datetime | None = None  # when the one who asked marked it as read


class ShownAnswer(SQLModel, table=True):
    """An answer that everybody at a worksite sees, with its question and without who asked."""

    __tablename__ = "shown_answer"
    answer_id: int = Field(foreign_key="trainer_answer.id", primary_key=True)
    worksite_id: int = Field(foreign_key="worksite.id", primary_key=True, index=True)


class Need(SQLModel, table=True):
    """What a person told in one tap, without any detail."""

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    kind: str  # fit, leak or health
    respirator_id: int | None = Field(default=None, foreign_key="respirator.id")
    told_at: datetime
    dealt_with_at: datetime | None = None
    dealt_with_by: int | None = Field(default=None, foreign_key="person.id")


class Practice(SQLModel, table=True):
    """A practice being watched; signing it puts an entry into the record."""

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    respirator_id: int = Field(foreign_key="respirator.id")
    trainer_id: int = Field(foreign_key="person.id", index=True)
    # Of a short putting on, watched for a refresher: the number of the training's entry. It
    # makes no entry of its own.
    refreshes: int | None = None
    started_at: datetime
    signed_at: datetime | None = None
    passed: bool | None = None


class PracticeAct(SQLModel, table=True):
    """How one act of a practice was seen: unprompted, with help, or not yet."""

    __tablename__ = "practice_act"
    practice_id: int = Field(foreign_key="practice.id", primary_key=True)
    act: str = Field(primary_key=True)
    seen: str
    at: datetime


class Entry(SQLModel, table=True):
    """One line of the training record. Triggers of the database refuse a change or deletion.

    They let one thing through: body and salt may become empty, once `Erased` names the entry.

    The columns from `kind` to `happened_on` repeat values of the body so that the database
    can search them; verifying compares them.
    """

    number: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    once: str = Field(unique=True)  # the deed that made it: done twice, it is one entry
    kind: str = Field(index=True)
    person_number: str = Field(index=True)
    worksite: str = ""
    happened_on: date = Field(index=True)
    recorded_at: str  # UTC, ISO 8601, as it stands in the hash
    body: str | None  # canonical JSON (RFC 8785); None once erased
    salt: str | None
    body_hash: str
    previous: str = Field(unique=True)
    hash: str = Field(unique=True)


class Erased(SQLModel, table=True):
    """Which entry of kind `erasure` lets an entry's body go: append-only, checked by triggers."""

    number: int = Field(foreign_key="entry.number", primary_key=True)
    erasure: int = Field(foreign_key="entry.number")


class TaughtContent(SQLModel, table=True):
    """The text of a lesson and its questions as it was taught, by its hash."""

    __tablename__ = "taught_content"
    version: str = Field(primary_key=True)
    lesson: str
    files: str  # JSON: file name to text
    kept_at: datetime


class Standing(SQLModel, table=True):
    """Where a person stands with one respirator: worked out from entries, kept for the tag board.

    Nothing but an entry, an assignment (a standing one too), a respirator or a worksite changes
    it; the passing of days is a comparison with `clear_until`. The columns from `search_key` on
    are what the board sorts and searches by; a trigger keeps the first two as the person has them.
    """

    __table_args__ = (
        # Each ends with what else the board asks, so that nothing need be looked up in the row.
        Index("ix_standing_board", "left_on", "lead_until", "lead_begun", "search_key",
              "person_id", "respirator_id", "clear_until", "begun", "others_until"),
        Index("ix_standing_name", "left_on", "search_key", "person_id", "respirator_id"),
        Index("ix_standing_tally", "left_on", "clear_until", "begun", "others_until",
              "respirator_id", "person_id"),
        Index("ix_standing_due", "left_on", "missing", "training_due", "practice_due",
              "fit_test_due", "lessons_due", "medical_due", "clear_until", "begun",
              "others_until", "next_due_kind", "respirator_id", "person_id"),
    )  # fmt: skip
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    respirator_id: int | None = Field(default=None, foreign_key="respirator.id")
    clear_until: date | None = Field(default=None, index=True)  # None: not clear
    missing: str = ""  # kinds of step that are not done, a space between
    next_due: date | None = None  # the step that falls due first
    next_due_kind: str = ""
    begun: bool = False
    search_key: str = Field(default="", sa_column_kwargs={"server_default": ""})  # the person's
    left_on: date | None = None  # the person's
    # Of the person's most urgent tag, so that all of them stand together.
    lead_until: date | None = None
    lead_begun: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    lead_others_until: date | None = None
    # The last good day as far as who may not know a determination's date may know it.
    others_until: date | None = None
    # The last good day of each kind of step, past or to come; None where it has none.
    medical_due: date | None = None
    training_due: date | None = None
    practice_due: date | None = None
    fit_test_due: date | None = None
    lessons_due: date | None = None  # of the worksite's lessons that are asked beside the training


class CalendarFeed(SQLModel, table=True):
    """A calendar of what falls due, behind an address that holds a secret; made anew or revoked.

    What it shows is asked of the owner's rights each time it is fetched.
    """

    __tablename__ = "calendar_feed"
    id: int | None = Field(default=None, primary_key=True)
    secret_hash: str = Field(unique=True)  # the secret itself is kept nowhere
    person_id: int = Field(foreign_key="person.id", index=True)
    scope: str  # own: the person's dates; worksites: those of the people there
    worksites: str = ""  # ids, a space between; "" for every one that the owner may see
    language: str
    made_at: datetime
    revoked_at: datetime | None = None


class Errand(SQLModel, table=True):
    """Long work that somebody asked for and need not wait for; a runner does it."""

    id: int | None = Field(default=None, primary_key=True)
    once: str = Field(unique=True)  # the key of the form: sent twice, it is one errand
    kind: str
    about: str  # JSON: what is to be done, by what the kind needs
    language: str  # of whoever asked, and so of what is made
    asked_by: int = Field(foreign_key="person.id", index=True)
    asked_at: datetime
    state: str = Field(default="waiting", index=True)  # waiting, running, done or failed
    tries: int = 0  # how often a runner began it
    alive_at: datetime | None = None  # when its runner last said that it is at it
    step: int = 0  # so much is done
    steps: int = 0  # of so much; 0 where nobody knows yet
    said: str = ""  # JSON: what came of it; of a failed one the sentence
    ended_at: datetime | None = None
    file_name: str = ""  # "" where no file is made
    file_type: str = ""
    file_size: int = 0


class ErrandPart(SQLModel, table=True):
    """A piece of the file that an errand made: any machine can hand it out."""

    __tablename__ = "errand_part"
    errand_id: int = Field(foreign_key="errand.id", primary_key=True)
    place: int = Field(primary_key=True)
    data: bytes


class ImportRun(SQLModel, table=True):
    """A table of people, or of what was recorded elsewhere, that somebody brings in."""

    __tablename__ = "import_run"
    id: int | None = Field(default=None, primary_key=True)
    once: str = Field(unique=True)  # the key of the form: sent twice, it is one
    kind: str  # roster, training, fit-tests or medical
    file_name: str
    sha256: str = Field(index=True)  # of the file
    size: int  # bytes
    brought_by: int = Field(foreign_key="person.id")
    brought_at: datetime
    state: str = "read"  # read, matched, tried, done, undone or given-up
    read: str  # JSON: how the file is read, its columns, some of their values
    matched: str = ""  # JSON: the column of each field, and what else was chosen
    turn: int = 0  # how often its lines were tried
    tried_at: datetime | None = None
    said: str = ""  # JSON: what came of it
    done_at: datetime | None = None
    done_by: int | None = Field(default=None, foreign_key="person.id")
    undone_at: datetime | None = None
    undone_by: int | None = Field(default=None, foreign_key="person.id")


class ImportPart(SQLModel, table=True):
    """A piece of a file that was brought; it goes once the file is done with."""

    __tablename__ = "import_part"
    run_id: int = Field(foreign_key="import_run.id", primary_key=True)
    place: int = Field(primary_key=True)
    data: bytes


class ImportLine(SQLModel, table=True):
    """One line of a file as it was tried, or somebody whom the file does not hold."""

    __tablename__ = "import_line"
    __table_args__ = (Index("ix_import_line_run", "run_id", "state", "line"),)
    id: int | None = Field(default=None, primary_key=True)
    run_id: int = Field(foreign_key="import_run.id")
    line: int  # its number in the file; 0 of somebody whom the file does not hold
    state: str  # new, changed, same, back, left, doubtful or bad
    doubt: str = ""  # why it is doubtful
    number: str
    name: str
    person_id: int | None = None  # whom it is about, where that is known; not kept from deletion
    decision: str = ""  # of a doubtful one: same, other or out; of one who left: leave
    said: str = ""  # JSON: what was read, what it would change, what is wrong
