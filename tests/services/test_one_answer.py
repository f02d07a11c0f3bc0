"""The same person on the same day comes out the same from the packet, the card, the tag and the
question about a past day."""

import json
import os
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import select

from tests.clear import correct, make_clear
from tests.conftest import HALF_MASK, ZONE, Works
from tests.databases import Databases
from tests.packets import asked, made, made_from
from tests.services.test_asking import tell
from tests.services.test_leaving import come_back, leave
from tests.services.test_merging import merge
from tests.services.test_together import JOINERY, LOFT, move
from trainer.calculations import clearance
from trainer.calculations.clearance import NO_END
from trainer.services import cards, demonstrating, joining, packet, recording, settings, standing
from trainer.services.packet import persons
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.tables import Person

NOW = datetime(2026, 10, 20, 15, tzinfo=UTC)


def of_rows(rows: list[dict]) -> dict[str, set[tuple[str, str, str]]]:
    """Return by worker number what a packet says: respirator, clear, until."""
    found: dict[str, set] = {}
    for row in rows:
        worn = " ".join(row[part] for part in ("respirator class", "make", "model", "size"))
        said = (worn.strip(), row["clear on the last day"], row["clear until"])
        found.setdefault(row["worker number"], set()).add(said)
    return found


def of_tags(tags: list[standing.Tag]) -> set[tuple[str, str, str]]:
    """Return the same of tags."""
    found = set()
    for tag in tags:
        worn, until = tag.respirator, tag.clearance.until
        named = f"{worn.class_slug} {worn.make} {worn.model} {worn.size}" if worn else ""
        last = until.isoformat() if until and until != NO_END else ""
        found.add((named.strip(), "yes" if tag.clearance.clear else "no", last))
    return found


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, databases: Databases):
    """Return Tern Quay Works filled in."""
    store = databases.fresh("sqlite", tmp_path_factory.mktemp("demo"))
    demonstrating.fill(store, NOW)
    yield store
    store.close()


def test_over_the_whole_demo_all_four_say_the_same(demo):
    with demo.reading() as db:
        by = Scribe(people.by_number(db, "00101"), NOW, demonstrating.ZONE)
        day = NOW.astimezone(demonstrating.ZONE).date()
        compared = 0
        for site in people.all_worksites(db):
            of = packet.settled(
                db, by, site, first=day - timedelta(days=30), last=day, medical=True,
                answers=False, language="en", organisation="Tern Quay Works",
            )  # fmt: skip
            told = of_rows(made_from(demo, of).rows("people.csv"))
            for number, said in told.items():
                person = people.by_number(db, number)
                then = standing.tags_on(db, [person], day)[person.id]
                now = standing.tags(db, person, day)
                assert said == of_tags(then), number
                if person.left_on is None:
                    assert of_tags(now) == of_tags(then), number
                on_cards = {
                    tag.respirator.id
                    for card in cards.cards_of(db, person, NOW, demonstrating.ZONE)
                    for tag in card.tags
                }
                assert on_cards == {
                    tag.respirator.id for tag in then if tag.clearance.clear
                }, number
                compared += 1
    assert compared > 30


def clear_in(works: Works, name: str = "Lee", once: str = "one") -> set[str]:
    """Return what the packet of the Loft says of somebody's respirators."""
    rows = made(works, asked(works), once).rows("people.csv")
    number = works.people[name].number
    return {row["clear on the last day"] for row in rows if row["worker number"] == number}


def test_a_leak_that_was_told_keeps_off_the_card_and_the_packet_as_off_the_tag(works):
    make_clear(works, "Lee")
    with works.store.reading() as db:
        assert cards.cards_of(db, works.people["Lee"], works.now, ZONE)
    assert clear_in(works) == {"yes"}
    tell(works, "leak")
    with works.store.reading() as db:
        lee = db.get(Person, works.people["Lee"].id)
        assert not standing.tags(db, lee, works.today)[0].clearance.clear
        assert cards.cards_of(db, lee, works.now, ZONE) == []
        assert "leak" in cards.why_none(db, lee, works.now, ZONE, "en")
    assert clear_in(works, once="two") == {"no"}
    text = made(works, asked(works), "three").text("00417 Lee.pdf")
    assert "A leak was told and is open since" in text


def test_why_a_step_does_not_hold_is_told_as_it_is(works):
    """A passed test whose fit has changed since is not one that was failed."""
    named = set(re.findall(r'why="(\w+)"', Path(clearance.__file__).read_text("utf-8")))
    assert named == {*persons._WHY, "leak"}
    make_clear(works, "Lee", days_ago=3)
    tell(works, "fit")
    text = made(works, asked(works)).text("00417 Lee.pdf")
    assert "Fit test told since that the fit has changed; to be tested again" in text
    assert "not passed" not in text and "failed" not in text


def test_somebody_who_moved_is_in_both_packets_each_with_their_days(works):
    make_clear(works, "Lee", days_ago=3)
    with works.store.writing() as db:
        for row in db.exec(select(people.Membership)):
            row.joined_at = works.now - timedelta(days=50)
            db.add(row)
    move(works, "Lee", JOINERY)
    loft, joinery = made(works, asked(works)), made(works, asked(works, JOINERY), "two")
    [there] = [row for row in loft.rows("people.csv") if row["worker number"] == "00417"]
    assert there["at this worksite on the last day"] == "no"
    text = loft.text("00417 Lee.pdf")
    assert f"At {LOFT}" in text and "Worksites on" in text and JOINERY in text
    assert "Not at this worksite on the last day" in loft.text("1 Roster.pdf")
    [here] = [row for row in joinery.rows("people.csv") if row["worker number"] == "00417"]
    assert here["at this worksite on the last day"] == "yes"


def test_who_was_moved_away_before_the_period_is_not_in_it(works):
    with works.store.writing() as db:
        for row in db.exec(select(people.Membership)):
            row.joined_at = works.now - timedelta(days=50)
            db.add(row)
    move(works, "Kim", JOINERY)
    later = Works(
        works.store, works.now + timedelta(days=9), works.worksites, works.people
    )
    assert any("Kim" in name for name in made(later, asked(later, days=10)).names)
    assert not any("Kim" in name for name in made(later, asked(later, days=2), "two").names)


def test_two_records_that_were_joined_are_one_person_with_both_numbers(works):
    make_clear(works, "Lee", days_ago=2)
    with works.store.writing() as db:
        works.people["Leo"] = joining.add_person(
            db, works.now - timedelta(minutes=1), number="L-9", name="Leo", roles=["worker"],
            worksites=[works.worksites[LOFT].id],
        )  # fmt: skip
        joining.give_respirator(db, works.scribe(), works.people["Leo"], **HALF_MASK)
    entries = make_clear(works, "Leo", days_ago=4)
    signed = _address(works, "Leo")
    before = asked(works)
    later = Works(
        works.store, works.now + timedelta(seconds=30), works.worksites, works.people
    )
    merge(later)
    opened = made(later, asked(later))
    text = opened.text("00417 Lee.pdf")
    assert "00417, L-9" in text and "The record of Leo, number L-9, was of the same person" in text
    assert not any("L-9 Leo" in name for name in opened.names)
    numbers = {row["person_number"] for row in opened.rows("entries.csv")}
    assert {"00417", "L-9"} <= numbers
    assert str(entries["fit-test"].number) in text
    # As of before, they were two.
    assert any("L-9 Leo" in name for name in made(later, before, "before").names)
    with later.store.reading() as db:
        held = cards.held(db, signed, later.now, ZONE)
        assert held.person.number == "00417" and [clear for _, clear in held.worn] == [True]


def _address(works: Works, name: str = "Lee") -> str:
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        [card] = cards.cards_of(db, person, works.now, ZONE)
        return cards.address("", cards.key(db), card).removeprefix("/card/")


def test_who_left_and_came_back_is_told_as_it_was_on_the_last_day(works):
    make_clear(works, "Lee", days_ago=5)
    signed = _address(works)
    before = asked(works)
    then = made(works, before)
    gone = Works(works.store, works.now + timedelta(seconds=10), works.worksites, works.people)
    leave(gone)
    left = made(gone, asked(gone), "left")
    assert "Left on" in left.text("1 Roster.pdf")
    assert "Last day of employment:" in left.text("00417 Lee.pdf")
    with works.store.reading() as db:
        assert [clear for _, clear in cards.held(db, signed, gone.now, ZONE).worn] == [False]
    back = Works(works.store, works.now + timedelta(seconds=20), works.worksites, works.people)
    come_back(back, worksites=[works.worksites[LOFT].id])
    again = made(back, asked(back), "back")
    assert "Left on" not in again.text("1 Roster.pdf")
    assert "First day of being back:" in again.text("00417 Lee.pdf")
    as_before = made(back, before, "as before")
    assert [
        name for name in then.zip.namelist() if as_before.zip.read(name) != then.zip.read(name)
    ] == []
    assert as_before.data == then.data


def test_a_tag_of_a_past_day_is_empty_once_they_had_left_however_late_it_was_recorded(works):
    make_clear(works, "Lee", days_ago=9)
    with works.store.writing() as db:
        for row in db.exec(select(people.Membership)):
            row.joined_at = works.now - timedelta(days=50)
        lee = people.by_number(db, "00417")
        for worn in people.respirators(db, lee.id):
            worn.given_at = works.now - timedelta(days=50)
            db.add(worn)
    leave(works, on=works.today - timedelta(days=4))
    with works.store.reading() as db:
        lee = people.by_number(db, "00417")

        def clear(days: int) -> bool:
            day = works.today - timedelta(days=days)
            return standing.tags_on(db, [lee], day)[lee.id][0].clearance.clear

        assert [clear(days) for days in (5, 4, 3, 0)] == [True, True, False, False]


def test_a_card_holds_through_a_correction_and_a_new_name_of_the_organisation(works):
    entries = make_clear(works, "Lee", days_ago=5)
    signed = _address(works)
    with works.store.writing() as db:
        settings.put(db, works.scribe(), "organisation", "Tern Quay Works and Sons")
    correct(works, "Lee", entries["fit-test"], {"fit_factor": "460"})
    with works.store.reading() as db:
        assert [clear for _, clear in cards.held(db, signed, works.now, ZONE).worn] == [True]
    correct(works, "Lee", entries["fit-test"], {"size": "L"})
    with works.store.reading() as db:
        assert [clear for _, clear in cards.held(db, signed, works.now, ZONE).worn] == [False]


def test_when_a_determination_ends_is_told_only_with_the_right(works):
    make_clear(works, "Lee", days_ago=2)
    ends = works.today + timedelta(days=33)
    with works.store.writing() as db:
        recording.record_medical(
            db, works.scribe(), works.people["Lee"], once="m2", on=works.today,
            outcome="cleared", until=ends,
        )  # fmt: skip
    without, with_them = made(works, asked(works)), made(works, asked(works, medical=True), "two")
    [row] = [one for one in without.rows("people.csv") if one["worker number"] == "00417"]
    assert row["clear until"] == ""
    for name in without.names:
        raw = without.zip.read(f"{without.top}/{name}")
        assert ends.isoformat().encode() not in raw, name
    assert "all but the medical step holds until" in without.text("1 Roster.pdf")
    [row] = [one for one in with_them.rows("people.csv") if one["worker number"] == "00417"]
    assert row["clear until"] == ends.isoformat()


def test_the_same_bytes_in_another_process_and_another_time_zone(works, tmp_path):
    make_clear(works, "Lee", days_ago=2)
    of = asked(works, medical=True)
    here = made(works, of).data
    address = works.store._engine.url.render_as_string(hide_password=False)
    code = (
        "import json, sys; from pathlib import Path; from trainer.store.engine import Store\n"
        "from tests.packets import made_from; from trainer.services.packet import Asked\n"
        "store = Store(sys.argv[1])\n"
        "opened = made_from(store, Asked.read(json.loads(sys.argv[2])))\n"
        "Path(sys.argv[3]).write_bytes(opened.data)\n"
    )
    for zone in ("Pacific/Kiritimati", "America/Adak"):
        out = tmp_path / zone.replace("/", "-")
        subprocess.run(
            [sys.executable, "-c", code, address, json.dumps(of.about), str(out)],
            check=True, cwd=Path(__file__).parents[2],
            env=os.environ | {"TZ": zone, "PYTHONHASHSEED": str(len(zone))},
        )  # fmt: skip
        assert out.read_bytes() == here, zone
