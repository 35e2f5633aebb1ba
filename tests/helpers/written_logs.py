"""Logs as the kit's demos are kept: a CSV and the Data Package that describes it."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from putlab.base.writing import FORMULA_STARTS, write_text
from putlab.log.files import KEY, PACKAGE
from putlab.log.rules import ReadingRules, declared_rules
from putlab.log.schema import ACCEPTED_NAMES, COLUMN, M_PER_FT

VERSION_2 = "https://datapackage.org/profiles/2.0/datapackage.json"

FIELD_TYPES = {"label": "string", "number": "number", "whole": "integer", "flag": "boolean"}
TRUE, FALSE = ["true", "True", "TRUE", "yes", "1"], ["false", "False", "FALSE", "no", "0"]
UNITS = {"ft": " In feet.", "m": " In metres.", "deg": " In degrees.", "%": " In percent.", "": ""}


def write_log(putts: pd.DataFrame, path: str | Path) -> None:
    """Write putts, in feet, as a CSV log; columns that are all blank are left out."""
    names = [name for name in COLUMN if name in putts and putts[name].notna().any()]
    table = putts[names].copy()
    for name in names:
        kind = COLUMN[name].kind
        if kind == "whole":
            table[name] = table[name].astype("Int64")
        elif kind == "flag":
            table[name] = table[name].map({True: "true", False: "false"}, na_action="ignore")
        elif kind == "label":
            table[name] = table[name].map(_as_text, na_action="ignore")
    write_text(path, table.to_csv(index=False, lineterminator="\n"))


def _as_text(label: str) -> str:
    """Mark a label that a spreadsheet would run as a formula; reading takes it off again."""
    return "'" + label if label.startswith(FORMULA_STARTS) else label


def write_datapackage(
    folder: str | Path,
    files: Sequence[str],
    rules: Mapping[str, Any] | ReadingRules | None = None,
    **words: str,
) -> None:
    """Describe files by `write_log` in a ``datapackage.json`` with a name, title, description."""
    folder = Path(folder)
    declared = declared_rules(rules)
    resources = [_described(folder, file, declared) for file in files]
    package = {"$schema": VERSION_2, **words, "resources": resources}
    write_text(folder / PACKAGE, json.dumps(package, indent=2, ensure_ascii=False) + "\n")


def _described(folder: Path, file: str, declared: dict[str, float]) -> dict[str, Any]:
    fields = [_field(name) for name in pd.read_csv(folder / file, nrows=0)]
    return {
        "name": Path(file).stem,
        "type": "table",
        "path": file,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {"fields": fields, "missingValues": [""]},
        KEY: declared,
    }


def _field(name: str) -> dict[str, Any]:
    """Return the Table Schema field of a column, under its name in feet or in metres."""
    column = COLUMN[ACCEPTED_NAMES[name]]
    unit, scale = ("m", M_PER_FT) if name == column.metric else (column.unit, 1.0)
    limits: dict[str, Any] = {"required": True} if column.needed and not column.metric else {}
    if column.choices:
        limits["enum"] = list(column.choices)
    if column.kind in ("number", "whole"):
        number = int if column.kind == "whole" else float
        limits |= {"minimum": number(column.least * scale), "maximum": number(column.most * scale)}
    said = column.meaning + UNITS[unit]
    field = {"name": name, "type": FIELD_TYPES[column.kind], "description": said}
    flags = {"trueValues": TRUE, "falseValues": FALSE} if column.kind == "flag" else {}
    return field | flags | ({"constraints": limits} if limits else {})
