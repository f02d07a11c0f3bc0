"""Pictures of a worksite: kept once, described, taken off and never deleted."""

from datetime import timedelta
from hashlib import sha256

import pytest
from sqlalchemy import event
from sqlmodel import select

from tests.conftest import Works
from trainer.lessons.fault import PictureFault
from trainer.lessons.pictures import Picture as Safe
from trainer.services import pictures
from trainer.services.refusal import Refusal
from trainer.store.tables import Picture

SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 3">'
    b'<rect width="2" height="2"/></svg>'
)
LOFT, JOINERY = "Laminating Loft", "Joinery"


def safe(number: int = 0) -> Safe:
    """Return a picture unlike that of another number."""
    return Safe("png", 40, 30, f"picture {number}".encode())


def add(works: Works, what: Safe | None = None, place: str = LOFT, **words: str) -> Picture:
    """Let Tomas keep a picture."""
    words = {"en": "A drum of gel coat.", "es": ""} | words
    with works.store.writing() as db:
        return pictures.add(
            db, works.scribe("Tomas"), works.worksites[place], what or safe(), **words
        )


def end(works: Works, picture: Picture, later: int = 0) -> None:
    """Let Tomas take one off, so many hours later."""
    by = works.scribe("Tomas", works.now + timedelta(hours=later))
    with works.store.writing() as db:
        pictures.end(db, by, db.get(Picture, picture.id))


def shown(works: Works, place: str = LOFT) -> list[int]:
    """Return the numbers of the pictures of a worksite."""
    with works.store.reading() as db:
        return [one.picture.id for one in pictures.of_worksite(db, works.worksites[place])]


def kept(works: Works) -> list[Picture]:
    """Return every row."""
    with works.store.reading() as db:
        return list(db.exec(select(Picture)))


def test_a_picture_is_kept_as_it_was_made_safe(works):
    made = pictures.made_safe(SVG)
    picture = add(works, made, en="  Two \n words ", es="Dos palabras")
    (row,) = kept(works)
    assert (row.id, row.data, row.kind) == (picture.id, made.data, "svg")
    assert row.sha256 == sha256(made.data).hexdigest()
    assert (row.width, row.height) == (4, 3)
    assert (row.description_en, row.description_es) == ("Two words", "Dos palabras")
    assert (row.added_at, row.added_by) == (works.now, works.people["Tomas"].id)


def test_the_same_picture_twice_is_one_row_at_a_worksite(works):
    first = add(works, en="A drum.", es="Un tambor.")
    again = add(works, en="A closed drum.", es="")
    elsewhere = add(works, place=JOINERY)
    assert again.id == first.id != elsewhere.id
    assert len(kept(works)) == 2
    # The language left empty keeps its words.
    assert (again.description_en, again.description_es) == ("A closed drum.", "Un tambor.")


def test_one_taken_off_is_not_shown_but_found_and_comes_back_when_it_is_brought_again(works):
    first, second = add(works, safe(1)), add(works, safe(2))
    assert shown(works) == [second.id, first.id]
    end(works, first)
    end(works, first, later=1)
    assert shown(works) == [second.id]
    with works.store.reading() as db:
        found = pictures.find(db, first.id, [works.worksites[LOFT].id])
    assert found.data == safe(1).data
    assert found.ended_at == works.now  # the first time counts
    assert add(works, safe(1)).id == first.id
    assert shown(works) == [second.id, first.id]


def test_a_picture_is_found_only_from_its_worksite(works):
    picture = add(works)
    with works.store.reading() as db:
        loft, joinery = (works.worksites[place].id for place in (LOFT, JOINERY))
        assert pictures.find(db, picture.id, [loft, joinery]).id == picture.id
        assert pictures.find(db, picture.id, None).id == picture.id
        assert pictures.find(db, picture.id, [joinery]) is None
        assert pictures.find(db, picture.id, []) is None
        assert pictures.find(db, picture.id + 1, None) is None
    assert shown(works, JOINERY) == []


def test_the_list_does_not_read_the_pictures_themselves(works):
    add(works)
    said = []
    with works.store.reading() as db:
        event.listen(db.get_bind(), "before_cursor_execute", lambda *given: said.append(given[2]))
        (listed,) = pictures.of_worksite(db, works.worksites[LOFT])
    assert listed.size == len(safe().data)
    assert said and not any("picture.data," in one for one in said)


def test_a_description_is_asked_for_and_bounded(works):
    for words in ({"en": ""}, {"en": " \n"}):
        with pytest.raises(Refusal, match="at least one language"):
            add(works, **words)
    with pytest.raises(Refusal, match="at most 400 letters"):
        add(works, es="a" * 401)
    assert add(works, en="", es="Un tambor.").description_es == "Un tambor."
    picture = add(works, es="a" * 400)
    with works.store.writing() as db, pytest.raises(Refusal, match="at least one language"):
        pictures.describe(db, db.get(Picture, picture.id), en="", es="")


def test_a_changed_description_is_kept_and_one_language_may_be_emptied(works):
    picture = add(works, en="A drum.", es="Un tambor.")
    with works.store.writing() as db:
        pictures.describe(db, db.get(Picture, picture.id), en="", es="Un tanque.")
    (row,) = kept(works)
    assert (row.description_en, row.description_es) == ("", "Un tanque.")


def test_a_worksite_has_so_many_pictures_and_no_more(works, monkeypatch):
    monkeypatch.setattr(pictures, "MOST_PICTURES", 2)
    first, _ = add(works, safe(1)), add(works, safe(2))
    with pytest.raises(Refusal, match="has 2 pictures"):
        add(works, safe(3))
    add(works, safe(1))  # that one is there already
    add(works, safe(3), place=JOINERY)
    end(works, first)
    add(works, safe(3))
    with pytest.raises(Refusal, match="has 2 pictures"):
        add(works, safe(1))  # taken off, and no place is left for it


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "Choose a file"),
        (b"words", "not a picture"),
        (b"\xff\xd8\xff" + b"0" * 9_000_000, "a photo may have 8 MB, an SVG drawing 1 MB"),
        (b"<!DOCTYPE svg>" + SVG, "DOCTYPE"),
        (SVG.replace(b"rect", b"script"), "<script>"),
        (SVG.replace(b"width", b"onload"), "onload"),
        (SVG.replace(b"viewBox", b"class"), "how large"),
        (SVG[:-3], "broken"),
    ],
)
def test_what_cannot_be_used_is_said_in_a_sentence_that_helps(data, sentence):
    with pytest.raises(Refusal) as caught:
        pictures.made_safe(data)
    assert sentence in str(caught.value)


def test_every_fault_has_a_sentence_of_its_own():
    said = {str(pictures._refusal(PictureFault(key))) for key in PictureFault.KEYS}
    assert len(said) == len(PictureFault.KEYS) - 1  # of elements and attributes it is the same
