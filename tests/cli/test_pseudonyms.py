"""Under pseudonyms no name of a player, file, sheet or visit is said or written, by any command."""

import contextlib
import json
import os
import re
import shutil

import openpyxl
import pandas as pd
import pytest
from conftest import DEMO
from logs import csv_bytes, table

from putlab.cli import console
from putlab.cli.app import build_app

# Invented; no word of them stands in any sentence of the kit.
FIRST, SECOND, FILE, SHEET, VISIT = (
    "Quastora Zwibbel",
    "Øxendål",
    "Quastorafile",
    "Zwibblatt",
    "xendwk",
)
NAMES = ("quast", "zwib", "ndål", "xend", "ørl", "grümf")
# How an escape, a shortening or another normal form would show them.
NAMES += (
    "nda\u030al",
    "\\xd8",
    "\\xf8rl",
    "&oslash;",
    "\\u00d8",
    "gr\\xfc",
    "gr\\u00fcmf",
    "gru\u0308mf",
)

PLAIN = [{"player": FIRST}, {"player": SECOND}, {"player": FIRST, "line_deg": "-2"}]


def csv_log(*more, name=f"{FILE}.csv", **columns):
    def make(folder):
        (folder / name).write_bytes(csv_bytes(table(*PLAIN, *more, **columns)))

    return make


def text_log(text, name=f"{FILE}.csv", encoding="utf-8"):
    def make(folder):
        (folder / name).write_bytes(text.encode(encoding))

    return make


def packaged(resources):
    def make(folder):
        csv_log()(folder)
        (folder / "datapackage.json").write_text(json.dumps({"resources": resources}))

    return make


def workbook(*sheets, hidden=()):
    def make(folder):
        book = openpyxl.Workbook()
        book.remove(book.active)
        for title, frame in sheets:
            sheet = book.create_sheet(title)
            sheet.append(list(frame))
            for row in frame.itertuples(index=False):
                sheet.append(list(row))
            if title in hidden:
                sheet.sheet_state = "hidden"
        book.save(folder / f"{FILE}.xlsx")

    return make


def files(*made):
    def make(folder):
        for each in made:
            each(folder)

    return make


def parquet(folder):
    frame = table(*PLAIN).assign(player=[FIRST.encode(), SECOND.encode(), b"\xffzwib"])
    frame.to_parquet(folder / f"{FILE}.parquet")


def odd_name(folder):
    text_log("a,b\n1,2\n")(folder)
    os.rename(folder / f"{FILE}.csv", os.fsencode(folder) + b"/Quast\xf8rl \x1b.csv")


HEAD = "player,session,distance_ft,line_deg,condition\n"
LOGS = {
    "plain": csv_log(),
    "name in every cell": csv_log({"player": SECOND, "distance_ft": FIRST, "line_deg": SECOND}),
    "name too long": csv_log({"player": FIRST * 9}),
    "name quoted": csv_log({"player": f'"{FIRST}" \'{SECOND}\'', "roll_ft": f"'{FIRST}'"}),
    "name with a line break": csv_log({"player": f"{FIRST}\n{SECOND}"}),
    "name as a formula": csv_log({"player": f"={FIRST}", "line_deg": f"=HYPERLINK({FIRST})"}),
    "names alike": csv_log({"player": FIRST.upper()}, {"player": f" {FIRST.lower()}  "}),
    "name in two normal forms": csv_log({"player": "Grümf"}, {"player": "Gru\u0308mf"}),
    "names called as pseudonyms": csv_log({"player": "player 1"}, {"player": "player 2"}),
    "visits with names": csv_log(session=[f"{FIRST} Tuesday", f"2025-03-14 {SECOND}", VISIT]),
    "visits alike": csv_log(session=[VISIT, VISIT.upper(), f"{VISIT} "]),
    "conditions with names": csv_log(condition=[f"{FIRST}'s grip", "quastorasgrip", "OXENDAL"]),
    "conditions with part of a name": csv_log(condition=["Zwibbel", "zwibbel-2", "Quastora_new"]),
    "trials with names": csv_log(trial=[f"plan of {FIRST}", "", ""]),
    "columns with names": csv_log(**{f"putts of {FIRST}": [1, 2, 3], "quast_deg": [1, 2, 3]}),
    "row too long": text_log(f"{HEAD}{FIRST},s,10,1,a,{SECOND},{SECOND}\n{FIRST},s,10,2,a\n"),
    "row too short": text_log(f"{HEAD}{FIRST}\n{SECOND},s\n{FIRST},s,10,2,a\n"),
    "quotation left open": text_log(f'{HEAD}{FIRST},s,10,2,a\n"{SECOND},s,10,1,a\n'),
    "quotation over lines": text_log(f'{HEAD}{FIRST},s,10,2,a\n"{SECOND},s,1,1,a\nb,s,1,1,"a\n'),
    "no header": text_log(f"{FIRST},s,10,1,a\n{SECOND},s,10,1,a\n"),
    "column twice": text_log(f"player,player,session,distance_ft,line_deg\n{FIRST},x,s,9,1\n"),
    "no usable row": text_log(f"{HEAD}{FIRST},s,{SECOND},1,a\n"),
    "nobody named in a row": text_log(f"{HEAD}{FIRST},s,10,2,a\n,s,10,1,a\n"),
    "Windows-1252": text_log(f"{HEAD}{SECOND},s,10,1,a\n", encoding="cp1252"),
    "cut in a letter": text_log("Ø" * 9, encoding="utf-16"),
    "not what its ending says": text_log(FIRST, name=f"{FILE}.xlsx"),
    "unread neighbours": files(csv_log(), text_log("", f"{FIRST}.ods"), text_log("", "xend.doc")),
    "copies": files(csv_log(), csv_log(name="Zwibcopy.csv"), csv_log({}, name="xend.csv")),
    "same visit in two files": files(
        *(csv_log(*[{"player": FIRST, "roll_ft": str(n)} for n in range(9)], name=n, w=[i] * 12)
          for i, n in enumerate((f"{FILE}.csv", "xendfile.csv")))
    ),
    "file name that is no text": odd_name,
    "sheets with names": workbook((SHEET, table(*PLAIN)), ("Øxend", table({"line_deg": FIRST}))),
    "hidden and other sheets": workbook(
        (SHEET, table(*PLAIN)), ("xendhid", table()), ("Quastnotes", pd.DataFrame({FIRST: [1]})),
        hidden=("xendhid",),
    ),
    "Parquet bytes": parquet,
    "package of others": packaged([{"name": FIRST, "path": "Quastora.csv", "putlab": {}}]),
    "package with names": packaged([
        {"name": f"{SECOND} log", "path": f"{FILE}.csv", "putlab": {"quast_step": 1}},
    ]),
    "package inline": packaged([
        {"name": FIRST, "path": f"{FILE}.csv"}, {"name": SECOND, "data": [{"player": FIRST}]},
    ]),
}  # fmt: skip

COMMANDS = (
    ("check", "LOG", "--rejects", "out.json"),
    ("advise", "LOG", "--player", FIRST),
    ("review", "LOG", "--player", "player 1", "--session", VISIT),
    ("compare", "LOG", "--before", f"{FIRST}'s grip", "--after", SECOND),
)


def say(capsys, *arguments):
    """Run a command under pseudonyms; return all that it said, and its exit code."""
    code = console.run(build_app(), [*map(str, arguments), "--pseudonyms"])
    said = capsys.readouterr()
    return said.out + said.err, code


def names_in(text):
    # Four letters of a picture's bytes may be those of a name by chance.
    text = re.sub(r"base64,[\w+/=%\s]+", "", text)
    return [name for name in NAMES if name in text.casefold() or name in text.lower()]


def check_names(capsys, folder, asked):
    with contextlib.chdir(folder):
        for place, command in asked:
            said, code = say(capsys, *(place if part == "LOG" else part for part in command))
            assert code in (0, 1, 2)
            assert "error of the kit itself" not in said
            assert names_in(said) == [], (command, said)
    for written in folder.glob("out*"):
        assert names_in(written.read_text()) == [], written


@pytest.mark.parametrize("kind", LOGS)
def test_no_name_is_said_or_written_of_a_hostile_log(kind, tmp_path, capsys):
    assert len(LOGS) >= 30
    folder = tmp_path / "Zwibbel's logs"
    folder.mkdir()
    LOGS[kind](folder)
    asked = [(folder, command) for command in COMMANDS]
    check_names(capsys, tmp_path, asked + [(path, ["check", "LOG"]) for path in folder.iterdir()])


def test_no_name_is_said_of_a_log_that_is_not_there(tmp_path, capsys):
    wrong = [tmp_path / f"{FIRST}.csv", tmp_path / f"{FIRST}.txt", tmp_path / SECOND]
    check_names(capsys, tmp_path, [(path, command) for path in wrong for command in COMMANDS])


@pytest.mark.slow
def test_no_name_is_said_or_written_of_the_demo_with_hostile_names(tmp_path, capsys):
    demo = shutil.copytree(DEMO, tmp_path / f"{FIRST}'s demo")
    for path in (demo / "hall").glob("*.csv"):
        # In the order of the names that they replace, so that the kept fit is theirs too.
        text = path.read_text().replace("birch", FIRST).replace("rowan", SECOND)
        path.rename(path.with_name(FILE + path.name)).write_text(text.replace("alder", "Grümf"))
    package = demo / "datapackage.json"
    package.write_text(package.read_text().replace('"hall/', f'"hall/{FILE}'))
    commands = [
        ["check", "LOG", "--rejects", "out.csv"],
        ["estimate", "LOG", "-o", "out.json"],
        ["advise", "LOG", "-p", "player 2", "-o", "out_advise.json"],
        ["plan", "LOG", "-p", "player 2", "-o", "out_plan.csv"],
        ["report", "LOG", "-p", "player 2", "-o", "out.html"],
    ]
    check_names(capsys, tmp_path, [(demo, command) for command in commands])
    assert len(list(tmp_path.glob("out*"))) == 5


def test_the_names_searched_for_are_said_without_pseudonyms(tmp_path, capsys):
    LOGS["conditions with names"](tmp_path)
    console.run(build_app(), ["check", str(tmp_path)])
    assert {"quast", "zwib", "xend"} <= set(names_in(capsys.readouterr().out))
