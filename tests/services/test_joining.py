"""Taking people, worksites and respirators in."""

import pytest

from tests.conftest import HALF_MASK, Works
from trainer.services import joining
from trainer.services.refusal import Refusal
from trainer.store import people
from trainer.store.tables import Person

pytestmark = pytest.mark.both_databases


def add(works: Works, **fields) -> Person:
    """Add a person."""
    given = {"number": "A-7", "name": "Imara", "roles": ["worker"], "worksites": [1]} | fields
    with works.store.writing() as db:
        return joining.add_person(db, works.now, **given)


def change(works: Works, by: str, name: str, **fields) -> None:
    """Change a person."""
    given = {
        "name": name, "roles": ["worker"], "language": "en", "worksites": [1], "qualification": "",
    } | fields
    with works.store.writing() as db:
        person = db.get(Person, works.people[name].id)
        joining.change_person(db, works.scribe(by), person, **given)


@pytest.mark.parametrize("number", ["a-7", "A-7", " a-7 "])
def test_a_number_is_taken_however_it_is_written(works, number):
    add(works)
    with pytest.raises(Refusal, match="taken"):
        add(works, number=number)


def test_numbers_are_text_and_zeros_count(works):
    assert add(works, number="417").number == "417"
    with works.store.reading() as db:
        assert people.by_number(db, "00417").name == "Lee"
        assert people.by_number(db, "417").name == "Imara"


@pytest.mark.parametrize(
    "number", ["", "  ", "=1+1", "-5", "a b", "x" * 21, "5/9", "new", "NEW", "né", "a\x00", "<b>"]
)
def test_a_number_that_would_not_do_in_an_address_or_a_table_is_refused(works, number):
    with pytest.raises(Refusal, match="1 to 20"):
        add(works, number=number)


@pytest.mark.parametrize(
    "fields",
    [
        {"name": " "},
        {"name": "x" * 81},
        {"language": "fr"},
        {"roles": []},
        {"roles": ["worker", "king"]},
        {"worksites": []},
        {"worksites": [99]},
    ],
)
def test_a_person_half_described_is_refused_and_not_kept(works, fields):
    with pytest.raises(Refusal):
        add(works, **fields)
    with works.store.reading() as db:
        assert people.by_number(db, "A-7") is None


def test_only_a_coordinator_needs_no_worksite(works):
    assert add(works, roles=["coordinator"], worksites=[]).number == "A-7"
    with pytest.raises(Refusal):
        add(works, number="A-8", roles=["coordinator", "worker"], worksites=[])


def test_a_name_is_found_without_accents_and_capitals(works):
    add(works, name="  Zoë   Muñoz ")
    assert people.plain("ZOË MUÑOZ") == "zoe munoz"
    with works.store.reading() as db:
        found = people.by_number(db, "a-7")
    assert (found.name, found.search_key) == ("Zoë Muñoz", "zoe munoz a-7")


def test_the_last_coordinator_stays_one(works):
    with pytest.raises(Refusal, match="yourself"):
        change(works, "Ida", "Ida", roles=["worker"])
    with works.store.reading() as db:
        assert people.roles(db, works.people["Ida"].id) == {"coordinator", people.MEDICAL}


def test_another_coordinator_may_take_the_role_away(works):
    change(works, "Ida", "Kim", roles=["worker", "coordinator"], medical=True)
    change(works, "Kim", "Ida", roles=["worker"])
    with works.store.reading() as db:
        assert people.roles(db, works.people["Ida"].id) == {"worker"}


def test_roles_and_worksites_are_replaced_whole(works):
    change(works, "Ida", "Kim", roles=["trainer"], worksites=[2])
    with works.store.reading() as db:
        kim = works.people["Kim"].id
        assert people.roles(db, kim) == {"trainer"}
        assert [one.name for one in people.worksites(db, kim)] == ["Joinery"]


@pytest.mark.parametrize(
    "fields",
    [
        {"name": "Joinery"},
        {"name": " "},
        {"time_zone": "Mars/Olympus"},
        {"ask_name": ""},
        {"ask_telephone": " "},
    ],
)
def test_a_worksite_needs_a_name_of_its_own_a_zone_and_somebody_to_ask(works, fields):
    """OSHA letter of 11 July 2019: training on a screen needs a trainer who answers."""
    given = {
        "name": "Spray Hall", "time_zone": "America/Chicago", "ask_name": "R. Odell",
        "ask_telephone": "555 0142",
    } | fields
    with pytest.raises(Refusal), works.store.writing() as db:
        joining.add_worksite(db, **given)


@pytest.mark.parametrize(
    "fields",
    [
        {"class_slug": "apr-hood"},  # blank in Table 1: no such class
        {"class_slug": "no-such"},
        {"use": "sometimes"},
        {"make": ""},
        {"model": ""},
        {"style": ""},
        {"size": " "},
    ],
)
def test_a_respirator_that_cannot_be_is_refused(works, fields):
    """29 CFR 1910.134(d)(3)(i)(A), Table 1; (f)(2)."""
    with pytest.raises(Refusal), works.store.writing() as db:
        joining.give_respirator(db, works.scribe(), works.people["Kim"], **(HALF_MASK | fields))


def test_a_loose_fitting_one_or_one_by_choice_needs_no_size(works):
    bare = {"make": "", "model": "", "style": "", "size": ""}
    with works.store.writing() as db:
        kim = works.people["Kim"]
        for more in ({"class_slug": "papr-loose"}, {"use": "voluntary"}):
            joining.give_respirator(db, works.scribe(), kim, **(HALF_MASK | bare | more))
        assert len(people.respirators(db, kim.id)) == 2


def test_a_respirator_taken_back_is_kept_and_only_by_its_owner(works):
    with works.store.writing() as db:
        lee, kim = works.people["Lee"], works.people["Kim"]
        worn = people.respirators(db, lee.id)[0]
        with pytest.raises(Refusal):
            joining.take_respirator(db, works.scribe(), kim, worn.id)
        joining.take_respirator(db, works.scribe(), lee, worn.id)
        assert people.respirators(db, lee.id) == []
        assert db.get(type(worn), worn.id).ended_at == works.now
