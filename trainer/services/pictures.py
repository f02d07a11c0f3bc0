"""Pictures of a worksite: photos and drawings that its trainers show in worksite lessons."""

from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256

from sqlalchemy.orm import defer
from sqlmodel import Session, func, select

from trainer.lessons import pictures
from trainer.lessons.fault import PictureFault
from trainer.services.refusal import Refusal
from trainer.services.scribe import Scribe
from trainer.store import people, site_lessons
from trainer.store.tables import Person, Picture, Worksite
from trainer.words import tidy

MOST_PICTURES = 200
"""Pictures of a worksite that are shown at the same time (our own choice, no source)."""

DESCRIPTION_LETTERS = 400

_MEGABYTE = 1024 * 1024

TOO_LARGE = Refusal(
    "The file is too large: a photo may have %(photo)s MB, an SVG drawing %(drawing)s MB. "
    "Save it smaller and choose it again.",
    photo=pictures.MOST_BYTES // _MEGABYTE,
    drawing=pictures.MOST_SVG_BYTES // _MEGABYTE,
)


@dataclass(frozen=True)
class Listed:
    """A picture of a worksite and how many bytes it takes; the bytes themselves are not read."""

    picture: Picture
    size: int


def made_safe(data: bytes) -> pictures.Picture:
    """Return a picture that may be kept and shown, from the bytes of an uploaded file.

    It takes a second or two, so it is done before `writing()` begins.
    Errors: Refusal that says what is wrong with the file, and how to put it right.
    """
    try:
        return pictures.make_safe(data)
    except PictureFault as fault:
        raise _refusal(fault) from fault


def add(
    db: Session, by: Scribe, worksite: Worksite, safe: pictures.Picture, *, en: str, es: str
) -> Picture:
    """Keep a picture of a worksite and return its row.

    One that is there already, or was taken off, comes back with the new description.
    Errors: Refusal without a description, with one too long, or for one picture too many.
    """
    en, es = _described(en, es)
    digest = sha256(safe.data).hexdigest()
    query = select(Picture).where(Picture.worksite_id == worksite.id, Picture.sha256 == digest)
    picture = db.exec(query).first()
    shown_already = picture is not None and picture.ended_at is None
    if not shown_already and _count(db, worksite) >= MOST_PICTURES:
        raise Refusal(
            "This worksite has %(most)s pictures, as many as it can. "
            "Take off one that no lesson needs.",
            most=MOST_PICTURES,
        )
    if picture is None:
        picture = Picture(
            worksite_id=worksite.id, sha256=digest, kind=safe.kind, width=safe.width,
            height=safe.height, data=safe.data, added_at=by.now, added_by=by.person.id,
        )  # fmt: skip
    picture.ended_at = None
    # A language left empty takes nothing away from a picture that has words in it.
    picture.description_en = en or picture.description_en
    picture.description_es = es or picture.description_es
    db.add(picture)
    db.flush()
    return picture


def of_worksite(db: Session, worksite: Worksite) -> list[Listed]:
    """Return the pictures of a worksite that were not taken off, newest first."""
    query = (
        select(Picture, func.length(Picture.data))
        .where(Picture.worksite_id == worksite.id, Picture.ended_at.is_(None))
        .order_by(Picture.id.desc())
        .options(defer(Picture.data))
    )
    return [Listed(*row) for row in db.exec(query)]


def figures(db: Session, worksite: Worksite) -> dict[str, dict[str, str]]:
    """Return the pictures that lessons of a worksite may show: number -> language -> figure.

    A language without a description has none: nobody is shown a picture that others only hear of.
    """
    return {
        str(one.picture.id): {
            language: pictures.figure(
                f"/pictures/{one.picture.id}", one.picture.width, one.picture.height, said
            )
            for language, said in (
                ("en", one.picture.description_en), ("es", one.picture.description_es)
            )
            if said
        }
        for one in of_worksite(db, worksite)
    }  # fmt: skip


def find(db: Session, number: int, worksites: Iterable[int] | None) -> Picture | None:
    """Return a picture with its bytes; one that was taken off too, since lessons may show it.

    worksites   ids of those whose pictures may be seen; None: every one
    """
    query = select(Picture).where(Picture.id == number)
    if worksites is not None:
        query = query.where(Picture.worksite_id.in_(list(worksites)))
    return db.exec(query).first()


def seen_by(db: Session, person: Person) -> list[int]:
    """Return the ids of the worksites whose pictures a person may see.

    Their own, and those whose lessons were assigned to them.
    """
    given = (site_lessons.by_slug(db, one.lesson) for one in people.assignments(db, person.id))
    mine = [one.id for one in people.worksites(db, person.id)]
    return [*mine, *(one.worksite_id for one in given if one)]


def describe(db: Session, picture: Picture, *, en: str, es: str) -> None:
    """Keep a changed description.

    Errors: Refusal without any, or with one too long.
    """
    picture.description_en, picture.description_es = _described(en, es)
    db.add(picture)
    db.flush()


def end(db: Session, by: Scribe, picture: Picture) -> None:
    """Take a picture off: lessons that show it still do, new ones cannot; the first time counts."""
    picture.ended_at = picture.ended_at or by.now
    db.add(picture)
    db.flush()


def _count(db: Session, worksite: Worksite) -> int:
    query = select(func.count()).where(
        Picture.worksite_id == worksite.id, Picture.ended_at.is_(None)
    )
    return db.exec(query).one()


def _described(en: str, es: str) -> tuple[str, str]:
    en, es = tidy(en), tidy(es)
    if not en and not es:
        raise Refusal(
            "Say in at least one language what the picture shows: some people do not see it."
        )
    if max(len(en), len(es)) > DESCRIPTION_LETTERS:
        raise Refusal(
            "A description has at most %(most)s letters. Say only what matters in the picture.",
            most=DESCRIPTION_LETTERS,
        )
    return en, es


def _refusal(fault: PictureFault) -> Refusal:
    """Return the sentence about a file that cannot be used."""
    match fault.key:
        case "empty":
            return Refusal("Choose a file with a photo or drawing.")
        case "kind":
            return Refusal(
                "This file is not a picture that can be used. Choose a PNG, JPEG, WebP or SVG "
                "file; a telephone can save its photos as JPEG."
            )
        case "bytes":
            return TOO_LARGE
        case "pixels":
            return Refusal(
                "The picture has too many pixels. Save it with a longest side of %(side)s pixels, "
                "which is all that a page shows, and choose it again.",
                side=pictures.LONGEST_SIDE,
            )
        case "doctype":
            return Refusal(
                "The drawing begins with a DOCTYPE, which could hide something. Save it as plain "
                "SVG without one, or as PNG, and choose it again."
            )
        case "parts":
            return Refusal(
                "The drawing has too many parts. Make it simpler, or save it as PNG, and choose "
                "it again."
            )
        case "size":
            return Refusal(
                "The drawing does not say how large it is. Save it with a width and a height, or "
                "as PNG, and choose it again."
            )
        case "element" | "attribute":
            return Refusal(
                "The drawing holds something that may not be in one: %(what)s. Take it out, or "
                "save the drawing as PNG, and choose it again.",
                what=fault.what,
            )
        case _:
            return Refusal(
                "The file is broken and cannot be read to its end. Open it where it comes from, "
                "save it again and choose the new file."
            )
