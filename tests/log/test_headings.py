"""Anybody's headings: found under titles, read by meaning, asked about once, kept."""

import datetime
import json

import numpy as np
import openpyxl
import pandas as pd
import pytest

from putlab.base.errors import LogError, UsageError
from putlab.log.files import keep_columns
from putlab.log.headings import header_at, in_words, meant
from putlab.log.read import read_log
from putlab.log.schema import COLUMN

STRANGER = ["Date", "No.", "Length (m)", "Direction", "Distance rolled", "Notes"]


@pytest.fixture
def rng():
    return np.random.default_rng(7)


def visit(rng, day, putts=12):
    """Return putts as a stranger writes them down, and what each says: day, m, degrees, m."""
    rows, truth = [], []
    for number in range(putts):
        length = (1.2, 2.4, 4.0)[number % 3]
        side, rolled = int(rng.integers(-3, 4)), round(length * rng.normal(1.05, 0.08), 2)
        letters = f"{'R' if side > 0 else 'L'}{abs(side)}" if side else "0"
        note = "windy" if number == 3 else None
        # Only the first row of a visit has its date.
        rows.append([None if number else day, number + 1, length, letters, f"{rolled} m", note])
        truth.append((day.isoformat(), number + 1, length, side, rolled))
    return rows, truth


def workbook(path, **sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title.replace("_", " "))
        for row in [["Putting, winter"], [], *rows]:
            sheet.append(row)
    book.save(path)
    return path


def a_strangers_workbook(tmp_path, rng, visits=3):
    sheets, truth = {}, []
    for number in range(visits):
        rows, said = visit(rng, datetime.date(2026, 1, 5) + datetime.timedelta(7 * number))
        sheets[f"Visit_{number + 1}"] = [STRANGER, *rows]
        truth += said
    return workbook(tmp_path / "visits.xlsx", **sheets), truth


def as_said(log):
    """Return what a log holds in the words of the stranger's rows."""
    putts = log.putts
    metres = (putts[["distance_ft", "roll_ft"]] * 0.3048).round(6)  # the exact foot
    columns = putts["session"], putts["putt"], metres["distance_ft"], putts["line_deg"]
    return list(zip(*columns, metres["roll_ft"], strict=True))


def test_a_strangers_workbook_is_asked_about_once_and_loses_no_row(tmp_path, rng):
    path, truth = a_strangers_workbook(tmp_path, rng)
    with pytest.raises(
        LogError, match=r'import .*visits.xlsx --map "Direction=line_deg"`'
    ) as asked:
        read_log(path)
    assert "missing" not in str(asked.value)
    proposed = read_log(path, guess=True)
    assert proposed.understood.unsure == {"Direction"}
    keep_columns(path, proposed.understood.columns)
    for place in (path, tmp_path):
        log = read_log(place)
        assert as_said(log) == truth
        assert (len(log.rejects), log.units, log.warnings) == (0, "m", [])
        assert any("*Direction* is read as start direction" in line for line in log.assumed)


def test_the_next_visit_under_the_same_headings_needs_nothing(tmp_path, rng):
    path, truth = a_strangers_workbook(tmp_path, rng, visits=1)
    keep_columns(path, read_log(path, guess=True).understood.columns)
    rows, more = visit(rng, datetime.date(2026, 2, 2))
    workbook(tmp_path / "later.xlsx", Sheet1=[STRANGER, *rows])
    assert as_said(read_log(tmp_path)) == truth + more
    assert as_said(read_log(tmp_path / "later.xlsx")) == more


def test_a_map_answers_without_a_question(tmp_path, rng):
    path, truth = a_strangers_workbook(tmp_path, rng)
    assert as_said(read_log(path, columns={" direction ": "line_deg"})) == truth
    left = read_log(path, columns={"Direction": "-line_deg"})
    assert [row[3] for row in as_said(left)] == [row[3] for row in truth]  # letters say it all
    with pytest.raises(UsageError, match="'Direction' cannot be read as 'line'"):
        read_log(path, columns={"Direction": "line"})


def csv_of(tmp_path, text, name="a.csv"):
    (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path / name


def test_plus_left_turns_numbers_over(tmp_path):
    path = csv_of(tmp_path, "Date,Length (ft),Angle\n2026-01-05,10,2\n2026-01-05,10,-1\n")
    log = read_log(path, columns={"Angle": "-line_deg"})
    assert log.putts["line_deg"].tolist() == [-2.0, 1.0]


def test_a_sheet_without_dates_is_a_visit_by_its_name(tmp_path):
    rows = [["Length (ft)", "Made or missed"], [6, "made"], [6, "missed"]]
    log = read_log(workbook(tmp_path / "a.xlsx", Visit_10=rows, Visit_2=rows))
    assert log.putts["session"].tolist() == ["Visit 2", "Visit 2", "Visit 10", "Visit 10"]
    assert log.putts["holed"].tolist() == [True, False] * 2
    said = "The visit is told by the title or name of a file or sheet: Visit 10, Visit 2."
    assert said in log.assumed


def test_a_file_named_for_its_day_is_that_visit(tmp_path):
    log = read_log(csv_of(tmp_path, "Length (ft),Made\n6,yes\n", "2026-01-05 hall.csv"))
    assert log.putts["session"].tolist() == ["2026-01-05"]


@pytest.mark.parametrize(
    ("title", "sheets", "name", "visits"),
    [
        ("Putting 14/3/2026", ["Sheet1"], "a", ["2026-03-14"]),
        ("Putting, 14 March 2026", ["Visit 1"], "a", ["2026-03-14"]),
        ("Putting", ["14.3.2026", "21-Mar-26"], "a", ["2026-03-14", "2026-03-21"]),
        ("Putting", ["Sheet1"], "hall 14.3.2026", ["2026-03-14"]),
        ("1.1.2026 to 14.3.2026", ["Visit 1"], "a", ["Visit 1"]),
        ("Version 1.2.3", ["Mat"], "a", ["Mat"]),
    ],
)
def test_a_day_in_a_title_or_name_tells_the_visit(tmp_path, title, sheets, name, visits):
    rows = [[title], ["Length (ft)", "Made"], [6, "yes"], [6, "no"]]
    book = openpyxl.Workbook()
    book.remove(book.active)
    for sheet in map(book.create_sheet, sheets):
        for row in rows:
            sheet.append(row)
    book.save(tmp_path / f"{name}.xlsx")
    log = read_log(tmp_path)
    assert list(log.putts["session"].unique()) == visits
    assert any("The visit is told by the title or name" in line for line in log.assumed)
    if len(sheets) == 1 and "Visit" not in sheets[0] and sheets != ["Mat"]:
        (tmp_path / f"{name}.xlsx").unlink()
        csv_of(tmp_path, f'"{title}"\nLength (ft),Made\n6,yes\n', f"{name}.csv")
        assert read_log(tmp_path).putts["session"].tolist() == visits


ONCE = """Date,No.,Length (m),Made
2026-01-05,1,2,yes
,2,,no
,3,,no
,4,3,no
,5,,yes
2026-01-12,1,,no
,2,2,no
,3,,no
"""


def test_a_length_written_once_is_asked_about_and_kept(tmp_path):
    path = csv_of(tmp_path, ONCE)
    with pytest.raises(LogError, match=r'the same below .*--map "Length \(m\)=distance_m down"`'):
        read_log(path)
    proposed = read_log(path, guess=True).understood
    assert proposed.unsure == {"Length (m)"}
    keep_columns(path, proposed.columns)
    log = read_log(path)
    metres = (log.putts["distance_ft"] * 0.3048).round(6)  # the exact foot
    assert metres.tolist() == [2, 2, 2, 3, 3, 2, 2]
    # What another visit began with is not carried over.
    assert log.rejects[["row", "column"]].to_numpy().tolist() == [[7, "distance_m"]]


def test_a_length_missing_here_and_there_is_not_filled_in(tmp_path):
    rows = "".join(f"2026-01-05,{'' if n == 4 else 2},yes\n" for n in range(10))
    log = read_log(csv_of(tmp_path, "Date,Length (m),Made\n" + rows))
    assert (len(log.putts), log.rejects["row"].tolist()) == (9, [6])
    assert "`putlab import FILE --map" in log.rejects["reason"][0]


def test_the_kits_own_column_may_be_written_once_too(tmp_path):
    path = csv_of(tmp_path, "session,distance_ft,line_deg\na,10,1\na,,2\n")
    assert len(read_log(path).putts) == 1
    log = read_log(path, columns={"distance_ft": "distance_ft down"})
    assert log.putts["distance_ft"].tolist() == [10, 10]


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
@pytest.mark.parametrize("foot", ["Total,,6,2,", "Average:,,3,0.5,3.1", ",mean,3,0.5,3.1"])
def test_totals_at_the_foot_are_no_putts_and_no_lost_visit(tmp_path, kind, foot):
    rows = "Date,No.,Length (m),Line (deg),Rolled (m)\n5.1.2026,1,3,R1,3\n13.1.2026,1,3,0,3.2\n"
    if kind == "csv":
        path = csv_of(tmp_path, f"{rows}\n{foot}\n")
    else:
        cells = [line.split(",") for line in [*rows.splitlines(), foot]]
        path = workbook(tmp_path / "a.xlsx", Sheet1=cells)
    log = read_log(path, guess=True)
    assert (len(log.putts), log.lost) == (2, [])
    assert log.putts["session"].tolist() == ["2026-01-05", "2026-01-13"]
    assert log.rejects["reason"].tolist() == ["totals or averages, no putt"]


def test_headings_under_a_title_keep_the_numbers_of_rows(tmp_path):
    text = "Putting; winter\n\nDate;Length (cm);Line (deg)\n13.1.2026;150;R1\n5.1.2026;x;R1\n"
    log = read_log(csv_of(tmp_path, text))
    assert log.putts[["session", "row"]].to_numpy().tolist() == [["2026-01-13", 4]]
    assert log.putts["distance_ft"].tolist() == pytest.approx([1.5 / 0.3048])
    assert log.rejects["row"].tolist() == [5]


def test_the_kits_own_names_under_a_title_are_found_too(tmp_path):
    log = read_log(csv_of(tmp_path, "My log\nsession,distance_ft,line_deg\na,10,1\n"))
    assert (len(log.putts), log.assumed) == (1, [])


def test_lengths_without_a_unit_are_proposed_in_one(tmp_path):
    text = "Date,Distance,Direction,Rolled\n2026-01-05,6,1,6.5\n2026-01-05,10,2,11\n"
    understood = read_log(csv_of(tmp_path, text), guess=True).understood
    assert understood.columns["Distance"] == "distance_ft"
    assert understood.columns["Rolled"] == "roll_ft"
    assert understood.unsure == {"Distance", "Direction", "Rolled"}


def test_of_two_headings_for_one_column_the_first_is_proposed(tmp_path):
    path = csv_of(tmp_path, "Date,Length (m),Distance (m),Made\n2026-01-05,2,2.1,no\n")
    understood = read_log(path, guess=True).understood
    assert understood.columns["Length (m)"] == "distance_m"
    assert understood.unsure == {"Length (m)"}
    log = read_log(path, columns={"Distance (m)": "roll_m"})
    assert log.understood.columns["Distance (m)"] == "roll_m"
    told = read_log(path, columns={"Distance (m)": "distance_m"})
    assert "Length (m)" not in told.understood.columns


def test_a_column_that_nobody_filled_in_is_not_missed(tmp_path):
    text = "Date,Length (m),Made,Weather,Rolled (m)\n2026-01-05,2,,,2.1\n2026-01-05,2,,dry,1.9\n"
    (warning,) = read_log(csv_of(tmp_path, text)).warnings
    assert warning == "columns that are not used: 'Weather' (a.csv)."


def test_rows_that_hold_no_putt_are_no_rows(tmp_path):
    text = "Date,Length (m),Made,Notes\n2026-01-05,2,yes,\n,,,then rain\n,2,no,\n"
    log = read_log(csv_of(tmp_path, text))
    assert (log.rows_read, log.putts["session"].tolist()) == (2, ["2026-01-05"] * 2)


def test_a_table_of_something_else_is_still_refused(tmp_path):
    with pytest.raises(LogError, match=r"missing session; distance_ft .*`putlab import FILE"):
        read_log(csv_of(tmp_path, "hole,par\n1,4\n"))


def test_what_was_kept_is_checked_and_the_package_stays(tmp_path):
    path = csv_of(tmp_path, "Date,Length (ft),Made\n2026-01-05,6,yes\n")
    package = {"title": "Winter", "resources": [{"name": "a", "path": "a.csv"}]}
    (tmp_path / "datapackage.json").write_text(json.dumps(package), encoding="utf-8")
    kept = keep_columns(path, {"Made": "holed"}, aim_past_ft=1.5)
    whole = json.loads(kept.read_text(encoding="utf-8"))
    assert whole == package | {"putlab": {"aim_past_ft": 1.5, "columns": {"Made": "holed"}}}
    assert read_log(path).rules.declared == {"aim_past_ft": 1.5}
    whole["putlab"]["columns"] = {"Made": "putted"}
    kept.write_text(json.dumps(whole), encoding="utf-8")
    with pytest.raises(LogError, match=r"datapackage.json, columns: 'Made' cannot be read"):
        read_log(path)


@pytest.mark.parametrize(
    ("heading", "meaning"),
    [
        ("Length (m)", ("distance", "m")),
        ("length, ft", ("distance", "ft")),
        ("Putt length in feet", ("distance", "ft")),
        ("No.", ("putt", "")),
        ("Putt #", ("putt", "")),
        ("Distance rolled [cm]", ("roll", "cm")),
        ("Start direction (°)", ("line", "deg")),
        ("Date", ("session", "")),
        ("in", ("holed", "")),
        ("distance_ft", ("distance_ft", "")),
        ("Weather", ("", "")),
    ],
)
def test_headings_mean_what_people_mean(heading, meaning):
    assert meant(heading) == meaning


def test_the_row_of_headings_is_that_with_most_known_names():
    rows = [["Putting"], ["Name", "Ann"], ["Date", "Length", "Made"], ["2026-01-05", "6", "yes"]]
    assert header_at(rows) == (2, 3)
    assert header_at([["session", "distance_ft"], ["Date", "Length", "Made"]])[0] == 0
    assert header_at([]) == (0, 0)


@pytest.mark.parametrize("column", [*COLUMN, "-line_deg", "roll_m", "distance_m down"])
def test_every_column_is_said_in_words(column):
    assert in_words(column).endswith(f"({column.removeprefix('-')})")


def test_cells_with_units_and_sides_are_read_in_the_kits_own_columns_too(tmp_path):
    text = "session,distance_ft,line_deg,roll_m\na,3 ft,+1°,1.41 m\na,1.5 m,3 L,4' \na,10,R2,2\n"
    putts = read_log(csv_of(tmp_path, text)).putts
    assert putts["line_deg"].tolist() == [1.0, -3.0, 2.0]
    # By the exact foot of 0.3048 m.
    assert putts["distance_ft"].tolist() == pytest.approx([3, 1.5 / 0.3048, 10])
    assert putts["roll_ft"].tolist() == pytest.approx([1.41 / 0.3048, 4, 2 / 0.3048])


@pytest.mark.parametrize(
    ("heads", "said"),
    [("Visit,Length (m),Direction", "missing session"), ("session,distance_ft,line_deg", "no row")],
)
def test_a_table_without_rows_is_refused_in_a_sentence(tmp_path, heads, said):
    (tmp_path / "a.csv").write_text(f"{heads}\n")
    with pytest.raises(LogError, match=said):
        read_log(tmp_path / "a.csv")
    pd.DataFrame(columns=heads.split(","), dtype="str").to_parquet(tmp_path / "b.parquet")
    with pytest.raises(LogError, match=said):
        read_log(tmp_path / "b.parquet", guess=True)
    pd.DataFrame(columns=["session"], dtype="str").to_parquet(tmp_path / "c.parquet")
    with pytest.raises(LogError, match="missing distance_ft"):
        read_log(tmp_path / "c.parquet")


def test_a_grip_written_down_is_proposed_as_the_condition_where_it_changed(tmp_path):
    rows = "".join(f"2026-01-01,10,1,{grip}\n" for grip in ("usual", "new", "new"))
    path = csv_of(tmp_path, f"Date,Length (ft),Direction (°),Grip\n{rows}")
    found = read_log(path, guess=True)
    assert found.understood.columns["Grip"] == "condition"
    assert "Grip" in found.understood.unsure
    assert set(found.putts["condition"]) == {"usual", "new"}
    same = csv_of(tmp_path, f"Date,Length (ft),Direction (°),Grip\n{rows.replace('usual', 'new')}")
    assert "Grip" not in read_log(same, guess=True).understood.columns
