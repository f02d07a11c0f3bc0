"""Choosing which problems have the numbers of a worksite."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from trainer.bank.draw import Problem, draw, draw_at
from trainer.bank.lots import shuffle
from trainer.bank.read import Exercise

Facts = Mapping[str, Any]
"""What a worksite tells about one substance of a task: draw.FACTS, draw.WORDS_OF_A_WORKSITE."""


def draw_at_any(
    exercise: Exercise, seed: int, told: Sequence[Facts], but: Mapping | None = None
) -> Problem | None:
    """Return a problem with the numbers of a worksite, or None where none can be drawn.

    told  in mixed order those with the person's own respirator are tried first, then the others
    but   inputs of a problem that is not to come again
    """
    if exercise.worksite is None:
        return None
    mixed = sorted(shuffle(told, seed), key=lambda one: one.get("class") is None)
    drawn = (draw_at(exercise, seed, one) for one in mixed)
    return next((one for one in drawn if one and one.inputs != but), None)


def draw_problems(
    exercises: Sequence[Exercise],
    count: int,
    seed: int,
    told: Sequence[Facts],
    elsewhere: Iterable[Exercise] = (),
) -> list[tuple[Exercise, Problem]]:
    """Return so many problems, of these exercises in turn, with a worksite's numbers where it can.

    One at least has them if any exercise can: the last place goes to a later one then, or to one
    of `elsewhere`. An exercise that comes twice is drawn as everywhere the second time, so that
    the same numbers are not asked twice.
    """
    chosen = [exercises[place % len(exercises)] for place in range(count if exercises else 0)]
    found = {
        place: draw_at_any(one, seed + place, told)
        for place, one in enumerate(chosen[: len(exercises)])
    }
    if chosen and not any(found.values()):
        last = count - 1
        for one in [*exercises[count:], *elsewhere]:
            there = draw_at_any(one, seed + last, told)
            if there:
                chosen[last], found[last] = one, there
                break
    return [
        (one, found.get(place) or draw(one, seed + place)) for place, one in enumerate(chosen)
    ]
