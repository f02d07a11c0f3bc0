"""What the approval number on a respirator says."""

from collections.abc import Sequence

from trainer.calculations.faults import CalculationFault
from trainer.reference import approvals

# Those that bring clean air; all others clean the air that is there.
_BRING_AIR = frozenset({"airline", "scba"})


def approval_kind(prefix: str, candidates: Sequence[str] | None = None) -> str:
    """Return the kind of respirator that a prefix such as "TC-84A" names.

    candidates  kinds to choose from; the right one must be among them
    Errors: CalculationFault, also for a prefix whose meaning was not seen in its source.
    Source: NIOSH Certified Equipment List, general cautions page; NIOSH CA 2022-1044

    >>> approval_kind("TC-84A")
    'particulate'
    """
    found = approvals.get(prefix)
    if found is None or not found.seen:
        raise CalculationFault(
            "prefix", "{it} must be one such as TC-84A; {prefix} is none that is known.",
            "{it} tiene que ser uno como TC-84A; {prefix} no se conoce.", prefix=prefix,
        )
    if candidates is not None and found.kind not in candidates:
        raise CalculationFault(
            "candidates", "{it} must hold the kind that the prefix names.",
            "{it} tiene que incluir el tipo que indica el prefijo.",
        )
    return found.kind


def other_kinds(prefix: str, same_family: bool) -> tuple[str, ...]:
    """Return the other kinds that work the same way as that of the prefix, or the other way.

    Source: as for `approval_kind`

    >>> other_kinds("TC-19C", same_family=True)
    ('scba',)
    """
    kind = approval_kind(prefix)
    family = kind in _BRING_AIR
    return tuple(
        row.kind for row in approvals.rows()
        if row.seen and row.kind != kind and ((row.kind in _BRING_AIR) == family) == same_family
    )
