"""The pages of a sitting, one item each and the look over: for who takes it, and who enters it."""

from flask import abort, render_template, request

from trainer.services import sitting
from trainer.store.tables import Sitting
from trainer.web import taught


def first_open(items: list[sitting.Shown]) -> int | str:
    """Return the place of the first item without a whole answer; "review" where there is none."""
    return next((one.item.position for one in items if not one.answered), "review")


def item_page(
    there: Sitting,
    items: list[sitting.Shown],
    position: int,
    about: str,
    base: str,
    tongue: str,
    fault: str = "",
    **more: object,
) -> str:
    """Return the page of one item.

    about   what the sitting is about
    base    the address under which its items stand
    tongue  the language that the item is shown in
    """
    if not 1 <= position <= len(items):
        abort(404)
    return render_template(
        "worker/item.html",
        sitting=there,
        about=about,
        one=items[position - 1],
        recalled=_recalled(there, items[position - 1], tongue),
        position=position,
        total=len(items),
        states=[
            "begun" if one.item.position == position else "done" if one.answered else "todo"
            for one in items
        ],
        go="review" if request.values.get("go") == "review" else "",
        fault=fault,
        base=base,
        tongue=tongue,
        here=f"{base}/{position}",
        **more,
    )


def _recalled(there: Sitting, one: sitting.Shown, tongue: str) -> str:
    """Return the title of the earlier lesson that a problem of a sitting is from, or nothing."""
    other = there.lesson and one.lesson and one.lesson != there.lesson
    return taught.title(one.lesson, tongue) if other else ""


def review_page(
    there: Sitting,
    items: list[sitting.Shown],
    base: str,
    tongue: str,
    fault: str = "",
    **more: object,
) -> str:
    """Return the page on which every answer is looked over; parameters as in `item_page`."""
    again = {one.item.position: sitting.asked_again(one, tongue) for one in items}
    return render_template(
        "worker/review.html",
        sitting=there,
        items=items,
        again=again,
        given_of=lambda one: given_of(one, tongue),
        ready=all(one.answered and not again[one.item.position] for one in items),
        fault=fault,
        base=base,
        tongue=tongue,
        here=f"{base}/review",
        **more,
    )


def given_of(one: sitting.Shown, tongue: str) -> list[str]:
    """Return the answer to a question as lines to look over."""
    options = one.question.options
    if one.question.form == "order":
        steps = sorted(zip(one.picked, options, strict=True), key=lambda pair: pair[0])
        return [f"{place + 1}. {option.text(tongue).rstrip('.')}" for place, option in steps]
    if one.question.form == "match":
        return [f"{option.text(tongue)} – {options[to].to(tongue)}"
                for to, option in zip(one.picked, options, strict=True)]
    return [options[index].text(tongue) for index in one.picked]


def given_at(one: sitting.Shown, index: int, tongue: str) -> str:
    """Return what one line of an order or a match was given."""
    got = one.picked[index]
    return one.question.options[got].to(tongue) if one.question.form == "match" else str(got + 1)
