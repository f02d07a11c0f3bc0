"""Days in words: a page and a paper of the same entry say the same day alike."""

from datetime import date

import pytest

from trainer.services import paper_words
from trainer.web import language


@pytest.mark.parametrize("spoken", ["en", "es"])
def test_pages_and_papers_write_the_days_of_every_month_alike(app, spoken):
    days = [date(2026, month, 3) for month in range(1, 13)]
    with app.test_request_context(), language.speaking(spoken):
        written = app.jinja_env.filters["dateformat"]
        shown = [written(day, "d MMM yyyy") for day in days]
    assert shown == [paper_words.day(day, spoken) for day in days]
