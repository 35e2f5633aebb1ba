"""The declared columns: complete, consistent, and true of what is read."""

import pandera.pandas as pa
import pytest
from logs import write_csv

from putlab.log.read import read_log
from putlab.log.schema import ACCEPTED_NAMES, COLUMN, COLUMNS, M_PER_FT, READINGS, closest, tidy


def frame_schema():
    """Return the columns as a pandera schema: a check by a library the kit does not use."""
    dtypes = {"label": "str", "flag": "boolean"}
    columns = {}
    for column in COLUMNS:
        checks = []
        if column.kind in ("number", "whole"):
            checks += [pa.Check.ge(column.least), pa.Check.le(column.most)]
        if column.choices:
            checks.append(pa.Check.isin(column.choices))
        needed = column.needed or column.name in ("player", "putt")
        dtype = dtypes.get(column.kind, "float64")
        columns[column.name] = pa.Column(dtype, checks, nullable=not needed)
    files = {"file": pa.Column("str"), "row": pa.Column("int64", pa.Check.ge(1))}
    return pa.DataFrameSchema(columns | files, strict=True, ordered=True)


def test_every_column_says_what_it_means_in_one_line():
    for column in COLUMNS:
        assert column.meaning.endswith("."), column.name
        assert "\n" not in column.meaning
        assert len(column.meaning) < 100


def test_names_carry_their_units():
    assert {c.name: c.unit for c in COLUMNS if c.unit} == {
        "distance_ft": "ft",
        "line_deg": "deg",
        "roll_ft": "ft",
        "leave_ft": "ft",
        "aim_past_ft": "ft",
        "stimp_ft": "ft",
        "slope_pct": "%",
        "slope_to_deg": "deg",
    }


def test_lengths_and_only_lengths_may_be_in_metres():
    metric = {name for name, column in ACCEPTED_NAMES.items() if name != column}
    assert metric == {"distance_m", "roll_m", "leave_m", "aim_past_m", "stimp_m"}


def test_a_foot_is_the_international_foot():
    # International yard and pound agreement of 1959: 1 yd = 0.9144 m exactly.
    assert pytest.approx(0.9144 / 3, abs=1e-15) == M_PER_FT


def test_a_reading_is_a_column():
    assert set(READINGS) <= set(COLUMN)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("line_degs", "line_deg"),
        ("Distance", "distance_ft or distance_m"),
        ("sesion", "session"),
        ("zzz", None),
    ],
)
def test_the_nearest_name_is_offered(typed, meant):
    assert closest(typed) == meant


def test_names_are_compared_without_case_spaces_and_hyphens():
    assert tidy("  Distance-FT ") == tidy("distance ft") == "distance_ft"


def test_a_log_that_was_read_fits_the_schema(tmp_path):
    log = read_log(
        write_csv(
            tmp_path / "putts.csv",
            {"holed": "yes", "leave_ft": "", "drill": "Counted", "hole_no": "1"},
            {"holed": "no", "leave_ft": "2.5", "condition": "new grip", "slope_pct": "2"},
            {"distance_ft": "0"},
        )
    )
    assert len(frame_schema().validate(log.putts, lazy=True)) == 2


def test_accepted_says_what_a_cell_may_hold():
    assert COLUMN["distance_ft"].accepted == "a number from 0.1 to 150"
    assert COLUMN["putt_no"].accepted == "a whole number from 1 to 50"
    assert COLUMN["drill"].accepted == "one of line, pace, both, counted"
    assert "yes/no" in COLUMN["holed"].accepted
