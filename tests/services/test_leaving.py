"""Leaving and coming back, and that somebody always coordinates."""

import threading
from datetime import timedelta

import pytest

from tests.conftest import HALF_MASK, Works
from trainer.services import joining, leaving, recording, signing_in, standing
from trainer.services.refusal import Refusal
from trainer.services.signing_in import Limits
from trainer.store import people, record, sign_ins
from trainer.store.tables import Person

LIMITS = Limits()


def leave(works: Works, name: str = "Lee", by: str = "Ida", once: str = "left:1", **more):
    """Record that somebody has left."""
    with works.store.writing() as db:
        on = more.get("on", works.today)
        return leaving.leave(db, works.scribe(by), works.people[name], once=once, on=on)


def come_back(works: Works, name: str = "Lee", once: str = "returned:1", **more):
    """Record that somebody has come back."""
    given = {"on": works.today, "worksites": [2]} | more
    with works.store.writing() as db:
        return leaving.come_back(db, works.scribe(), works.people[name], once=once, **given)


def kept(works: Works, name: str = "Lee") -> Person:
    """Return a person as they are kept now."""
    with works.store.reading() as db:
        return db.get(Person, works.people[name].id)


def second_coordinator(works: Works, **more) -> None:
    """Add Odell, who coordinates as well."""
    with works.store.writing() as db:
        works.people["Odell"] = joining.add_person(
            db, works.now, number="00004", name="Odell", roles=["coordinator"], **more
        )


def test_whoever_left_is_in_the_record_signs_in_no_more_and_wears_nothing(works):
    lee = works.people["Lee"]
    with works.store.writing() as db:
        code, _ = signing_in.make_code(db, None, works.now, LIMITS, person=lee)
        secret, device, _ = signing_in.enrol(db, code, lee.number, None, works.now)
        token = signing_in.start_session(db, lee, device, works.now)
        fresh, _ = signing_in.make_code(db, None, works.now, LIMITS, person=lee)
    entry = leave(works)
    assert (entry.kind, record.body(entry)["left_on"]) == ("left", works.today.isoformat())
    with works.store.writing() as db:
        assert signing_in.session_of(db, token, works.now, LIMITS) is None
        assert signing_in.device_of(db, secret) is None
        with pytest.raises(Refusal):
            signing_in.enrol(db, fresh, lee.number, None, works.now)
        assert people.respirators(db, lee.id) == []
        assert [one.name for one in people.at_worksite(db, 1)] == ["Kim", "Tomas"]
        assert len(record.of_person(db, lee.number)) == 1
        told = [event.kind for event, *_ in sign_ins.history(db, [lee.id])]
        assert {"ended", "revoked"} <= set(told)
    assert kept(works).passphrase_hash is None


def test_nothing_is_given_to_whoever_left(works):
    leave(works)
    with pytest.raises(Refusal, match="has left"), works.store.writing() as db:
        lee = db.get(Person, works.people["Lee"].id)
        joining.give_respirator(db, works.scribe(), lee, **HALF_MASK)


def test_a_double_click_is_one_leaving(works):
    assert leave(works).number == leave(works).number
    with pytest.raises(Refusal, match="left already"):
        leave(works, once="left:2")


@pytest.mark.parametrize(
    ("name", "more", "why"),
    [
        ("Ida", {}, "own leaving"),
        ("Lee", {"on": None}, "lies in the future"),
    ],
)
def test_what_cannot_be_a_leaving_is_refused(works, name, more, why):
    day = {"on": works.today + timedelta(days=1)} if more else {}
    with pytest.raises(Refusal, match=why):
        leave(works, name, **day)
    assert kept(works, name).left_on is None


def test_what_still_counts_on_coming_back_is_worked_out_from_dates(works):
    """The medical determination and the fit test hold; the respirator is given anew."""
    by, lee = works.scribe(), works.people["Lee"]
    with works.store.writing() as db:
        recording.record_medical(db, by, lee, once="m", on=works.today, outcome="cleared")
        recording.record_fit_test(
            db, by, lee, people.respirators(db, lee.id)[0], once="f", on=works.today,
            protocol="saccharin", passed=True,
        )  # fmt: skip
    leave(works)
    entry = come_back(works)
    assert (entry.kind, record.body(entry)["back_on"]) == ("returned", works.today.isoformat())
    with works.store.writing() as db:
        lee = db.get(Person, lee.id)
        assert [one.name for one in people.worksites(db, lee.id)] == ["Joinery"]
        assert people.roles(db, lee.id) == {"worker"}
        joining.give_respirator(db, by, lee, **HALF_MASK)
        [tag] = standing.tags(db, lee, works.today)
    states = {step.kind: step.state for step in tag.clearance.steps}
    assert (states["medical"], states["fit-test"], states["training"]) == ("done", "done", "todo")


@pytest.mark.parametrize(
    ("more", "why"),
    [({"worksites": []}, "worksite"), ({"worksites": [99]}, "from the list")],
)
def test_coming_back_needs_a_worksite(works, more, why):
    leave(works)
    with pytest.raises(Refusal, match=why):
        come_back(works, **more)
    assert kept(works).left_on == works.today


def test_nobody_comes_back_before_leaving_or_without_having_left(works):
    with pytest.raises(Refusal, match="has not left"):
        come_back(works)
    leave(works)
    with pytest.raises(Refusal, match="before the day of leaving"):
        come_back(works, on=works.today - timedelta(days=1))


def test_the_last_coordinator_cannot_leave_nor_lose_the_role(works):
    second_coordinator(works, medical=True)
    leave(works, "Ida", by="Odell")
    with pytest.raises(Refusal, match="last coordinator"):
        leave(works, "Odell", by="Ida", once="left:2")
    with pytest.raises(Refusal, match="last coordinator"), works.store.writing() as db:
        joining.change_person(
            db, works.scribe("Ida"), works.people["Odell"], name="Odell", roles=["worker"],
            language="en", worksites=[1], qualification="",
        )  # fmt: skip


def test_two_coordinators_who_remove_each_other_leave_one(works):
    """Both pages were open before; the second to write finds that it would leave nobody."""
    second_coordinator(works, medical=True)
    refused, ready = [], threading.Barrier(2)

    def remove(by: str, whom: str) -> None:
        ready.wait()
        try:
            leave(works, whom, by=by, once=f"left:{whom}")
        except Refusal as refusal:
            refused.append(str(refusal))

    pairs = (("Ida", "Odell"), ("Odell", "Ida"))
    threads = [threading.Thread(target=remove, args=pair) for pair in pairs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(refused) == 1
    with works.store.reading() as db:
        assert len(people.holders(db, "coordinator")) == 1


def test_the_last_one_with_the_right_to_determinations_keeps_it(works):
    second_coordinator(works)
    with pytest.raises(Refusal, match="Nobody else has the right"):
        leave(works, "Ida", by="Odell")
    with pytest.raises(Refusal, match="Nobody else has the right"), works.store.writing() as db:
        joining.change_person(
            db, works.scribe("Odell"), works.people["Ida"], name="Ida", roles=["worker"],
            language="en", worksites=[1], qualification="",
        )  # fmt: skip


def test_whoever_comes_back_to_coordinate_is_given_that_right_anew(works):
    second_coordinator(works, medical=True)
    leave(works, "Odell")
    come_back(works, "Odell", worksites=[])
    with works.store.reading() as db:
        assert people.roles(db, works.people["Odell"].id) == {"coordinator"}


def test_the_right_is_given_by_who_has_it_and_only_to_a_coordinator(works):
    def give(by: str, to: str, roles: list[str], medical: bool = True) -> None:
        with works.store.writing() as db:
            joining.change_person(
                db, works.scribe(by), works.people[to], name=to, roles=roles, language="en",
                worksites=[1], qualification="", medical=medical,
            )  # fmt: skip

    second_coordinator(works)
    with pytest.raises(Refusal, match="given by a coordinator who has it"):
        give("Odell", "Odell", ["coordinator"])
    give("Ida", "Odell", ["coordinator"])
    give("Ida", "Tomas", ["trainer"])
    with works.store.reading() as db:
        named = {db.get(Person, one).name for one in people.holders(db, people.MEDICAL)}
    assert named == {"Ida", "Odell"}
    give("Odell", "Ida", ["coordinator"], medical=False)
    with works.store.reading() as db:
        assert people.roles(db, works.people["Ida"].id) == {"coordinator"}


def test_the_first_coordinator_has_the_right_and_a_later_one_has_not(works):
    second_coordinator(works)
    with works.store.reading() as db:
        assert people.MEDICAL in people.roles(db, works.people["Ida"].id)
        assert people.MEDICAL not in people.roles(db, works.people["Odell"].id)
