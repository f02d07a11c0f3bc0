"""Wallet cards: who may wear what until when, and an address that says whether it still holds.

A card shows only respirators that are clear. Of the medical evaluation it says nothing but what
"clear" says. Its code leads to a page that anybody may open: the address is signed, so that
nobody can ask about somebody whose card they do not hold.
"""

import re
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from hashlib import sha256
from urllib.parse import parse_qsl
from zoneinfo import ZoneInfo

import segno
from itsdangerous import BadSignature, Signer
from sqlmodel import Session, select

from trainer import documents
from trainer.services import errands, standing
from trainer.services import paper_words as words
from trainer.services.errands import Made, Progress
from trainer.services.refusal import Refusal
from trainer.services.standing import Stood, Tag
from trainer.store import board, people
from trainer.store.board import Filter
from trainer.store.engine import Store
from trainer.store.tables import Errand, Installation, Person, Respirator, Worksite
from trainer.words import Words

OF_EACH = "own"
"""Stands for the language of each person."""

ON_ONE = 2
"""Respirators on one card; of more, a further card."""

KEY = "card key"
"""The name of the row of Installation that holds the key which signs the addresses of cards.

It lies in the database, since a runner on another machine makes cards as well."""

BORDER = 1
"""Light squares about a code; the card's own white is beside them."""

_DARK = re.compile(b"\x01+")
_SAID = re.compile(r"[0-9]{1,12}(-[0-9]{1,12}){1,2}")

TITLE = Words("Wallet cards", "Tarjetas de bolsillo")
HEAD = Words("Respirator card", "Tarjeta de respirador")
NUMBER = Words("No. {number}", "N.º {number}")
UNTIL = Words("Clear until {day}", "Puede usarlo hasta el {day}")
NO_END = Words("Clear; no last day is set", "Puede usarlo; sin fecha de término")
NO_DAY = Words("Clear when printed", "Podía usarlo al imprimirse")
SCAN = Words("Scan: does this still hold?", "Escanee: ¿sigue vigente?")
ASK = Words("Ask: {who}", "Pregunte a: {who}")
ASK_NOBODY = Words("Ask your trainer or supervisor", "Pregunte a su capacitador o supervisor")
PART = Words("card {n} of {total}", "tarjeta {n} de {total}")
WITHOUT = Words("Who gets no card, and why", "Quién no recibe tarjeta, y por qué")
WITHOUT_HEADS = (
    Words("Number", "Número"), Words("Name", "Nombre"), Words("Missing today", "Falta hoy"),
)  # fmt: skip
NO_RESPIRATOR = Words("No respirator is given yet.", "Aún no se le dio un respirador.")
HAS_LEFT = Words("Has left.", "Ya no está.")
MISSING = Words("{respirator}: {steps}.", "{respirator}: {steps}.")


@dataclass(frozen=True)
class Around:
    """What a card takes from the installation.

    root      what stands before /card/ in the address of the code
    zone      of people without a worksite
    language  of the cards; OF_EACH: of each person
    medical   may whoever prints them know when a determination ends? Everybody may know their own
    """

    root: str
    organisation: str
    zone: ZoneInfo
    language: str = OF_EACH
    medical: bool = True


@dataclass(frozen=True)
class OnCard:
    """What one card is about, and its tags that are clear."""

    person: Person
    worksite: Worksite | None
    tags: tuple[Tag, ...]
    place: int = 1
    of: int = 1


@dataclass(frozen=True)
class Held:
    """What the page of a card says: whose it is, and which of its respirators may be worn today."""

    person: Person
    worn: tuple[tuple[Respirator, bool], ...]
    worksite_id: int | None


def key(db: Session) -> str:
    """Return the key that signs cards, made the first time; inside `writing()` where it is not."""
    row = db.get(Installation, KEY)
    if row is None:
        row = Installation(name=KEY, value=secrets.token_hex(32))
        db.add(row)
        db.flush()
    return row.value


def has_key(db: Session) -> bool:
    """Say whether the key is there."""
    return db.get(Installation, KEY) is not None


def cards_of(db: Session, person: Person, now: datetime, zone: ZoneInfo) -> list[OnCard]:
    """Return a person's cards for what is clear today; none where nothing is."""
    return _cards(_today(db, [person], now, zone)[person.id])


def _cards(stood: Stood) -> list[OnCard]:
    person, there = stood.person, _home(stood)
    clear = _clear(stood)
    parts = [tuple(clear[at : at + ON_ONE]) for at in range(0, len(clear), ON_ONE)]
    return [OnCard(person, there, part, at, len(parts)) for at, part in enumerate(parts, start=1)]


def why_none(
    db: Session, person: Person, now: datetime, zone: ZoneInfo, language: str
) -> str:
    """Return in words why a person gets no card."""
    return _why_none(_today(db, [person], now, zone)[person.id], language)


def _why_none(stood: Stood, language: str) -> str:
    if _has_left(stood):
        return HAS_LEFT(language)
    lacking = [
        MISSING.filled(
            respirator=words.held(one, language),
            steps="; ".join(words.STEPS[kind](language) for kind in one.clearance.missing),
        )(language)
        for one in stood.tags
        if one.respirator and not one.clearance.clear
    ]
    return " ".join(lacking) or NO_RESPIRATOR(language)


def address(root: str, key_: str, card: OnCard) -> str:
    """Return the address of a card's page: whose it is, which respirators, and the signature."""
    about = [card.person.id, *(one.respirator.id for one in card.tags)]
    return f"{root}/card/{_signer(key_).sign('-'.join(map(str, about))).decode()}"


def held(db: Session, signed: str, now: datetime, zone: ZoneInfo) -> Held | None:
    """Return what a card's page says; None for an address that was not made here.

    The signature is looked at before anything is read: a wrong one costs next to nothing.
    """
    if len(signed) > 120 or not has_key(db):
        return None
    try:
        said = _signer(key(db)).unsign(signed).decode()
    except BadSignature:
        return None
    if not _SAID.fullmatch(said):
        return None
    person_id, *ids = map(int, said.split("-"))
    person = _goes_on(db, person_id)
    if person is None:
        return None
    stood = _today(db, [person], now, zone)[person.id]
    clear = {one.respirator.id for one in _clear(stood)}
    worksite = _home(stood)
    named = {
        one.id: one
        for one in db.exec(select(Respirator).where(Respirator.id.in_(ids)))
        if one.person_id == person.id
    }
    worn = tuple((named[one], one in clear) for one in ids if one in named)
    return Held(person, worn, worksite.id if worksite else None)


def sheet(
    db: Session,
    cards: Sequence[OnCard],
    around: Around,
    language: str,
    without: Iterable[tuple[str, str, str]] = (),
) -> bytes:
    """Return cards as pages of ten, to print and cut; then who gets none and why.

    language  of the page around the cards
    without   number, name and reason
    """
    key_ = key(db)
    values = documents.printable({
        "language": language,
        "title": TITLE(language),
        "words": {
            "without": WITHOUT(language),
            "heads": [head(language) for head in WITHOUT_HEADS],
        },
        "cards": [_face(one, around, key_) for one in cards],
        "without": [list(row) for row in without],
    })  # fmt: skip
    # A long word may break, so that it stays on the card.
    for card in values["cards"]:
        card["name"] = documents.breakable(card["name"], 16)
        for worn in card["worn"]:
            worn["what"] = documents.breakable(worn["what"])
    values["without"] = [list(map(documents.breakable, row)) for row in values["without"]]
    return documents.pdf("card", values)


def _face(card: OnCard, around: Around, key_: str) -> dict:
    person = card.person
    language = person.language if around.language == OF_EACH else around.language
    worksite = card.worksite
    head = [HEAD(language), around.organisation or (worksite.name if worksite else "")]
    if card.of > 1:
        head.append(PART.filled(n=card.place, total=card.of)(language))
    return {
        "language": language,
        "head": " · ".join(filter(None, head)),
        "name": person.name,
        "number": NUMBER.filled(number=person.number)(language),
        "worn": [_worn(one, language, around.medical) for one in card.tags],
        "ask": _ask(worksite, language),
        "scan": SCAN(language),
        "code": code(address(around.root, key_, card)),
    }


def _worn(tag: Tag, language: str, medical: bool) -> dict[str, str]:
    last = words.until(tag, medical)
    no_day = NO_END if words.until(tag) is None else NO_DAY
    rests = [
        f"{words.STEPS[step.kind](language)} {words.day(step.on, language)}"
        for step in tag.clearance.steps
        if step.kind != "medical"
    ]
    return {
        "what": words.held(tag, language),
        "until": UNTIL.filled(day=words.day(last, language))(language) if last
        else no_day(language),
        "rests": " · ".join(rests),
    }


def _ask(worksite, language: str) -> str:
    if worksite is None or not worksite.ask_name:
        return ASK_NOBODY(language)
    parts = (worksite.ask_name, worksite.ask_telephone, worksite.ask_place)
    return ASK.filled(who=", ".join(filter(None, parts)))(language)


def code(text: str) -> str:
    """Return a QR code as a drawing."""
    # Any of the eight patterns can be read; trying them all would take longer than the card.
    made = segno.make(text, error="m", micro=False, mask=2, boost_error=False)
    side = len(made.matrix) + 2 * BORDER
    lines = "".join(
        f"M{run.start() + BORDER} {at + BORDER}.5h{run.end() - run.start()}"
        for at, row in enumerate(made.matrix)
        for run in _DARK.finditer(bytes(row))
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}">'
        f'<path stroke="#000" d="{lines}"/></svg>'
    )


def _today(
    db: Session, persons: Sequence[Person], now: datetime, zone: ZoneInfo
) -> dict[int, Stood]:
    """Return by id where people stand on the day it is at their worksite."""
    stays = people.stays(db, [person.id for person in persons], past=False)
    by_day: dict[date, list[Person]] = {}
    for person in persons:
        home = next(iter(stays.get(person.id, ())), None)
        there = ZoneInfo(home.worksite.time_zone) if home else zone
        by_day.setdefault(now.astimezone(there).date(), []).append(person)
    found: dict[int, Stood] = {}
    for day, some in by_day.items():
        found |= standing.stood_on(db, some, day, at=now, stays=stays)
    return found


def _goes_on(db: Session, person_id: int) -> Person | None:
    """Return a person by id; of a record that was merged, the one that goes on."""
    person = db.get(Person, person_id)
    return people.by_number(db, person.number) if person else None


def _home(stood: Stood) -> Worksite | None:
    return stood.there[0].worksite if stood.there else None


def _has_left(stood: Stood) -> bool:
    return stood.person.left_on is not None or stood.left_on is not None


def _clear(stood: Stood) -> list[Tag]:
    """Return the tags that are clear; none of whoever has left."""
    if _has_left(stood):
        return []
    return [one for one in stood.tags if one.respirator and one.clearance.clear]


def _signer(key_: str) -> Signer:
    return Signer(key_, salt="wallet card", key_derivation="hmac", digest_method=sha256)


# Many at once


def who(
    db: Session, asked: Filter, today: date, soon_days: int, *, medical: bool
) -> list[Person]:
    """Return the people whose tags a filter of the tag board finds, by name.

    medical     may whoever asks know when determinations end? Else nobody is found by that
    """
    ids = board.person_ids(asked, today, soon_days, None, medical=medical)
    return list(db.exec(select(Person).where(Person.id.in_(ids)).order_by(Person.search_key)))


@errands.does("cards")
def make(store: Store, errand: Errand, progress: Progress) -> Made:
    """Make the cards of everybody that a filter of the tag board finds."""
    asked = errands.about(errand)
    zone, language = ZoneInfo(asked["zone"]), errand.language
    now = errand.asked_at
    cards: list[OnCard] = []
    without: list[tuple[str, str, str]] = []
    with store.reading() as db:
        if not has_key(db):
            raise Refusal("Ask for the cards again.")
        medical = people.MEDICAL in errands.rights(db, errand)
        around = Around(
            asked["root"], asked["organisation"], zone, asked["language"], medical
        )
        found = who(db, Filter.read(dict(parse_qsl(asked["filter"]))), now.astimezone(zone).date(),
                    asked["soon_days"], medical=medical)  # fmt: skip
        for at in range(0, len(found), standing.PERSONS_AT_ONCE):
            some = found[at : at + standing.PERSONS_AT_ONCE]
            stood = _today(db, some, now, zone)
            for person in some:
                mine = _cards(stood[person.id])
                cards += mine
                if not mine:
                    reason = _why_none(stood[person.id], language)
                    without.append((person.number, person.name, reason))
            progress(at + len(some), len(found) + 1)
        if not found:
            raise Refusal("Nobody here is like that.")
        made = sheet(db, cards, around, language, without)
    said = {"cards": len(cards), "without": len(without)}
    return Made(said, f"{TITLE(language).lower()}.pdf", "application/pdf", [made])
