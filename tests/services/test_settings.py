"""What a coordinator chooses, and what the environment sets."""

import pytest

from tests.conftest import Works
from trainer import config
from trainer.services import settings
from trainer.services.refusal import Refusal
from trainer.store.engine import Store
from trainer.store.tables import Setting


def change(works: Works, given: dict, shown: dict | None = None) -> list[str]:
    """Keep what was typed on a page that showed what stood, or what `shown` says."""
    with works.store.writing() as db:
        stood = {name: str(getattr(settings.of(db), name)) for name in settings.OFFERED}
        return settings.change(db, works.scribe(), given, stood | (shown or {}))


def stands(store: Store, name: str) -> object:
    """Return what is set now."""
    with store.reading() as db:
        return getattr(settings.of(db), name)


@pytest.mark.parametrize(
    ("name", "typed", "kept"),
    [
        ("organisation", "  Tern Quay  Works ", "Tern Quay Works"),
        ("time_zone", "America/Anchorage", "America/Anchorage"),
        ("pass_mark", "90", 90),
        ("begin_again_days", "45", 45),
        ("idle_shared_seconds", "60", 60),
        ("languages", "es en", "es en"),
        ("training_keep_years", "0", 0),
        ("training_keep_years", "30", 30),
    ],
)
def test_a_choice_holds_for_every_process_from_then_on(works, name, typed, kept):
    change(works, {name: typed})
    assert stands(works.store, name) == kept
    assert stands(Store(works.store.url, config.read()), name) == kept


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("pass_mark", "49"), ("pass_mark", "101"), ("pass_mark", "eighty"), ("pass_mark", ""),
        ("pass_mark", "80.5"), ("pass_mark", "-90"), ("pass_mark", "٩٠"), ("due_soon_days", "0"),
        ("time_zone", "Mars/Base"), ("time_zone", ""), ("languages", "fr"),
        ("organisation", "x" * 81), ("session_hours", "25"), ("code_minutes", "9" * 30),
    ],
)  # fmt: skip
def test_a_value_that_cannot_be_used_is_refused_at_its_field(works, name, typed):
    with pytest.raises(Refusal) as refused:
        change(works, {name: typed})
    assert refused.value.field == name
    assert stands(works.store, name) == settings.default(name)


def test_all_of_it_is_kept_or_nothing(works):
    with pytest.raises(Refusal):
        change(works, {"organisation": "Tern Quay", "pass_mark": "1"})
    assert stands(works.store, "organisation") == ""


def test_what_the_environment_sets_wins_and_cannot_be_changed(works, monkeypatch):
    change(works, {"pass_mark": "90"})
    monkeypatch.setenv("DONNING_ROOM_PASS_MARK", "85")
    works.store.settings = config.read()
    assert stands(works.store, "pass_mark") == 85
    with works.store.reading() as db:
        assert settings.fixed(db) == {"pass_mark"}
    with pytest.raises(Refusal, match="where the program is started"):
        change(works, {"pass_mark": "95"})


def test_a_page_that_was_open_before_undoes_nothing(works):
    """Ida sets the pass mark; another page, opened before, changes something else."""
    change(works, {"pass_mark": "90"})
    assert change(works, {"pass_mark": "80", "organisation": "Tern Quay"}, {"pass_mark": "80"}) == [
        "organisation"
    ]
    assert stands(works.store, "pass_mark") == 90
    with pytest.raises(Refusal, match="Somebody set this to"):
        change(works, {"pass_mark": "70"}, {"pass_mark": "80"})


def test_sent_twice_it_is_one_change(works):
    asked = ({"pass_mark": "90"}, {"pass_mark": "80"})
    assert change(works, *asked) == ["pass_mark"]
    assert change(works, *asked) == []


def test_what_another_version_kept_and_this_one_cannot_use_is_left_aside(works):
    with works.store.writing() as db:
        db.add(Setting(name="pass_mark", value="7", set_at=works.now))
        db.add(Setting(name="no_such_thing", value="7", set_at=works.now))
    assert stands(works.store, "pass_mark") == 80


def test_every_setting_that_is_offered_is_one(works):
    assert set(settings.OFFERED) <= set(config.Settings.model_fields)
