"""What could not be sent comes back to whoever typed it, and to nobody else."""

import errno
from datetime import timedelta
from io import BytesIO
from urllib.parse import urlencode, urlsplit

import pytest
from sqlmodel import select

from tests.conftest import HALF_MASK, PASSPHRASE, Browser, right_answer
from tests.site_lessons import begun as lesson_begun
from trainer import lessons
from trainer.services import asking, describing, learning, observing, recording, sitting, unsent
from trainer.store import site_lessons
from trainer.store.engine import Store
from trainer.store.tables import (
    Entry,
    LessonAnswer,
    Respirator,
    Sample,
    SiteLesson,
    Sitting,
    SittingItem,
    Unsent,
    WebSession,
    WorkerQuestion,
)

FORMS = {"choice", "choices", "order", "match", "number", "pick"}
PARTIAL = {"HX-Request": "true", "HX-Request-Type": "partial"}


def run_out(store: Store) -> None:
    """Let every session lie idle for longer than any may."""
    with store.writing() as db:
        for row in db.exec(select(WebSession)):
            row.seen_at -= timedelta(hours=1)
            db.add(row)


def kept(store: Store) -> list[Unsent]:
    """Return what is kept of forms that were not sent."""
    with store.reading() as db:
        return list(db.exec(select(Unsent)))


def sign_in_again(browser: Browser, number: str) -> None:
    """Sign in on the page that a browser was sent to, as people do."""
    where = browser.soup.select_one("main [name=next]")["value"]
    browser.post(
        "/sign-in", number=number, passphrase=PASSPHRASE, next=where, **{"with": "passphrase"}
    )


def answered(browser: Browser, action: str) -> dict[str, list[str]]:
    """Return what a form of the page holds, as a browser would send it."""
    form = browser.soup.select_one(f"main form[action='{action}']") or next(
        one for one in browser.soup.select("main form:not([action])")
    )
    held: dict[str, list[str]] = {}
    for one in form.select("input, textarea, select"):
        kind = one.get("type", one.name)
        if kind in ("radio", "checkbox") and not one.has_attr("checked"):
            continue
        if one.name == "select":
            chosen = one.select_one("option[selected]")
            value = chosen["value"] if chosen else one.select_one("option")["value"]
        else:
            value = one.text.removeprefix("\n") if kind == "textarea" else one.get("value", "")
        held.setdefault(one.get("name", ""), []).append(value)
    return held


@pytest.fixture
def items(works) -> dict[str, tuple[int, sitting.Shown]]:
    """Begin sittings for Lee until every form of an item was drawn; return one of each form."""
    found: dict[str, tuple[int, sitting.Shown]] = {}
    for slug in [one.slug for one in lessons.load().all]:
        lesson = lessons.load().get(slug)
        with works.store.writing() as db:
            for section in lesson.sections:
                learning.finish_section(db, works.people["Lee"], lesson, section.id, works.now)
            there = sitting.begin(db, works.people["Lee"], lesson, works.now)
            for one in sitting.shown(db, there):
                form = one.question.form if one.question else one.problem.blank.kind
                found.setdefault(form, (there.id, one))
        if set(found) >= FORMS:
            break
    return found


def test_an_answer_of_every_form_comes_back_and_counts_once_it_is_sent(works, browser, items):
    assert set(items) >= FORMS
    lee = browser("Lee")
    for number, one in items.values():
        address = f"/sittings/{number}/{one.item.position}"
        lee.get(address)
        run_out(works.store)
        told = lee.post(address, answer=right_answer(one), here=address)
        assert urlsplit(told.request.path).path == "/sign-in"
        assert "Not saved yet: you were signed out" in lee.soup.select_one("#status").text
        sign_in_again(lee, "00417")
        assert "Not saved yet" in lee.soup.select_one("main .unsent").text
        held = answered(lee, address)["answer"]
        assert sorted(given for given in held if given) == sorted(right_answer(one))
        with works.store.reading() as db:
            assert db.get(SittingItem, one.item.id).answer is None
        lee.post(address, answer=held)
        with works.store.reading() as db:
            given = sitting.shown(db, db.get(Sitting, number))[one.item.position - 1]
        assert given.answered and given.item.savings == 1
        assert kept(works.store) == []
        lee.get(address)
        assert lee.soup.select_one("main .unsent") is None


def test_whoever_signs_in_next_on_the_same_browser_sees_nothing_of_it(works, browser):
    lee = browser("Lee")
    lee.get("/tag")
    run_out(works.store)
    text = "Where do the spent cartridges go?"
    lee.post("/ask", text=text, once="a" * 32, here="/tag#asking")
    assert text not in lee.page
    sign_in_again(lee, "00418")
    kims = [lee.page] + [lee.get(path).text for path in ("/tag", "/ask", "/my-questions")]
    assert all(text not in page and "unsent" not in page for page in kims)
    # Kim was not led to the page that Lee was signed out of, and cannot throw it away.
    lee.post(f"/unsent/{kept(works.store)[0].id}/forget")
    assert len(kept(works.store)) == 1
    # Lee finds it, on any device.
    elsewhere = browser("Lee")
    elsewhere.get("/tag")
    assert answered(elsewhere, "/ask")["text"] == [text]
    with works.store.reading() as db:
        assert db.exec(select(WorkerQuestion)).all() == []


def test_another_persons_page_is_not_where_one_lands(works, browser, items):
    number, one = items["choice"]
    lee = browser("Lee")
    lee.get(f"/sittings/{number}/{one.item.position}")
    run_out(works.store)
    lee.get(f"/sittings/{number}/{one.item.position}", follow_redirects=True)
    sign_in_again(lee, "00418")
    assert "There is no such page" not in lee.page
    assert lee.soup.select_one(".whose").text.endswith("Kim")


def test_an_answer_to_a_problem_comes_back_where_it_stood(works, browser):
    slug = "protection-factors"
    section, name = next(
        (part.id, part.exercises[0]) for part in lessons.load().get(slug).sections if part.exercises
    )
    page = f"/lessons/{slug}/{section}"
    address = f"{page}/problem/{name}"
    lee = browser("Lee")
    lee.get(page)
    lee.post(address, act="next", ordinal="0", step="0")
    lee.get(page)
    shown = answered(lee, address)
    run_out(works.store)
    ours = {"Referer": f"http://localhost{page}"}
    lee.post(address, answer="12.5", ordinal=shown["ordinal"], step=shown["step"],
             headers=ours)  # fmt: skip
    sign_in_again(lee, "00417")
    assert lee.soup.select_one(f"main form[action='{address}'][data-refilled]")
    back = answered(lee, address)
    assert back["answer"] == ["12.5"]
    with works.store.reading() as db:
        assert db.exec(select(LessonAnswer).where(LessonAnswer.typed != "")).all() == []
    # Sent twice, as by a double tap: one try.
    for _ in range(2):
        lee.post(address, **{key: back[key] for key in ("answer", "ordinal", "step")})
    with works.store.reading() as db:
        tries = db.exec(select(LessonAnswer).where(LessonAnswer.typed == "12.5")).all()
    assert len(tries) == 1


def test_what_fits_its_page_no_more_is_told_with_its_sentences(works, browser):
    text = "No, not where the seal lies."

    def kept_at(page: str, given: str) -> None:
        with works.store.writing() as db:
            unsent.keep(db, works.people["Lee"], page, "/gone", [("text", given)], works.now)

    kept_at("/tag", text)
    lee = browser("Lee")
    assert text in lee.soup.select_one("main .unsent").text
    number = kept(works.store)[0].id
    lee.post(f"/unsent/{number}/forget", here="/tag")
    assert lee.soup.select_one("main .unsent") is None
    assert kept(works.store) == []
    # A number is quickly given again: it is only told that it was not saved, and that once.
    kept_at("/tag", "12.5")
    lee = browser("Lee")
    assert "Answer it once more" in lee.soup.select_one("main .unsent").text
    lee.get("/tag")
    assert lee.soup.select_one("main .unsent") is None
    # A page that leads on to another, such as that of a sitting which is closed.
    kept_at("/", text)
    lee = browser("Lee")
    assert text in lee.soup.select_one("#status").text
    assert kept(works.store) == []


def test_a_trainers_practice_and_a_correction_come_back(works, browser):
    with works.store.writing() as db:
        worn = db.exec(select(Respirator)).first()
        practice = observing.begin(db, works.scribe("Tomas"), works.people["Lee"], worn)
        acts = [act.slug for act in observing.asked_of(db, practice)]
        entry = recording.record_medical(
            db, works.scribe(), works.people["Lee"], once="medical:x", on=works.today,
            outcome="cleared", limit="", until=None,
        )  # fmt: skip
    tomas = browser("Tomas")
    page = f"/practice/{practice.id}"
    tomas.get(page)
    run_out(works.store)
    marks = {f"act-{slug}": "unprompted" for slug in acts[:3]}
    tomas.post(page, act="sign", here=page, **marks)
    sign_in_again(tomas, "00002")
    held = answered(tomas, page)
    assert {key: [value] for key, value in marks.items()}.items() <= held.items()
    with works.store.reading() as db:
        assert observing.seen(db, practice) == {}

    ida = browser("Ida")
    page = f"/people/00417/entries/{entry.number}/correct"
    ida.get(page)
    sent = answered(ida, page)
    run_out(works.store)
    ida.post(page, **(sent | {"right-outcome": "not", "right-note": "The letter said no."}),
             headers={"Referer": f"http://localhost{page}"})  # fmt: skip
    sign_in_again(ida, "00001")
    assert answered(ida, page)["right-outcome"] == ["not"]
    assert ida.soup.select_one("main .unsent")
    with works.store.reading() as db:
        assert len(db.exec(select(Entry).where(Entry.kind.startswith("medical"))).all()) == 1


def test_a_lesson_that_is_written_and_the_description_of_a_worksite_come_back(works, browser):
    with works.store.writing() as db:
        lesson = lesson_begun(works, db)
    tomas = browser("Tomas")
    place = works.worksites["Laminating Loft"].id
    text = "## Why {#why}\nMix & roll with <b>both</b> hands.\n\nThen open the window."
    for page, action, sent in (
        (f"/sites/{place}/lessons/{lesson.id}/write/en",
         f"/sites/{place}/lessons/{lesson.id}/write/en", {"text": text, "title": "Rolling “it”"}),
        (f"/sites/{place}", f"/sites/{place}", {"emergency": "Go out by the west door."}),
    ):  # fmt: skip
        tomas.get(page)
        held = {}
        for form in tomas.soup.select(f"main form[action='{action}']"):
            if form.select_one(f"[name={next(iter(sent))}]"):
                held = {one["name"]: one["value"] for one in form.select("input[type=hidden]")}
        run_out(works.store)
        tomas.post(action, headers={"Referer": f"http://localhost{page}"}, **(held | sent))
        sign_in_again(tomas, "00002")
        back = tomas.soup.select_one("main form[data-refilled]")
        for name, value in sent.items():
            field = back.select_one(f"[name={name}]")
            assert (field.get("value") or field.text.removeprefix("\n")) == value
        with works.store.reading() as db:
            assert site_lessons.drafts(db, lesson.id)["en"].text != text
            drop = [one.id for one in db.exec(select(Unsent))]
        tomas.post(f"/unsent/{drop[0]}/forget", here=page)


def test_a_file_has_to_be_chosen_again_and_it_is_said(works, browser):
    ida = browser("Ida")
    ida.get("/import")
    run_out(works.store)
    ida.post("/import", deed="0" * 32, kind="roster", file=(BytesIO(b"number;name"), "roster.csv"))
    assert "Choose the file again" in ida.soup.select_one("#status").text
    assert all("roster.csv" not in one.fields for one in kept(works.store))


def test_secrets_are_never_kept(works, browser):
    lee = browser("Lee")
    lee.get("/passphrase")
    run_out(works.store)
    lee.post("/passphrase", old=PASSPHRASE, passphrase="nine wet gulls on a rope", again="x")
    lee.post("/unsent", page="/passphrase", action="/passphrase", fields="old=x")
    lee.post("/my-sign-in/second-step", act="begin", secret=PASSPHRASE)
    lee.post("/unsent", page="/tag", action="/my-sign-in/second-step", fields="secret=x")
    assert kept(works.store) == []


def test_nobody_keeps_anything_without_having_been_signed_in(works, browser):
    nobody = browser()
    nobody.get("/sign-in")
    sent = {"page": "/tag", "action": "/ask", "fields": urlencode({"text": "a b"})}
    assert nobody.post("/unsent", follow=False, **sent).status_code == 303
    nobody.post("/ask", text="a b", once="a" * 32)
    assert kept(works.store) == []
    # And with a session, never without the token of its page.
    lee = browser("Lee")
    lee.page = ""
    assert lee.post("/unsent", **sent).status_code == 400
    run_out(works.store)
    lee.page = ""
    assert lee.post("/ask", text="a b", once="a" * 32).status_code == 400
    assert kept(works.store) == []


def test_what_is_kept_has_an_end_in_time_and_number(works):
    lee = works.people["Lee"]
    with works.store.writing() as db:
        for number in range(unsent.MOST + 5):
            unsent.keep(db, lee, f"/questions/{number}", "/ask", [("text", "x")], works.now)
        assert len(unsent.waiting(db, lee, works.now)) == unsent.MOST
        assert unsent.waiting(db, works.people["Kim"], works.now) == []
        later = works.now + unsent.KEPT + timedelta(minutes=1)
        assert unsent.waiting(db, lee, later) == []
        unsent.keep(db, works.people["Kim"], "/tag", "/ask", [("text", "y")], later)
    assert len(kept(works.store)) == 1


@pytest.mark.parametrize("fault", [OSError(errno.ENOSPC, "full"), RuntimeError("a fault of ours")])
def test_a_fault_gives_the_form_back_to_send_again(works, browser, app, monkeypatch, fault):
    app.config["TESTING"] = False
    lee = browser("Lee")
    lee.get("/tag")

    def broken(*_, **__):
        raise fault

    with monkeypatch.context() as patched:
        patched.setattr(asking, "ask", broken)
        answer = lee.post("/ask", text="How long does a filter last?", once="e" * 32)
        assert answer.status_code >= 500
        held = answered(lee, "/ask")
        part = lee.post("/ask", text="x", once="e" * 32, headers=PARTIAL)
    assert held["text"] == ["How long does a filter last?"]
    # To htmx only the status line is said: the form with what was typed stays as it is.
    assert part.headers["HX-Reswap"] == "none" and "<main" not in part.text
    lee.get("/tag")
    lee.post("/ask", text=held["text"], once=held["once"])
    lee.post("/ask", text=held["text"], once=held["once"])
    with works.store.reading() as db:
        assert len(db.exec(select(WorkerQuestion)).all()) == 1


def test_a_form_that_adds_something_adds_it_once(works, browser):
    place = works.worksites["Laminating Loft"]
    with works.store.writing() as db:
        task = describing.add_task(db, place, "Rolling")
        hazard = describing.add_hazard(db, works.scribe(), task, substance="styrene")
    tomas, ida = browser("Tomas"), browser("Ida")
    sample = {"on": works.today.isoformat(), "hours": "8", "concentration": "12", "unit": "ppm"}
    worn = {"class_slug": "apr-half", "use": "required", **HALF_MASK}
    for who, path, sent, table in (
        (tomas, f"/sites/{place.id}/hazards/{hazard.id}/sample", sample, Sample),
        (tomas, f"/sites/{place.id}/lessons", {"language": "en"}, SiteLesson),
        (ida, "/people/00417/respirators", worn, Respirator),
    ):
        who.get(path)
        once = who.soup.select_one("main [name=once]")["value"]
        with works.store.reading() as db:
            before = len(db.exec(select(table)).all())
        assert [who.post(path, once=once, **sent).status_code for _ in range(2)] == [200, 200]
        with works.store.reading() as db:
            assert len(db.exec(select(table)).all()) == before + 1
        # What was refused did nothing, and its form may be sent again.
        who.get(path)
        assert who.soup.select_one("main [name=once]")["value"] != once
