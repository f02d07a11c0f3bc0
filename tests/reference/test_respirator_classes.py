"""Table 1 of 29 CFR 1910.134(d)(3)(i)(A), typed here from the published table, cell by cell."""

import pytest

from trainer.reference import respirator_classes

# Columns: quarter mask, half mask, full facepiece, helmet/hood, loose-fitting facepiece.
# None is a dash in the table. 25 stands first where a cell reads "25/1,000" (footnote 4).
TABLE_1 = {
    ("apr", ""): (5, 10, 50, None, None),
    ("papr", ""): (None, 50, 1000, (25, 1000), 25),
    ("sar", "demand"): (None, 10, 50, None, None),
    ("sar", "flow"): (None, 50, 1000, (25, 1000), 25),
    ("sar", "pressure"): (None, 50, 1000, None, None),
    ("scba", "demand"): (None, 10, 50, 50, None),
    ("scba", "pressure"): (None, None, 10_000, 10_000, None),
}
COLUMNS = ("quarter", "half", "full", "hood", "loose")
CELLS = [
    (kind, mode, column, cell)
    for (kind, mode), cells in TABLE_1.items()
    for column, cell in zip(COLUMNS, cells, strict=True)
]


@pytest.mark.parametrize(("kind", "mode", "facepiece", "printed"), CELLS)
def test_a_cell_is_as_printed(kind, mode, facepiece, printed):
    printed = printed if isinstance(printed, tuple) else (printed,)
    held = [
        row.apf
        for row in respirator_classes.rows()
        if (row.kind, row.mode, row.facepiece) == (kind, mode, facepiece)
    ]
    assert sorted(held, key=str) == sorted(printed, key=str)


def test_nothing_else_is_in_the_table_but_the_filtering_facepiece():
    # Footnote 3: the half mask column covers filtering facepieces.
    others = [row for row in respirator_classes.rows() if row.facepiece not in COLUMNS]
    assert [(row.slug, row.apf) for row in others] == [("apr-filtering", 10)]
    assert len(respirator_classes.rows()) == 35 + 2 + 1


def test_the_distinct_factors_are_those_of_the_table():
    assert respirator_classes.factors() == (5, 10, 25, 50, 1000, 10_000)


# The slugs that the record and the questions hold; a changed one would orphan them.
SLUGS = {
    "apr-quarter": 5, "apr-half": 10, "apr-filtering": 10, "apr-full": 50,
    "papr-half": 50, "papr-full": 1000, "papr-hood": 25, "papr-hood-1000": 1000,
    "papr-loose": 25, "sar-demand-half": 10, "sar-demand-full": 50, "sar-flow-half": 50,
    "sar-flow-full": 1000, "sar-flow-hood": 25, "sar-flow-hood-1000": 1000,
    "sar-flow-loose": 25, "sar-pressure-half": 50, "sar-pressure-full": 1000,
    "scba-demand-half": 10, "scba-demand-full": 50, "scba-demand-hood": 50,
    "scba-pressure-full": 10_000, "scba-pressure-hood": 10_000,
}  # fmt: skip


def test_the_recognised_classes_have_lasting_slugs():
    assert {row.slug: row.apf for row in respirator_classes.recognised()} == SLUGS


def test_tight_fitting_means_a_complete_seal_with_the_face():
    # 29 CFR 1910.134(b), tight-fitting and loose-fitting facepiece, hood, helmet.
    tight = {row.facepiece for row in respirator_classes.rows() if row.tight}
    loose = {row.facepiece for row in respirator_classes.rows() if not row.tight}
    assert tight == {"quarter", "half", "filtering", "full"}
    assert loose == {"hood", "loose"}


def test_air_purifying_and_powered_follow_the_kind():
    for row in respirator_classes.rows():
        assert row.air_purifying == (row.kind in {"apr", "papr"}), row.slug
        assert row.powered == (row.kind == "papr"), row.slug


def test_only_a_hood_with_1000_needs_test_evidence():
    # Footnote 4; the pressure-demand SCBA hood has its factor without it.
    needing = {row.slug for row in respirator_classes.rows() if row.needs_evidence}
    assert needing == {"papr-hood-1000", "sar-flow-hood-1000"}


def test_names_use_the_words_of_the_trade():
    names = {row.slug: row for row in respirator_classes.rows()}
    assert "media cara" in names["apr-half"].name("es")
    assert "cara completa" in names["apr-full"].name("es")
    assert "motorizado (PAPR)" in names["papr-half"].name("es")
    assert "línea de aire" in names["sar-flow-half"].name("es")
    assert "equipo de respiración autónomo (SCBA)" in names["scba-pressure-full"].name("es")
    assert "careta de ajuste holgado" in names["papr-loose"].name("es")
    assert "casco o capucha" in names["papr-hood"].name("es")


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_two_classes_have_one_name(language):
    names = [row.name(language) for row in respirator_classes.rows()]
    assert len(set(names)) == len(names)


def test_a_language_that_is_not_there_is_refused():
    with pytest.raises(KeyError):
        respirator_classes.rows()[0].name("fr")


def test_an_unknown_slug_gives_none():
    assert respirator_classes.get("apr-half").apf == 10
    assert respirator_classes.get("apr-ninth") is None
