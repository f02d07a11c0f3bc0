"""The training record: chained, never changed, and whoever tampers is found."""

from datetime import UTC, date, datetime
from hashlib import sha256

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from tests.databases import Cluster, Files
from trainer.store import record
from trainer.store.engine import Store
from trainer.store.record import Asked
from trainer.store.tables import Entry

NOW = datetime(2026, 3, 9, 14, 30, 5, 250, tzinfo=UTC)
DAY = date(2026, 3, 9)

pytestmark = pytest.mark.both_databases


def append(store: Store, once: str, **body: object) -> Entry:
    """Append an entry of somebody's lesson."""
    with store.writing() as db:
        return record.append(
            db, once=once, kind="lesson", person_number="00417", worksite="Laminating Loft",
            happened_on=DAY, body=body, now=NOW,
        )


@pytest.fixture
def chain(store: Store, of_kind: Files | Cluster) -> Store:
    """Return a store with five entries, whose triggers a hand at the database has dropped."""
    for number in range(1, 6):
        append(store, f"sitting:{number}", right=number, tongue="español")
    with store.writing() as db:
        for deed in ("update", "delete"):
            db.execute(text(of_kind.drop_trigger(f"entry_refuses_{deed}", "entry")))
    return store


def breaks(store: Store) -> list[tuple[int, str]]:
    """Return where the chain does not hold, and why."""
    with store.reading() as db:
        return [(one.number, one.why) for one in record.verify(db) if one]


def by_hand(store: Store, *statements: str) -> None:
    """Change the database as no program would."""
    with store.writing() as db:
        for statement in statements:
            db.connection().exec_driver_sql(statement)


def test_an_untouched_chain_verifies_entry_by_entry(chain):
    with chain.reading() as db:
        assert list(record.verify(db)) == [None] * 5
        assert record.count(db) == 5


def test_an_empty_record_verifies(store):
    assert breaks(store) == []


def test_the_hashes_are_those_that_the_words_of_the_module_say(store):
    """Worked out here anew: SHA-256 (FIPS 180-4) over RFC 8785 JSON, the body's with its salt."""
    first, second = append(store, "sitting:1", right=7), append(store, "sitting:2", right=8)
    said = {
        "right": 8, "kind": "lesson", "person_number": "00417", "worksite": "Laminating Loft",
        "happened_on": "2026-03-09",
    }
    body_hash = sha256(second.salt.encode() + rfc8785.dumps(said)).hexdigest()
    head = {
        "number": 2, "once": "sitting:2", "kind": "lesson",
        "recorded_at": "2026-03-09T14:30:05.000250Z", "previous": first.hash,
        "body_hash": body_hash,
    }
    assert second.body_hash == body_hash
    assert second.hash == sha256(rfc8785.dumps(head)).hexdigest()
    assert first.previous == "0" * 64
    assert len({first.salt, second.salt}) == 2


def test_a_deed_done_twice_is_the_first_entry(store):
    first = append(store, "sitting:1", right=7)
    second = append(store, "sitting:1", right=9)
    assert (second.number, second.hash) == (first.number, first.hash)
    assert record.body(second)["right"] == 7
    with store.reading() as db:
        assert record.count(db) == 1


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET body = 'x' WHERE number = 1",
        "UPDATE entry SET worksite = worksite",
        "DELETE FROM entry WHERE number = 1",
        "DELETE FROM entry",
    ],
)
def test_the_database_refuses_to_change_an_entry(store, statement):
    append(store, "sitting:1", right=7)
    with pytest.raises(IntegrityError, match="an entry of the record is never changed"):
        by_hand(store, statement)
    assert breaks(store) == []
    with store.reading() as db:
        assert record.count(db) == 1


@pytest.mark.parametrize(
    ("statement", "number", "why"),
    [
        (
            """UPDATE entry SET body = replace(body, '"right":3', '"right":9') WHERE number = 3""",
            3, "body is not the one",
        ),
        ("UPDATE entry SET salt = 'other' WHERE number = 3", 3, "body is not the one"),
        ("UPDATE entry SET salt = NULL WHERE number = 3", 3, "body is not the one"),
        ("UPDATE entry SET body = NULL WHERE number = 3", 3, "body is gone"),
        ("UPDATE entry SET body = NULL, salt = NULL WHERE number = 3", 3, "body is gone"),
        ("UPDATE entry SET person_number = '00418' WHERE number = 2", 2, "column person_number"),
        ("UPDATE entry SET worksite = 'Joinery' WHERE number = 2", 2, "column worksite"),
        ("UPDATE entry SET happened_on = '2026-03-10' WHERE number = 2", 2, "happened_on"),
        ("UPDATE entry SET kind = 'practice' WHERE number = 2", 2, "hash does not fit"),
        ("UPDATE entry SET once = 'sitting:99' WHERE number = 2", 2, "hash does not fit"),
        ("UPDATE entry SET recorded_at = '2025-03-09T14:30:05.000250Z' WHERE number = 2", 2,
         "hash does not fit"),
        ("UPDATE entry SET body_hash = hash WHERE number = 2", 2, "hash does not fit"),
        ("UPDATE entry SET hash = 'f' WHERE number = 4", 4, "hash does not fit"),
        ("UPDATE entry SET previous = 'f' WHERE number = 4", 4, "does not follow"),
        ("DELETE FROM entry WHERE number = 1", 2, "entry 1 is missing"),
        ("DELETE FROM entry WHERE number = 3", 4, "entry 3 is missing"),
    ],
)
def test_tampering_is_found_where_it_was_done(chain, statement, number, why):
    by_hand(chain, statement)
    [(where, said)] = breaks(chain)
    assert where == number
    assert why in said


def test_two_entries_that_changed_places_are_found(chain):
    by_hand(
        chain,
        "UPDATE entry SET number = 99 WHERE number = 2",
        "UPDATE entry SET number = 2 WHERE number = 3",
        "UPDATE entry SET number = 3 WHERE number = 99",
    )
    assert breaks(chain)[0][0] == 2


def test_an_entry_taken_out_and_the_rest_numbered_anew_is_found(chain):
    by_hand(
        chain,
        "DELETE FROM entry WHERE number = 2",
        *(f"UPDATE entry SET number = {at - 1} WHERE number = {at}" for at in (3, 4, 5)),
    )
    assert breaks(chain) == [(2, "it does not follow the entry before it")]


def test_a_forged_entry_with_a_right_hash_still_breaks_the_next(chain):
    """Whoever rewrites one entry and its hashes has to rewrite all that follow."""
    with chain.writing() as db:
        entry = db.get(Entry, 3)
        entry.body = entry.body.replace('"right":3', '"right":9')
        entry.body_hash = sha256(f"{entry.salt}{entry.body}".encode()).hexdigest()
        entry.hash = record._entry_hash(entry)
        db.add(entry)
    assert breaks(chain) == [(4, "it does not follow the entry before it")]


TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)


@given(number=st.integers(1, 2**53 - 1), texts=st.tuples(*[TEXT] * 5))
def test_the_head_is_canonical_json_to_the_byte(number, texts):
    """RFC 8785, by the library that makes the bodies."""
    names = ("once", "kind", "recorded_at", "previous", "body_hash")
    head = {"number": number, **dict(zip(names, texts, strict=True))}
    assert record._head(number, *texts) == rfc8785.dumps(head)


def erase(store: Store, *numbers: int, **more: object) -> Entry:
    """Let the bodies of entries go, as retention allows."""
    given_ = {
        "once": "erasure:1", "row": "fit-test", "source": "29 CFR 1910.134(m)(2)(ii)",
        "why": "a newer fit test is there", "confirmed_by": {"number": "00001", "name": "Ida"},
        "happened_on": DAY, "now": NOW,
    } | more  # fmt: skip
    with store.writing() as db:
        return record.erase(db, numbers, **given_)


def put(store: Store, kind: str, **body: object) -> Entry:
    """Append an entry of any kind."""
    with store.writing() as db:
        return record.append(
            db, once=f"{kind}:{record.count(db)}", kind=kind, person_number="00417",
            worksite="Laminating Loft", happened_on=DAY, body=body, now=NOW,
        )


def test_what_is_let_go_leaves_its_hash_and_an_entry_that_says_so(store):
    kept, gone = append(store, "sitting:1", right=7), append(store, "sitting:2", right=8)
    entry = erase(store, gone.number)
    with store.reading() as db:
        left = record.get(db, gone.number)
        assert (left.body, left.salt) == (None, None)
        assert (left.hash, left.body_hash, left.kind) == (gone.hash, gone.body_hash, "lesson")
        assert record.body(record.get(db, kept.number))["right"] == 7
        assert record.erasures(db, [kept.number, gone.number]) == {gone.number: entry.number}
        tally = record.Tally()
        assert list(record.verify(db, tally)) == [None] * 3
    assert (tally.entries, tally.erased, tally.last) == (3, 1, entry.hash)
    said = record.body(entry)
    assert said["erased"] == [{
        "number": 2, "kind": "lesson", "person_number": "00417", "happened_on": "2026-03-09",
        "worksite": "Laminating Loft",
    }]
    assert (said["row"], said["recorded_by"]["name"]) == ("fit-test", "Ida")
    assert erase(store, gone.number).number == entry.number  # the same deed, once


@pytest.mark.parametrize(
    ("kind", "why"),
    [("medical", "never erased"), ("medical-correction", "never erased"),
     ("erasure", "never erased")],
)  # fmt: skip
def test_a_determination_is_never_let_go_by_the_program(store, kind, why):
    """29 CFR 1910.1020(d)(1)(i): employment and 30 years."""
    entry = put(store, kind, corrects=1, erased=[])
    with pytest.raises(record.NotErasable, match=why):
        erase(store, entry.number)
    assert breaks(store) == []


def test_a_correction_is_let_go_only_with_what_it_corrects(store):
    root = append(store, "sitting:1", right=7)
    correction = put(store, "correction", corrects=root.number, said=None)
    with pytest.raises(record.NotErasable, match="still stands"):
        erase(store, correction.number)
    erase(store, root.number, correction.number)
    assert breaks(store) == []


def test_nothing_is_let_go_twice_or_without_being_there(store):
    entry = append(store, "sitting:1", right=7)
    erase(store, entry.number)
    for number in (entry.number, 99):
        with pytest.raises(record.NotErasable):
            erase(store, number, once=f"again:{number}")


EMPTY = "UPDATE entry SET body = NULL, salt = NULL WHERE number = 1"


@pytest.mark.parametrize(
    "statements",
    [
        (EMPTY,),  # no entry says so
        ("INSERT INTO erased VALUES (1, 2)", EMPTY),  # entry 2 is no erasure
        ("INSERT INTO erased VALUES (1, 3)", EMPTY),  # the erasure names entry 2 alone
        ("INSERT INTO erased VALUES (2, 3)", EMPTY),
        # What is named may become empty, and nothing else in its row may change.
        ("INSERT INTO erased VALUES (2, 3)", "UPDATE entry SET body = 'x' WHERE number = 2"),
        ("INSERT INTO erased VALUES (2, 3)", "UPDATE entry SET body = NULL WHERE number = 2"),
        ("INSERT INTO erased VALUES (2, 3)",
         "UPDATE entry SET body = NULL, salt = NULL, worksite = 'x' WHERE number = 2"),
        ("INSERT INTO erased VALUES (2, 3)", "UPDATE erased SET number = 1"),
        ("INSERT INTO erased VALUES (2, 3)", "DELETE FROM erased"),
        ("INSERT INTO erased VALUES (4, 3)",),  # named, and a determination: but it came later
    ],
)  # fmt: skip
def test_the_database_lets_no_body_go_that_no_entry_names(store, statements):
    append(store, "sitting:1", right=7)
    append(store, "sitting:2", right=8)
    put(store, "erasure", erased=[{"number": 2}, {"number": 4}])
    put(store, "medical", outcome="cleared")
    with pytest.raises(IntegrityError):
        by_hand(store, *statements)
    assert breaks(store) == []


def test_the_database_never_lets_a_determination_go(store):
    put(store, "medical", outcome="cleared")
    put(store, "erasure", erased=[{"number": 1}])
    with pytest.raises(IntegrityError, match="never changed"):
        by_hand(store, "INSERT INTO erased VALUES (1, 2)", EMPTY)


@pytest.mark.parametrize(
    ("statement", "why"),
    [
        ("UPDATE entry SET worksite = 'Joinery' WHERE number = 1", "the entry that erased it"),
        ("UPDATE entry SET happened_on = '2026-03-08' WHERE number = 1", "the entry that erased"),
        ("UPDATE entry SET person_number = '1' WHERE number = 1", "the entry that erased it"),
        ("UPDATE entry SET salt = 'x' WHERE number = 1", "its body is gone"),
        ("UPDATE entry SET body = NULL, salt = NULL WHERE number = 2", "its body is gone"),
        ("DELETE FROM erased", "its body is gone"),
    ],
)
def test_a_gap_is_excused_for_just_what_the_erasure_names(store, of_kind, statement, why):
    append(store, "sitting:1", right=7)
    append(store, "sitting:2", right=7)
    erase(store, 1)
    by_hand(
        store,
        of_kind.drop_trigger("entry_refuses_update", "entry"),
        of_kind.drop_trigger("erased_refuses_delete", "erased"),
    )
    by_hand(store, statement)
    [(_, said)] = breaks(store)
    assert why in said


def test_an_inner_part_that_says_another_worksite_does_not_hide_a_changed_column(store, of_kind):
    """The column is compared with what the entry itself says, not with a part of its body."""
    append(store, "sitting:1", worksite_part={"worksite": "Joinery", "version": 1})
    assert breaks(store) == []
    by_hand(store, of_kind.drop_trigger("entry_refuses_update", "entry"),
            "UPDATE entry SET worksite = 'Joinery' WHERE number = 1")  # fmt: skip
    assert breaks(store) == [(1, "its column worksite does not say what its body says")]


@pytest.mark.parametrize("name", ['Ann\u2028"Lee\\', 'x","worksite":"Joinery', "\x07\t"])
def test_whatever_stands_in_a_worksites_name_is_compared_to_the_letter(store, name):
    with store.writing() as db:
        record.append(
            db, once="1", kind="lesson", person_number="7", worksite=name, happened_on=DAY,
            body={}, now=NOW,
        )
    assert breaks(store) == []


def test_the_record_of_one_person_and_of_a_period(store):
    append(store, "sitting:1", right=1)
    append(store, "sitting:2", right=2)
    with store.reading() as db:
        assert [one.number for one in record.of_person(db, "00417")] == [1, 2]
        assert record.of_person(db, "417") == []
        assert record.of_person(db, "00417", ("medical",)) == []
        assert len(list(record.between(db, Asked(DAY, DAY, ("lesson",))))) == 2
        assert list(record.between(db, Asked(DAY, DAY, ("lesson",), "Joinery"))) == []
        assert list(record.between(db, Asked(date(2026, 3, 10), DAY, ("lesson",)))) == []
