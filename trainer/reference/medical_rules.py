"""What a wearer needs before use, as dated rules: they change, and states may differ.

A rule that changes is a new row with its `from_date`; the old one gets an `until_date`
(the last day on which it held). Nothing in the program decides this with an `if`.
"""

from dataclasses import dataclass
from datetime import date
from functools import cache

from trainer.reference import table
from trainer.reference.respirator_classes import RespiratorClass


@dataclass(frozen=True)
class MedicalRule:
    """One rule.

    need    "medical" (evaluation), "fit-test", "training" or "appendix-d" (its information)
    use     "required" or "voluntary"
    worn    which respirators: "any", "filtering", "other" (all but filtering facepieces),
            "tight" or "loose"
    needed  whether the need exists for that use of those respirators
    """

    need: str
    use: str
    worn: str
    needed: bool
    from_date: date
    until_date: date | None
    rule_set: str
    source: str
    checked: str

    def holds_on(self, day: date) -> bool:
        """Return whether the rule is in force on a day."""
        return self.from_date <= day and (self.until_date is None or day <= self.until_date)

    def covers(self, respirator: RespiratorClass) -> bool:
        """Return whether the rule speaks about this class of respirator."""
        filtering = respirator.facepiece == "filtering"
        return {
            "any": True,
            "filtering": filtering,
            "other": not filtering,
            "tight": respirator.tight,
            "loose": not respirator.tight,
        }[self.worn]


@cache
def rows() -> tuple[MedicalRule, ...]:
    """Return all rules, past and present."""
    return tuple(_row(cells) for cells in table.read("medical_rules"))


def rule_for(
    need: str, use: str, respirator: RespiratorClass, day: date, rule_set: str = "federal"
) -> MedicalRule | None:
    """Return the rule in force on a day for a need, a use and a class; None if there is none."""
    fitting = (
        row
        for row in rows()
        if (row.need, row.use, row.rule_set) == (need, use, rule_set)
        and row.holds_on(day)
        and row.covers(respirator)
    )
    return next(fitting, None)


def _row(cells: dict[str, str]) -> MedicalRule:
    until = cells["until_date"]
    typed = {
        "needed": table.yes(cells["needed"]),
        "from_date": date.fromisoformat(cells["from_date"]),
        "until_date": date.fromisoformat(until) if until else None,
    }
    return MedicalRule(**(cells | typed))
