"""Leaving, coming back, joining records, settings, the log and retention on the pages."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import select

from tests.conftest import PASSPHRASE, PIN, Works, pass_lesson
from trainer import lessons
from trainer.services import joining, recording, settings, signing_in, sitting
from trainer.services.signing_in import Limits
from trainer.store import people, record, sign_ins
from trainer.store.tables import (
    Device,
    Entry,
    Person,
    SignInEvent,
    Standing,
    WebSession,
)


def send(browser, path: str, **fields):
    """Open a page and send its form with what it holds already, and these fields."""
    browser.get(path)
    form = browser.soup.select_one("main form[method=post]")
    sent = {
        one["name"]: one.get("value", "")
        for one in form.select("input[type=hidden], input[type=date]")
        if one["name"] != "csrf_token"
    }
    return browser.post(form.get("action", path), **sent | fields)


@pytest.fixture
def odell(works: Works, hashes) -> Person:
    """Add Odell, who coordinates without the right to determinations."""
    with works.store.writing() as db:
        made = works.people["Odell"] = joining.add_person(
            db, works.now, number="00004", name="Odell", roles=["coordinator"]
        )
        signing_in.set_passphrase(db, made, hashes["passphrase"])
    return made


def test_whoever_left_is_out_at_once_and_the_page_says_so(browser, works):
    lee, ida = browser("Lee"), browser("Ida")
    assert lee.get("/tag").status_code == 200
    answer = send(ida, "/people/00417/leave")
    assert "They sign in no more" in answer.text
    assert "Left on" in ida.page
    assert lee.get("/tag").status_code == 302
    lee.get("/sign-in")
    sent = lee.post("/sign-in", number="00417", passphrase=PASSPHRASE, **{"with": "passphrase"})
    assert sent.status_code == 422
    ida.get("/board")
    assert "00417" not in ida.soup.select_one("main table").text
    ida.get("/left?q=lee")
    assert "00417" in ida.page


def test_a_day_that_cannot_be_is_told_at_its_field_and_what_was_typed_stays(browser, works):
    ida = browser("Ida")
    to_come = (works.today + timedelta(days=3)).isoformat()
    answer = send(ida, "/people/00417/leave", on=to_come)
    assert answer.status_code == 422
    assert "lies in the future" in ida.soup.select_one(".faults").text
    assert ida.soup.select_one("#on")["value"] == to_come
    assert send(ida, "/people/00417/leave", on="31/31").status_code == 422


def test_the_same_form_sent_twice_is_one_leaving(browser, works):
    ida = browser("Ida")
    ida.get("/people/00417/leave")
    deed = ida.soup.select_one("[name=deed]")["value"]
    for _ in range(2):
        ida.post("/people/00417/leave", deed=deed, on=works.today.isoformat())
    with works.store.reading() as db:
        assert [one.kind for one in record.of_person(db, "00417")] == ["left"]


def test_coming_back_asks_for_worksites_again_and_a_code_lets_in(browser, works):
    ida = browser("Ida")
    send(ida, "/people/00417/leave")
    assert send(ida, "/people/00417/return").status_code == 422
    assert "worksite" in ida.soup.select_one(".faults").text
    send(ida, "/people/00417/return", worksites="2")
    assert "Show them a one-time code" in ida.page
    ida.post("/people/00417/code")
    code = ida.soup.select_one(".code").text
    lee = browser()
    lee.get("/enrol")
    lee.post("/enrol", number="00417", code=code)
    lee.post("/choose-pin", pin="482915", again="482915")
    assert lee.get("/tag").status_code == 200


def test_a_coordinator_without_the_right_sees_yes_or_no_as_a_trainer_does(browser, works, odell):
    until = works.today + timedelta(days=200)
    with works.store.writing() as db:
        recording.record_medical(
            db, works.scribe(), works.people["Lee"], once="m", on=works.today, outcome="limits",
            limit="as_written", until=until,
        )  # fmt: skip
    ida, other = browser("Ida"), browser("Odell")
    ida.get("/people/00417")
    assert "as in the written recommendation" in ida.page.lower()
    assert "/people/00417/medical" in ida.page
    other.get("/people/00417")
    assert "Cleared" in other.soup.select_one(".tag .steps li").text
    assert "written recommendation" not in other.page
    assert "With limits" not in other.page
    assert "/medical" not in other.page
    assert other.get("/people/00417/medical").status_code == 403
    assert other.post("/people/00417/medical").status_code == 403
    lapse = works.now.astimezone(UTC).date() - timedelta(days=8)
    with works.store.writing() as db:
        recording.record_medical(
            db, works.scribe(), works.people["Lee"], once="n", on=lapse, outcome="cleared",
            until=lapse,
        )  # fmt: skip
        for row in db.exec(select(Standing)):
            row.missing, row.clear_until = "", lapse
            row.medical_due = lapse
            db.add(row)
    ended = f"Medical evaluation ended {lapse.day}"
    assert ended in ida.get("/board").text
    assert ended not in other.get("/board").text
    assert "Medical evaluation" in other.page
    other.get("/people/00417/merge?other=00418")
    assert "written recommendation" not in other.page
    # A code would let its holder in as somebody who sees them.
    other.get("/codes")
    assert other.post("/people/00001/code").status_code == 403
    assert ida.post("/people/00004/code").status_code == 200


def test_the_right_is_given_on_the_page_by_who_has_it(browser, works, odell):
    ida, other = browser("Ida"), browser("Odell")
    given = {
        "name": "Odell", "language": "en", "roles": "coordinator", "qualification": "",
    }  # fmt: skip
    other.get("/people/00004/change")
    assert other.soup.select_one("[name=medical]") is None
    other.post("/people/00004/change", medical="y", **given)
    with works.store.reading() as db:
        assert people.MEDICAL not in people.roles(db, odell.id)
    send(ida, "/people/00004/change", medical="y", **given)
    with works.store.reading() as db:
        assert people.MEDICAL in people.roles(db, odell.id)
    # Whoever has not been shown the box takes nothing away by sending the form.
    with works.store.writing() as db:
        tomas = works.people["Tomas"]
        db.add(people.PersonRole(person_id=tomas.id, role="coordinator"))
    tomas = browser("Tomas")
    tomas.get("/people/00004/change")
    tomas.post("/people/00004/change", **given)
    with works.store.reading() as db:
        assert people.MEDICAL in people.roles(db, odell.id)


def test_two_records_are_shown_side_by_side_and_joined_once_it_is_sure(browser, works):
    ida = browser("Ida")
    ida.get("/people/00417/merge?other=9999")
    assert "Nobody has the worker number 9999" in ida.page
    ida.get("/people/00417/merge?other=00417")
    assert "one and the same" in ida.page
    ida.get("/people/00417/merge?other=00418")
    cells = [row.text for row in ida.soup.select("main tbody tr")]
    assert any("Lee" in text and "Kim" in text and "Differs" in text for text in cells)
    assert "No button undoes this" in ida.page
    answer = ida.post("/people/00417/merge", other="00418")
    assert answer.status_code == 422
    told = ida.soup.select_one(".faults").text
    assert "Choose which record goes on" in told
    assert "Tick this" in told
    asked = {"other": "00418", "goes_on": "00418", "sure": "yes"}
    for _ in range(2):
        ida.post("/people/00417/merge", **asked)
    assert "All worker numbers of this person: 00418, 00417" in ida.page
    ida.get("/people/00417")
    assert "Kim" in ida.soup.select_one("h1").text
    with works.store.reading() as db:
        assert len(db.exec(select(Entry).where(Entry.kind == "merged")).all()) == 1
    answer = ida.post("/people/00417/merge", other="00418", goes_on="00417", sure="yes")
    assert answer.status_code == 422
    gone = browser()
    gone.get("/sign-in")
    sent = gone.post("/sign-in", number="00417", passphrase=PASSPHRASE, **{"with": "passphrase"})
    assert sent.status_code == 422


def test_a_coordinator_who_joins_their_own_record_away_signs_in_with_the_other(
    browser, works, hashes
):
    with works.store.writing() as db:
        second = joining.add_person(
            db, works.now, number="I-2", name="Ida", roles=["coordinator"], medical=True
        )
        signing_in.set_passphrase(db, second, hashes["passphrase"])
    ida = browser("Ida")
    ida.get("/people/I-2/merge?other=00001")
    ida.post("/people/I-2/merge", other="00001", goes_on="I-2", sure="yes")
    assert ida.get("/board").status_code == 302
    ida.sign_in("I-2")
    assert ida.get("/board").status_code == 200


def test_what_was_begun_under_the_other_number_can_be_read(browser, works):
    first = lessons.load().all[0]
    with works.store.writing() as db:
        begun = sitting.draw_new(db, works.people["Kim"], first, works.now, unread=True)
        sitting.answer(db, begun, 1, ["0"], works.now)
    ida = browser("Ida")
    ida.get("/people/00417/merge?other=00418")
    ida.post("/people/00417/merge", other="00418", goes_on="00417", sure="yes")
    assert "Begun under another number" in ida.page
    page = ida.get(f"/people/00417/unfinished/{begun.id}")
    assert page.status_code == 200
    assert "never handed in" in page.text
    assert browser("Wren").get(f"/people/00417/unfinished/{begun.id}").status_code == 404


def test_settings_are_kept_and_hold_with_the_next_page(browser, works):
    ida, lee = browser("Ida"), browser("Lee")
    shown = settings_shown(ida)
    ida.post("/settings", **shown | {"organisation": "Tern Quay", "pass_mark": "90"})
    assert "The settings are kept" in ida.page
    lee.get("/tag")
    assert "Tern Quay" in lee.page
    ida.get("/log?kind=setting")
    rows = [row.text for row in ida.soup.select("main tbody tr")]
    assert any("Pass mark" in row and "90" in row and "Ida" in row for row in rows)


def settings_shown(browser) -> dict[str, str]:
    """Return every field of the settings page as it stands."""
    browser.get("/settings")
    fields = browser.soup.select("main form input[name], main form select[name]")
    shown = {}
    for one in fields:
        chosen = one.select_one("option[selected]") if one.name == "select" else one
        shown[one["name"]] = chosen.get("value", "")
    shown.pop("csrf_token")
    return shown


def test_a_setting_that_cannot_be_used_is_told_at_its_field(browser, works):
    ida = browser("Ida")
    answer = ida.post("/settings", **settings_shown(ida) | {"pass_mark": "7", "due_soon_days": "9"})
    assert answer.status_code == 422
    assert "from 50 to 100" in ida.soup.select_one("#pass_mark-fault").text
    assert ida.soup.select_one("#pass_mark")["value"] == "7"
    assert ida.soup.select_one("#due_soon_days")["value"] == "9"
    with works.store.reading() as db:
        assert settings.of(db).due_soon_days == 30


def test_what_the_environment_sets_is_told_and_not_offered(app, browser, works, monkeypatch):
    from trainer import config

    monkeypatch.setenv("DONNING_ROOM_PASS_MARK", "85")
    works.store.settings = app.extensions["settings"] = config.read(
        data=app.extensions["settings"].data
    )
    ida = browser("Ida")
    ida.get("/settings")
    assert ida.soup.select_one("#pass_mark") is None
    assert "DONNING_ROOM_PASS_MARK" in ida.page
    assert "85 %" in ida.page


def test_one_language_offered_is_the_one_spoken_to_everybody(browser, works):
    ida = browser("Ida")
    ida.post("/settings", **settings_shown(ida) | {"languages": "es"})
    lee = browser("Lee")
    lee.get("/tag")
    assert lee.soup.html["lang"] == "es"
    assert lee.soup.select_one("form[action='/language']") is None
    lee.post("/language", language="en")
    lee.get("/tag")
    assert lee.soup.html["lang"] == "es"


def test_sign_ins_good_and_bad_are_told_without_any_secret(browser, works):
    nobody = browser()
    for number in ("00417", "271828"):
        nobody.get("/sign-in")
        nobody.post("/sign-in", number=number, passphrase="wrong", **{"with": "passphrase"})
    lee = browser("Lee")
    lee.post("/sign-out")
    ida = browser("Ida")
    ida.get("/people/00417/sign-ins")
    rows = [row.text for row in ida.soup.select("main tbody tr")]
    assert ["Signed out" in rows[0], "Signed in" in rows[1], "Did not fit" in rows[2]] == [True] * 3
    ida.get("/tablets")
    assert "Did not fit" in ida.page
    assert "271828" not in ida.page
    with works.store.reading() as db:
        told = " ".join(str(one.model_dump()) for one in db.exec(select(SignInEvent)))
    for secret in (PASSPHRASE, PIN, "wrong ", "271828"):
        assert secret not in told


def test_a_session_that_lapsed_is_told_once(browser, works):
    lee = browser("Lee")
    with works.store.writing() as db:
        for row in db.exec(select(WebSession)):
            row.seen_at = row.started_at = datetime.now(UTC) - timedelta(hours=13)
            db.add(row)
    for _ in range(2):
        assert lee.get("/tag").status_code == 302
    with works.store.reading() as db:
        kinds = [one.kind for one, *_ in sign_ins.history(db, [works.people["Lee"].id])]
    assert kinds.count("lapsed") == 1


def test_a_lost_device_is_ended_and_whoever_is_on_it_is_out(browser, works):
    with works.store.writing() as db:
        code, _ = signing_in.make_code(
            db, None, works.now, Limits(), person=works.people["Lee"]
        )
    lee, ida = browser(), browser("Ida")
    lee.get("/enrol")
    lee.post("/enrol", number="00417", code=code)
    assert lee.get("/choose-pin").status_code == 200
    ida.get("/people/00417/sign-ins")
    action = ida.soup.select_one("main form[action*=devices]")["action"]
    ida.post(action)
    assert "opens nothing any more" in ida.page
    assert lee.get("/tag").status_code == 302
    with works.store.reading() as db:
        assert all(one.revoked_at for one in db.exec(select(Device)))
    assert ida.post(action.replace("00417", "00418")).status_code == 404


def test_the_log_tells_of_what_was_taken_out_and_is_asked_by_person_and_day(browser, works):
    ida = browser("Ida")
    place = works.worksites["Joinery"].id
    ida.get(f"/export.csv?from=2026-01-01&to={works.today}&worksite={place}")
    ida.get("/log?kind=export&by=00001")
    [row] = ida.soup.select("main tbody tr")
    assert "Worksite: Joinery" in row.text
    assert "taken out" in row.text
    ida.get("/log?by=00002")
    assert ida.soup.select("main tbody tr") == []
    tomorrow = works.today + timedelta(days=1)
    ida.get(f"/log?from={tomorrow}&to={tomorrow}")
    assert ida.soup.select("main tbody tr") == []
    answer = ida.get("/log?from=yesterday")
    assert "Give a date" in answer.text


def test_what_is_proposed_is_looked_at_and_typed_before_anything_goes(
    browser, works, monkeypatch
):
    asked = []
    monkeypatch.setattr(
        record, "erase", lambda db, numbers, **more: asked.append(numbers), raising=False
    )
    with works.store.writing() as db:
        lee = works.people["Lee"]
        worn = people.respirators(db, lee.id)[0]
        first, _ = (
            recording.record_fit_test(
                db, works.scribe(), lee, worn, once=f"f{ago}", protocol="saccharin", passed=True,
                on=works.today - timedelta(days=ago),
            )
            for ago in (400, 30)
        )  # fmt: skip
    ida = browser("Ida")
    ida.get("/retention")
    assert "Medical determinations are never erased" in ida.page
    assert [one["value"] for one in ida.soup.select("[name=entry]")] == [str(first.number)]
    assert not ida.soup.select("[name=entry][checked]")
    assert ida.post("/retention/look", row="fit-test").status_code == 422
    ida.post("/retention/look", row="fit-test", entry=str(first.number))
    deed = ida.soup.select_one("[name=deed]")["value"]
    given = {"row": "fit-test", "entry": str(first.number), "deed": deed}
    assert ida.post("/retention/erase", typed="", **given).status_code == 422
    assert asked == []
    ida.post("/retention/erase", typed="1", **given)
    assert asked == [[first.number]]
    assert ida.post("/retention/look", row="nothing", entry="1").status_code == 404


def test_ones_own_record_is_whole_with_the_versions_of_what_was_taught(browser, works):
    pass_lesson(works, "Lee", lessons.load().all[0].slug, works.now)
    with works.store.writing() as db:
        recording.record_medical(
            db, works.scribe(), works.people["Lee"], once="m", on=works.today, outcome="limits",
            limit="powered_only",
        )  # fmt: skip
    with works.store.reading() as db:
        said = record.body(record.of_person(db, "00417", ("lesson",))[0])
    lee = browser("Lee")
    lee.get("/my-record")
    assert said["version"] in lee.page
    assert "Powered respirators only" in lee.page
    assert re.search(r"Invented Aldermoor.*Not clear", lee.soup.select_one("main").text)
    assert "2 entries" in lee.page
