"""Writing a worksite's lesson: drafts that lose nothing, versions that stay as they were.

Pages save by themselves every few seconds. A saving says which revision the page was opened with;
where another person saved in between, the text is kept beside the draft, never over it, and both
are told.
"""

from dataclasses import dataclass
from datetime import date
from difflib import SequenceMatcher

from sqlmodel import Session, or_, select

from trainer.config import LANGUAGES
from trainer.lessons import flaws, matters, written
from trainer.lessons.flaws import Flaw
from trainer.lessons.written import Text
from trainer.services import (
    assigning,
    curriculum,
    learning,
    pictures,
    recording,
    site_blocks,
    site_questions,
    standing,
)
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import assignments, people, site_lessons
from trainer.store.tables import (
    PaperSitting,
    Person,
    SiteDraft,
    SiteDraftAside,
    SiteLesson,
    SiteLessonVersion,
    Sitting,
    Worksite,
)
from trainer.words import Words, tidy

FEWEST_QUESTIONS = 3
"""Fewer questions show nothing of what was understood (our own choice, no source)."""

_FEW_QUESTIONS = Words(
    "Write at least 3 questions, one of them must-know.",
    "Escriba al menos 3 preguntas, una de ellas sobre algo que se debe saber.",
)
_NOTHING_SAID = Words(
    "The worksite has nothing entered for “{name}”: its people would read just that.",
    "El sitio de trabajo no tiene nada anotado para «{name}»: su gente leería solo eso.",
)
_EMPTY = Words(
    "The text in {language} is empty, so it is not published.",
    "El texto en {language} está vacío, así que no se publica.",
)
_TAUGHT_BEFORE = Words(
    "The version before was also in {language}, and this one would not be.",
    "La versión anterior también estaba en {language}, y esta no lo estaría.",
)
_LEFT_BEHIND = Words(
    "The other language was changed since the last version, and {language} was not.",
    "El otro idioma cambió desde la última versión, y el {language} no.",
)
_IN_QUESTION = Words("Question {n}: {fault}", "Pregunta {n}: {fault}")
_TITLE = Words(
    "{place}: our air and our respirators", "{place}: nuestro aire y nuestros respiradores"
)
_SUMMARY = Words(
    "You can say what is in the air here, what you wear against it, and what to do when it fails.",
    "Usted puede decir qué hay en el aire aquí, qué usa contra eso y qué hacer cuando falla.",
)


@dataclass(frozen=True)
class Saved:
    """What became of a saving.

    draft   as it is now
    aside   where the text was kept instead, because another one was saved in between
    beside  texts of others that wait beside the draft
    late    whether it was not kept, because a newer one of the same page was
    """

    draft: SiteDraft
    aside: SiteDraftAside | None = None
    beside: tuple[SiteDraftAside, ...] = ()
    late: bool = False


@dataclass(frozen=True)
class Change:
    """A line of a text that stayed, was taken out, or was put in: kind "same", "out" or "in"."""

    kind: str
    text: str


def own(db: Session, worksite_id: int, lesson_id: int) -> SiteLesson | None:
    """Return a lesson if this worksite wrote it."""
    lesson = db.get(SiteLesson, lesson_id)
    return lesson if lesson and lesson.worksite_id == worksite_id else None


def begin(db: Session, by: Scribe, worksite: Worksite, language: str) -> SiteLesson:
    """Begin a lesson of a worksite, with the starting text in a language.

    One that the same person began there, and nobody has touched since, comes back: a second click.
    """
    untouched = _untouched(db, by, worksite, language)
    if untouched:
        return untouched
    lesson = SiteLesson(worksite_id=worksite.id, begun_at=by.now, begun_by=by.person.id)
    db.add(lesson)
    db.flush()
    begin_language(db, by, lesson, language)
    return lesson


def _untouched(db: Session, by: Scribe, worksite: Worksite, language: str) -> SiteLesson | None:
    for one in site_lessons.of_worksite(db, worksite.id):
        drafts = site_lessons.drafts(db, one.id)
        if (
            one.begun_by == by.person.id
            and [*drafts] == [language]
            and drafts[language].revision == 1
            and not site_lessons.questions(db, one.id)
        ):
            return one
    return None


def begin_language(db: Session, by: Scribe, lesson: SiteLesson, language: str) -> SiteDraft:
    """Lay the starting text in a language; where one is there already, it stays."""
    if language not in LANGUAGES:
        raise Refusal("Choose one of these.")
    there = db.get(SiteDraft, (lesson.id, language))
    if there:
        return there
    place = db.get(Worksite, lesson.worksite_id).name
    draft = SiteDraft(
        lesson_id=lesson.id,
        language=language,
        title=_TITLE(language).replace("{place}", place),
        summary=_SUMMARY(language),
        text=matters.starting_text(language),
        revision=1,
        saved_at=by.now,
        saved_by=by.person.id,
    )
    db.add(draft)
    db.flush()
    return draft


def save(
    db: Session,
    by: Scribe,
    lesson: SiteLesson,
    language: str,
    text: Text,
    *,
    since: int,
    page: str,
    turn: int,
) -> Saved:
    """Keep what a page sends: in the draft, or beside it where another one was saved since.

    since   revision of the draft that the page began from
    page    the open page's own key; "" is no page's, so it goes on from nothing
    turn    which of the page's savings this is, so that one that comes late undoes no newer one;
            0 from a page without script
    Errors: Refusal for a language that was not begun, or a text that is too long.
    """
    draft = db.get(SiteDraft, (lesson.id, language))
    if draft is None:
        raise Refusal("Begin this language first.")
    clean = Text(
        tidy(text.title)[:120], tidy(text.summary)[:300],
        # A form without script sends two letters for the end of a line, and a script one.
        text.markdown.replace("\r\n", "\n").replace("\r", "\n").replace("\0", ""),
    )  # fmt: skip
    if len(clean.markdown) > written.MOST_LETTERS:
        raise Refusal(
            "The text is longer than %(most)s letters. Cut it into two lessons.",
            most=written.MOST_LETTERS,
        )
    if written.too_long(clean.markdown):
        raise Refusal(
            "The text inserts more than %(most)s things. Cut it into two lessons.",
            most=written.MOST_INSERTED,
        )
    own = bool(page) and draft.page == page
    late = own and 0 < turn <= draft.turn
    if late or text_of(draft) == clean:
        return Saved(draft, beside=_beside(db, draft, page), late=text_of(draft) != clean)
    if since != draft.revision and not own:
        row = _keep_aside(db, by, draft, clean, page, turn)
        return Saved(draft, aside=row, late=text_of(row) != clean)
    _put(draft, by, clean, page, turn)
    db.add(draft)
    db.flush()
    return Saved(draft, beside=_beside(db, draft, page))


def settle(db: Session, by: Scribe, aside: SiteDraftAside, put: bool) -> SiteDraft:
    """Deal with a text that stands beside the draft: put it in the draft's place, or leave it.

    Nothing is lost by it: what was in the draft then stands beside it in its turn.
    """
    draft = db.get(SiteDraft, (aside.lesson_id, aside.language))
    if aside.dealt_with_at is None:
        mine = text_of(aside)
        if put and mine != text_of(draft):
            was, author = text_of(draft), db.get(Person, draft.saved_by)
            beside = _keep_aside(
                db, Scribe(author, by.now, by.zone), draft, was, draft.page, draft.turn
            )
            _put(draft, by, mine, aside.page, aside.turn)
            beside.kept_at = by.now
            db.add_all([draft, beside])
        aside.dealt_with_at = by.now
        db.add(aside)
        db.flush()
    return draft


def texts(db: Session, lesson: SiteLesson) -> dict[str, Text]:
    """Return the drafts that hold a text, by language."""
    drafts = site_lessons.drafts(db, lesson.id)
    return {
        language: text_of(drafts[language])
        for language in LANGUAGES
        if language in drafts and drafts[language].text.strip()
    }


def written_in(db: Session, lesson: SiteLesson) -> tuple[str, ...]:
    """Return the languages that a lesson has a text in."""
    return tuple(texts(db, lesson))


def sections(db: Session, lesson: SiteLesson) -> list[tuple[str, dict[str, str]]]:
    """Return the sections of a lesson as it is being written: id, and title by language."""
    found: dict[str, dict[str, str]] = {}
    for language, text in texts(db, lesson).items():
        for section in written.read(text.markdown):
            found.setdefault(section.id, {})[language] = section.title
    return list(found.items())


def publish(
    db: Session,
    by: Scribe,
    lesson: SiteLesson,
    *,
    seen: str | None = None,
    retrain: bool = False,
    reason: str = "",
    due: date | None = None,
    why: str = "",
) -> SiteLessonVersion:
    """Publish the drafts as the version that is taught from now on.

    seen        `as_it_stands` when the page was opened, so that nobody publishes what another one
                has just written; None: whatever stands there
    retrain     ask those who had an older version to do it again, for `reason`, by `due`
    why         needed where an older version is replaced and nobody is asked to
    Published a second time with nothing changed, the version that is there comes back. Sections
    that changed are unread again for whoever is in the middle of the lesson.
    Errors: Refusal while flaws stop it, texts wait beside the drafts, something was changed since
    it was seen, the reason is missing, or the lesson was taken off.
    """
    if lesson.ended_at:
        raise Refusal("This lesson was taken off. Begin a new one to teach it again.")
    last = site_lessons.newest(db, lesson.id)
    content, version = _content(db, lesson)
    if last and last.content == content:
        return last
    if seen is not None and seen != version:
        raise Refusal(
            "The lesson was changed after you opened this page. Look at it again, then publish."
        )
    if any(flaw.stops for flaw in look_over(db, lesson)):
        raise Refusal("Put right what is listed before you publish.")
    if site_lessons.asides(db, lesson.id):
        raise Refusal("Two texts stand beside each other. Settle first which one counts.")
    why = " ".join(why.split())[:300]
    if last and not retrain and not why:
        raise Refusal("Say in a few words why nobody has to do it again.", field="why")
    if last and retrain and reason not in standing.FOR_CAUSE:
        # As first or yearly training it is done already, by those who had the old one.
        raise Refusal("Choose the reason for this training.", field="reason")
    made = SiteLessonVersion(
        lesson_id=lesson.id,
        ordinal=last.ordinal + 1 if last else 1,
        version=version,
        content=content,
        retrain=bool(last) and retrain,
        why=why if last else "",
        published_at=by.now,
        published_by=by.person.id,
    )
    db.add(made)
    db.flush()
    if last:
        learning.read_anew(db, site_lessons.slug_of(lesson.id), _changed_sections(last, made))
    if made.retrain:
        slug = site_lessons.slug_of(lesson.id)
        for person in had(db, lesson):
            assigning.assign(db, by, person, [slug], due, reason)
    return made


def as_it_stands(db: Session, lesson: SiteLesson) -> str:
    """Return what changes with every change of what would be published."""
    return _content(db, lesson)[1]


def _content(db: Session, lesson: SiteLesson) -> tuple[str, str]:
    there = texts(db, lesson)
    return curriculum.content(there, questions(db, lesson), inserted(db, lesson, there))


def _changed_sections(old: SiteLessonVersion, new: SiteLessonVersion) -> set[str]:
    """Return the sections that a version has in other words, or no longer, in any language."""
    before, after = curriculum.texts_of(old), curriculum.texts_of(new)
    return {
        id_
        for language in before
        for id_, said in _said_in(before[language]).items()
        if language in after and _said_in(after[language]).get(id_) != said
    }


def _said_in(text: Text) -> dict[str, tuple]:
    """Return by section what it says, wherever in the text it stands."""
    return {
        section.id: (section.title, *((chunk.kind, chunk.text) for chunk in section.chunks))
        for section in written.read(text.markdown)
    }


def had(db: Session, lesson: SiteLesson) -> list[Person]:
    """Return who of the worksite's people had a version of its lesson, by name.

    They passed it, or have its questions before them.
    """
    withdrawn = select(PaperSitting.sitting_id).where(PaperSitting.withdrawn_at.is_not(None))
    sat = select(Sitting.person_id).where(
        Sitting.lesson == site_lessons.slug_of(lesson.id),
        or_(Sitting.passed.is_(True), Sitting.closed_at.is_(None)),
        Sitting.id.not_in(withdrawn),
    )
    ids = set(db.exec(sat))
    return [one for one in people.at_worksite(db, lesson.worksite_id) if one.id in ids]


def look_over(db: Session, lesson: SiteLesson) -> list[Flaw]:
    """Return what is wrong with a lesson as it is being written: its texts and its questions."""
    there = texts(db, lesson)
    rows = site_questions.of_lesson(db, lesson.id)
    may_insert = around(db, lesson)
    found = flaws.of_texts(there, may_insert)
    found += _nothing_said(there, may_insert)
    found += _of_languages(db, lesson, there)
    must = [one for one in questions(db, lesson) if one.get("must_know")]
    if len(rows) < FEWEST_QUESTIONS or not must:
        found.append(Flaw("", 0, _FEW_QUESTIONS))
    for row, faults in site_questions.faults(rows, tuple(there), sections(db, lesson)):
        place = rows.index(row) + 1
        found += [Flaw("", 0, _IN_QUESTION.filled(n=place, fault=fault)) for fault in faults]
    return found


def _nothing_said(there: dict[str, Text], may_insert: written.Around) -> list[Flaw]:
    """Point at what the worksite is to say in the text and has nothing to say about yet."""
    return [
        Flaw(language, chunk.line, _NOTHING_SAID.filled(name=chunk.text), stops=False)
        for language, text in there.items()
        for section in written.read(text.markdown)
        for chunk in section.chunks
        if chunk.kind == "site"
        and site_blocks.says_nothing(may_insert.site.get(chunk.text, {}).get(language, ""))
    ]


def _of_languages(db: Session, lesson: SiteLesson, there: dict[str, Text]) -> list[Flaw]:
    """Point at a language that was begun and is empty, was taught before, or was left behind."""
    last = site_lessons.newest(db, lesson.id)
    before = curriculum.texts_of(last) if last else {}
    changed = [one for one in there if one in before and there[one] != before[one]]
    found = []
    for language in LANGUAGES:
        named = flaws.NAMED[language]
        if language in before and language not in there:
            found.append(Flaw(language, 0, _TAUGHT_BEFORE.filled(language=named), stops=False))
        elif language in site_lessons.drafts(db, lesson.id) and language not in there:
            found.append(Flaw(language, 0, _EMPTY.filled(language=named), stops=False))
        elif language in there and there[language] == before.get(language) and changed:
            found.append(Flaw(language, 0, _LEFT_BEHIND.filled(language=named), stops=False))
    return found


def around(db: Session, lesson: SiteLesson) -> written.Around:
    """Return what the texts of a lesson may insert."""
    worksite = db.get(Worksite, lesson.worksite_id)
    return curriculum.around(db, worksite, pictures.figures(db, worksite))


def questions(db: Session, lesson: SiteLesson) -> list[dict]:
    """Return the questions of a lesson, as they are being written."""
    return [site_questions.content(one) for one in site_questions.of_lesson(db, lesson.id)]


def inserted(
    db: Session, lesson: SiteLesson, there: dict[str, Text]
) -> dict[str, dict[str, str]]:
    """Return the pictures that the texts insert: number -> language -> figure."""
    named = {name for one in there.values() for section in written.read(one.markdown)
             for name in section.names("picture")}
    known = around(db, lesson).pictures
    return {name: dict(known[name]) for name in sorted(named) if name in known}


def teach_everyone(db: Session, by: Scribe, lesson: SiteLesson, everyone: bool) -> None:
    """Say whether a lesson belongs to the course of everybody at its worksite."""
    lesson.for_everyone = everyone
    db.add(lesson)
    db.flush()
    _look_again(db, by, lesson)


def end(db: Session, by: Scribe, lesson: SiteLesson) -> None:
    """Take a lesson off the worksite, and its standing assignments; what was taught is kept."""
    lesson.ended_at = lesson.ended_at or by.now
    db.add(lesson)
    db.flush()
    for row in assignments.standing_at(db, [lesson.worksite_id]):
        if row.lesson == site_lessons.slug_of(lesson.id):
            assigning.end_standing(db, by, row)
    _look_again(db, by, lesson)


def _look_again(db: Session, by: Scribe, lesson: SiteLesson) -> None:
    """Write anew what depends on the course of a worksite's people.

    Training is complete now for whom this lesson alone was missing; a tag may be clear no longer.
    """
    for person in people.at_worksite(db, lesson.worksite_id):
        if recording.complete_training(db, by, person) is None:
            standing.refresh(db, person, standing.today(db, person, by.now, by.zone))


def differences(old: str, new: str) -> list[Change]:
    """Return two texts as one list of lines, with what was taken out and what was put in."""
    before, after = old.splitlines(), new.splitlines()
    found = []
    for kind, a, b, c, d in SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        if kind == "equal":
            found += [Change("same", line) for line in before[a:b]]
        else:
            found += [Change("out", line) for line in before[a:b]]
            found += [Change("in", line) for line in after[c:d]]
    return found


def whole(text: Text | SiteDraft | SiteDraftAside) -> str:
    """Return title, sentence and text as one, to be compared."""
    said = text.markdown if isinstance(text, Text) else text.text
    return f"{text.title}\n{text.summary}\n{said}"


def in_lines(asked: list[dict], language: str) -> str:
    """Return the questions of a version in one language as lines, to be compared."""
    lines = []
    for one in asked:
        must = " !" if one.get("must_know") else ""
        lines.append(f"{one['ask'].get(language, '')}{must}")
        for option in one["option"]:
            said = [option.get(name, {}).get(language, "") for name in ("text", "to", "why")]
            lines.append(" – ".join(["✓" if option.get("right") else "·", *filter(None, said)]))
    return "\n".join(lines)


def text_of(row: SiteDraft | SiteDraftAside) -> Text:
    """Return what a draft, or a text beside one, says."""
    return Text(row.title, row.summary, row.text)


def _put(draft: SiteDraft, by: Scribe, text: Text, page: str, turn: int) -> None:
    draft.title, draft.summary, draft.text = text.title, text.summary, text.markdown
    draft.revision += 1
    draft.page, draft.turn = page, turn
    draft.saved_at, draft.saved_by = by.now, by.person.id


def _beside(db: Session, draft: SiteDraft, page: str) -> tuple[SiteDraftAside, ...]:
    waiting = site_lessons.asides(db, draft.lesson_id)
    return tuple(
        one for one in waiting if one.language == draft.language and one.page != page
    )


def _keep_aside(
    db: Session, by: Scribe, draft: SiteDraft, text: Text, page: str, turn: int
) -> SiteDraftAside:
    query = select(SiteDraftAside).where(
        SiteDraftAside.lesson_id == draft.lesson_id,
        SiteDraftAside.language == draft.language,
        SiteDraftAside.page == page,
    )
    row = db.exec(query).first()
    if row is None:
        row = SiteDraftAside(
            lesson_id=draft.lesson_id, language=draft.language, page=page,
            kept_at=by.now, kept_by=by.person.id,
        )  # fmt: skip
    elif turn < row.turn:
        return row  # a late one; what is there is newer
    row.title, row.summary, row.text = text.title, text.summary, text.markdown
    row.turn, row.kept_at, row.kept_by, row.dealt_with_at = turn, by.now, by.person.id, None
    db.add(row)
    db.flush()
    return row
