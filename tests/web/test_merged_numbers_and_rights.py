"""Pages beside a merge and a right taken away: what was theirs stays, what was not goes."""

from datetime import timedelta

import pytest

from tests.clear import make_clear
from tests.conftest import HALF_MASK, pass_lesson
from tests.packets import asked, made
from trainer import lessons
from trainer.services import (
    asking,
    cards,
    errands,
    joining,
    merging,
    packet,
    recording,
    standing,
)
from trainer.store import people, record
from trainer.store.tables import Errand, Person, PersonRole, Respirator

FIRST = lessons.load().all[0].slug


@pytest.fixture
def joined(works):
    """Let Lee have a second number, with a fit test and a lesson under it."""
    with works.store.writing() as db:
        leo = works.people["Leo"] = joining.add_person(
            db, works.now, number="L-9", name="Leo", roles=["worker"],
            worksites=[works.worksites["Laminating Loft"].id], seed="seed of Leo",
        )  # fmt: skip
        worn = joining.give_respirator(db, works.scribe(), leo, **HALF_MASK)
        recording.record_fit_test(
            db, works.scribe(), leo, worn, once="f", on=works.today, protocol="saccharin",
            passed=True,
        )  # fmt: skip
    pass_lesson(works, "Leo", FIRST, works.now)
    with works.store.writing() as db:
        merging.merge(db, works.scribe(), works.people["Lee"], works.people["Leo"])
    return works


def test_an_entry_under_the_merged_number_can_be_corrected_from_the_persons_page(browser, joined):
    with joined.store.reading() as db:
        [entry] = record.of_person(db, "L-9", ("fit-test",))
    page = browser("Ida").get(f"/people/00417/entries/{entry.number}/correct")
    assert page.status_code == 200
    with joined.store.reading() as db:
        [kim] = [one for one in db.exec(people.select(Person)) if one.number == "00418"]
    assert browser("Ida").get(
        f"/people/{kim.number}/entries/{entry.number}/correct"
    ).status_code == 404


def test_a_sitting_under_the_merged_number_can_be_read_on_the_persons_page(browser, joined):
    with joined.store.reading() as db:
        [there] = merging.earlier_sittings(db, db.get(Person, joined.people["Lee"].id))
    ida = browser("Ida")
    assert f"/people/00417/sittings/{there.id}" in ida.get("/people/00417").text
    assert ida.get(f"/people/00417/sittings/{there.id}").status_code == 200
    assert ida.get(f"/people/00418/sittings/{there.id}").status_code == 404


def test_who_lost_a_right_fetches_no_file_that_was_made_with_it(browser, works):
    with works.store.writing() as db:
        by = works.scribe()
        recording.record_medical(
            db, by, works.people["Lee"], once="m", on=works.today, outcome="cleared"
        )
        joining.add_person(db, works.now, number="00009", name="Oda", roles=["coordinator"],
                           medical=True)  # fmt: skip
    full_, plain_ = asked(works, medical=True), asked(works)
    with works.store.writing() as db:
        wish, plain = packet.ask(db, by, full_, "one"), packet.ask(db, by, plain_, "two")
    errands.run_all(works.store)
    ida = browser("Ida")
    assert ida.get(f"/errands/{wish.id}/file").status_code == 200
    with works.store.writing() as db:
        db.delete(db.get(PersonRole, (works.people["Ida"].id, people.MEDICAL)))
        late = packet.ask(db, works.scribe(), full_, "three")
    assert ida.get(f"/errands/{wish.id}/file").status_code == 403
    page = ida.get(f"/errands/{wish.id}").text
    assert "a right that you do not have any more" in page
    assert f"/errands/{wish.id}/file" not in page
    assert ida.get(f"/errands/{plain.id}/file").status_code == 200
    errands.run_all(works.store)
    with works.store.reading() as db:
        assert db.get(Errand, late.id).state == "failed"


def test_determinations_from_files_are_seen_by_nobody_without_the_right(browser, works):
    from tests.tables import bring, csv_of

    given = csv_of(("worker number", "date", "outcome"), ("00417", f"{works.today}", "not cleared"))
    run = bring(works, given, kind="medical")
    ida = browser("Ida")
    assert ida.get(f"/import/{run.id}/lines").status_code == 200
    with works.store.writing() as db:
        db.delete(db.get(PersonRole, (works.people["Ida"].id, people.MEDICAL)))
    for path in ("", "/columns", "/lines", "/do", "/undo", "/bad.csv"):
        assert ida.get(f"/import/{run.id}{path}").status_code == 403
    page = ida.get("/import")
    assert f'"/import/{run.id}"' not in page.text
    assert "Medical determinations" not in page.text


# Cards and packets


def test_no_card_is_made_and_none_holds_while_a_leak_is_told(works):
    make_clear(works, "Lee")
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        [one] = cards.cards_of(db, lee, works.now, works.scribe().zone)
        signed = cards.address("", cards.key(db), one).removeprefix("/card/")
        asking.tell(db, lee, "leak", people.respirators(db, lee.id)[0], works.now)
        standing.refresh(db, lee, works.today)
        assert cards.cards_of(db, lee, works.now, works.scribe().zone) == []
        assert "leak" in cards.why_none(db, lee, works.now, works.scribe().zone, "en")
        found = cards.held(db, signed, works.now + timedelta(minutes=1), works.scribe().zone)
    assert [clear for _, clear in found.worn] == [False]


def test_a_card_that_others_print_tells_no_day_on_which_a_determination_ends(works):
    make_clear(works, "Lee")
    until = works.today + timedelta(days=40)
    with works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        recording.record_medical(
            db, works.scribe(), lee, once="m", on=works.today, outcome="cleared", until=until
        )
        of = cards.cards_of(db, lee, works.now, works.scribe().zone)
        [told] = [cards._worn(tag, "en", True) for tag in of[0].tags]
        [kept] = [cards._worn(tag, "en", False) for tag in of[0].tags]
    day = cards.words.day(until, "en")
    assert day in told["until"]
    assert day not in str(kept)
    assert kept["until"] == "Clear when printed"


def test_a_packet_holds_what_stands_under_either_number_and_no_end_of_a_determination(joined):
    make_clear(joined, "Lee")
    until = joined.today + timedelta(days=40)
    with joined.store.writing() as db:
        lee = db.get(Person, joined.people["Lee"].id)
        for worn in db.exec(people.select(Respirator)):
            worn.given_at = joined.now - timedelta(days=1)
            db.add(worn)
        recording.record_medical(
            db, joined.scribe(), lee, once="m", on=joined.today, outcome="cleared", until=until
        )
    plain, full = (made(joined, asked(joined, medical=one), f"{one}") for one in (False, True))
    rows = plain.rows("people.csv")
    assert "L-9" not in {row["worker number"] for row in rows}
    mine = [row for row in rows if row["worker number"] == "00417"]
    assert {row["clear on the last day"] for row in mine} == {"yes"}
    assert {row["clear until"] for row in mine} == {""}
    assert {row["clear until"] for row in full.rows("people.csv")
            if row["worker number"] == "00417"} == {until.isoformat()}  # fmt: skip
    assert "L-9" in plain.text("00417 Lee.pdf")
    with joined.store.reading() as db:
        [entry] = record.of_person(db, "L-9", ("fit-test",))
    assert str(entry.number) in {row["entry number"] for row in plain.rows("fit-tests.csv")}
