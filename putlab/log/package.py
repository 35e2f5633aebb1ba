"""The description beside a log: an open Frictionless Data Package (versions 1 and 2).

Each resource is a file of the log; its ``putlab`` key says how the readings were made:
``{"line_step_deg": 1, "roll_limit_ft": 36}``. The form is at https://datapackage.org.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from putlab.base.errors import LogError, OutputError, UsageError
from putlab.base.writing import write_text
from putlab.log.schema import ACCEPTED_NAMES, COLUMN, M_PER_FT, closest, tidy
from putlab.log.tables import ENDINGS, open_tables, reading

if TYPE_CHECKING:
    import pandas as pd

VERSION_2 = "https://datapackage.org/profiles/2.0/datapackage.json"

PACKAGE = "datapackage.json"


KEY = "putlab"

MEDIA_TYPES = {
    ".csv": "text/csv",
    ".tsv": "text/tab-separated-values",
    ".parquet": "application/vnd.apache.parquet",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}

FIELD_TYPES = {"label": "string", "number": "number", "whole": "integer", "flag": "boolean"}


@dataclass(frozen=True)
class Resource:
    """A file, or several read as one, that a package lists."""

    name: str
    paths: tuple
    rules: dict | None
    options: dict


@dataclass(frozen=True)
class Package:
    """What a ``datapackage.json`` says about a log."""

    path: Path
    resources: tuple
    listed: frozenset = frozenset()
    warnings: tuple = field(default=())

    def rules_of(self, resources: Any) -> Any:
        """Return the reading rules that hold for some of the resources."""
        declared = [r for r in resources if r.rules]
        for resource in declared[1:]:
            if resource.rules != declared[0].rules:
                raise LogError(
                    f"{self.path}: resources {declared[0].name!r} and {resource.name!r} "
                    "declare different reading rules. Keep logs read by different displays "
                    "in separate folders."
                )
        return dict(declared[0].rules) if declared else {}


def read_datapackage(path: str | Path) -> Any:
    """Read which files belong to a log and how its readings were made."""
    path = Path(path)
    path = path / PACKAGE if path.is_dir() else path
    found = _load(path).get("resources")
    if not isinstance(found, list) or not all(isinstance(r, dict) for r in found):
        raise LogError(f"{path} is no data package: expected a list under 'resources'.")
    marked = [r for r in found if KEY in r]
    tables = marked or [r for r in found if _looks_like_table(r)]
    resources = tuple(_resource(path, r) for r in tables)
    warnings = tuple(
        f"{path.name}: resource {str(r.get('name'))[:40]!r} holds its data inline and was "
        "not read; put it in a file."
        for r in found
        if "data" in r and r not in tables
    )
    listed = frozenset(str(p) for r in found for p in _paths(r))
    return Package(path, resources, listed, warnings)


def _load(path: Any) -> Any:
    try:
        with reading(path):
            package = json.loads(path.read_bytes())
    except (ValueError, RecursionError) as error:
        raise LogError(
            f"{path} is not JSON ({str(error)[:120]}). Correct it, or take it away to read "
            "the log without it."
        ) from error
    if not isinstance(package, dict):
        raise LogError(f"{path} is no data package: expected an object with 'resources'.")
    return package


def _paths(resource: Any) -> Any:
    paths = resource.get("path")
    return paths if isinstance(paths, list) else [paths]


def _looks_like_table(resource: Any) -> Any:
    paths = _paths(resource)
    return bool(paths) and all(
        isinstance(p, str) and Path(p).suffix.lower() in ENDINGS for p in paths
    )


def _resource(package: Any, resource: Any) -> Resource:
    name = str(resource.get("name", "unnamed"))[:60]
    paths = _paths(resource)
    if not paths:
        raise LogError(f"{package}: resource {name!r} lists no file under 'path'.")
    try:
        rules = declared_rules(resource[KEY]) if KEY in resource else None
    except UsageError as error:
        raise LogError(f"{package}, resource {name!r}: {error}") from error
    files = tuple(_inside(package, name, p) for p in paths)
    return Resource(name, files, rules, _options(package, name, resource))


def _inside(package: Any, name: Any, path: Any) -> Any:
    """Return a resource's file; it must lie in the package's own folder."""
    if not isinstance(path, str) or not path:
        raise LogError(f"{package}: resource {name!r} needs the name of a file under 'path'.")
    where = f"{package}: resource {name!r} lists {path[:100]!r}"
    if re.match(r"[a-zA-Z][a-zA-Z0-9+.-]+:", path):
        raise LogError(f"{where}; the kit makes no network call. Save the file beside it.")
    parts = re.split(r"[/\\]", path)
    drive = path[1:2] == ":"
    if ".." in parts or drive or path.startswith(("/", "\\", "~")) or "\0" in path:
        raise LogError(f"{where}, which leads outside the folder of the package.")
    file = package.parent / path
    if not file.exists():
        raise LogError(f"{where}, which is not there.")
    return file


def _options(package: Any, name: Any, resource: Any) -> Any:
    """Return encoding and separator as stated, in the words of `open_tables`."""
    dialect = resource.get("dialect")
    options = {
        "encoding": resource.get("encoding"),
        "separator": dialect.get("delimiter") if isinstance(dialect, dict) else None,
    }
    options = {key: value for key, value in options.items() if value is not None}
    separator = options.get("separator", ",")
    if not isinstance(separator, str) or len(separator) != 1 or separator in '\r\n"':
        raise LogError(f"{package}: resource {name!r}: the delimiter must be one character.")
    try:
        "".encode(options.get("encoding", "utf-8"))
    except (LookupError, TypeError, ValueError) as error:
        raise LogError(f"{package}: resource {name!r}: the encoding is unknown.") from error
    # A byte-order mark settles the encoding better than a descriptor that says utf-8.
    if str(options.get("encoding")).lower().replace("-", "") == "utf8":
        del options["encoding"]
    return options


def write_datapackage(
    folder: str | Path,
    files: Any,
    rules: Any = None,
    *,
    name: str = "putts",
    title: str = "",
    description: str = "",
) -> Any:
    """Write the ``datapackage.json`` of a log."""
    folder = Path(folder)
    declared = declared_rules(rules)
    package: dict[str, Any] = {"$schema": VERSION_2, "name": name}
    package |= {k: v for k, v in (("title", title), ("description", description)) if v}
    package["resources"] = [_described(folder, Path(file), declared) for file in files]
    path = folder / PACKAGE
    if not folder.is_dir():
        raise OutputError(f"{folder} is no folder; make it first.")
    write_text(path, json.dumps(package, indent=2, ensure_ascii=False) + "\n")
    return path


def _described(folder: Any, file: Any, declared: Any) -> dict:
    _inside(folder / PACKAGE, file.stem, file.as_posix())
    tables = open_tables(folder / file)
    stem = re.sub(r"[^a-z0-9._-]+", "-", file.with_suffix("").as_posix().lower()).strip("-")
    ending, separator = file.suffix.lower(), tables[0].separator
    return {
        "name": stem or "log",
        "type": "table",
        "path": file.as_posix(),
        "format": ending.removeprefix("."),
        "mediatype": MEDIA_TYPES[ending],
        "encoding": tables[0].encoding.removesuffix("-sig"),
        **({} if separator == "," else {"dialect": {"delimiter": separator}}),
        "schema": {
            "fields": [_field(column) for column in tables[0].header],
            "missingValues": [""],
        },
        KEY: declared,
    }


def _field(found: Any) -> Any:
    """Return the Table Schema field of one column of a file."""
    known = ACCEPTED_NAMES.get(tidy(found))
    if known is None:
        return {"name": found, "type": "any"}
    column = COLUMN[known]
    metric = tidy(found) == column.metric
    scale = M_PER_FT if metric else 1.0
    limits: dict[str, Any] = {"required": True} if column.needed and not column.metric else {}
    if column.choices:
        limits["enum"] = list(column.choices)
    for end, value in (("minimum", column.least), ("maximum", column.most)):
        if value is not None:
            limits[end] = int(value) if column.kind == "whole" else round(value * scale, 6)
    described = {
        "name": found,
        "type": FIELD_TYPES[column.kind],
        "description": column.meaning + (f" In {_unit(column, metric)}." if column.unit else ""),
    }
    if column.kind == "flag":
        described |= {
            "trueValues": ["true", "True", "TRUE", "yes", "1"],
            "falseValues": ["false", "False", "FALSE", "no", "0"],
        }
    return described | ({"constraints": limits} if limits else {})


def _unit(column: Any, metric: Any) -> Any:
    names = {"ft": "feet", "deg": "degrees", "%": "percent"}
    return "metres" if metric else names[column.unit]


# How readings were made: their steps, limits and noise, declared or read off the data.


DECLARED, READ_OFF, ASSUMED = "declared", "read off the data", "assumed"

MEANINGS = {
    "line_step_deg": "Step of the direction display, degrees; 0 where finer than matters.",
    "line_limit_deg": "Largest direction the display can show, either side, degrees.",
    "roll_step_ft": "Step of the roll-out reading, feet.",
    "roll_limit_ft": "Distance from the ball to a backstop or the end of the mat, feet.",
    "line_noise_deg": "Known spread of the direction sensor itself, degrees.",
    "roll_noise_ft": "Known spread of the roll-out sensor itself, feet.",
}

# Largest value each rule can have: a step of a right angle reads nothing.
MOST = {
    "line_step_deg": 45.0,
    "line_limit_deg": 90.0,
    "roll_step_ft": 30.0,
    "roll_limit_ft": COLUMN["roll_ft"].most,
    "line_noise_deg": 45.0,
    "roll_noise_ft": 30.0,
}

# Steps that displays and tapes have, largest first. Inches are twelfths of a foot.
LINE_STEPS_DEG = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.001)
ROLL_STEPS_FT = (1.0, 0.5, 0.25, 0.2, 0.1, 1 / 12, 0.05, 1 / 24, 0.02, 0.01, 0.001)
ROLL_STEPS_M = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.001)

# Share of readings that must sit on a step, so that a typing error or two does not hide it.
ON_STEP = 0.98

# How far off a step, as a part of it, a reading may be: room for narrow floats.
SLACK = 0.01


@dataclass(frozen=True)
class ReadingRules:
    """How the readings of a log were made.

    Attributes
    ----------
    line_step_deg, roll_step_ft : float
        Step of the reading: a display that shows +1 in steps of 1 says 0.5 to 1.5.
        0 where the reading is finer than matters.
    line_limit_deg, roll_limit_ft : float or None
        Largest reading possible; one at or beyond it says *at least*. None: no limit.
    line_noise_deg, roll_noise_ft : float
        Known spread of the sensor itself; adds in quadrature to the golfer's.
    source : dict of str to str
        For each field ``declared``, ``read off the data`` or ``assumed``. Fields given to
        the constructor are declared, the rest assumed, unless said otherwise.
    """

    line_step_deg: float | None = None
    line_limit_deg: float | None = None
    roll_step_ft: float | None = None
    roll_limit_ft: float | None = None
    line_noise_deg: float | None = None
    roll_noise_ft: float | None = None
    source: Mapping = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Check every value given and fill in what was not."""
        source = dict(self.source)
        for name in MEANINGS:
            value = getattr(self, name)
            source.setdefault(name, ASSUMED if value is None else DECLARED)
            if value is not None:
                value = _checked(name, value)
            elif not name.endswith(("limit_deg", "limit_ft")):
                value = 0.0
            object.__setattr__(self, name, value)
        object.__setattr__(self, "source", source)

    @property
    def declared(self) -> dict:
        """The declared fields and their values, as a dict."""
        return {n: getattr(self, n) for n in MEANINGS if self.source[n] == DECLARED}


def _checked(name: Any, value: Any) -> float:
    number: Any = value if isinstance(value, int | float | np.number) else math.nan
    lowest = "above 0" if "limit" in name else "0 or more"
    too_low = number <= 0 if "limit" in name else number < 0
    if isinstance(value, bool) or not math.isfinite(number) or too_low or number > MOST[name]:
        raise UsageError(
            f"reading rule {name}: got {str(value)[:40]!r}; expected a number, {lowest} and at "
            f"most {MOST[name]:g}. {MEANINGS[name]}"
        )
    return float(number)


def declared_rules(given: Any) -> Any:
    """Check rules given by name."""
    if given is None:
        return {}
    if isinstance(given, ReadingRules):
        return given.declared
    if not isinstance(given, Mapping):
        raise UsageError(f"reading rules must be names and numbers; got {str(given)[:60]!r}.")
    for name in given:
        if name not in MEANINGS:
            near = closest(name, tuple(MEANINGS))
            hint = f" Did you mean {near}?" if near else ""
            raise UsageError(
                f"{str(name)[:60]!r} is no reading rule.{hint} Known: {', '.join(MEANINGS)}."
            )
    return {name: _checked(name, v) for name, v in given.items() if v is not None}


def complete_rules(
    declared: dict, table: pd.DataFrame, *, metric_rolls: np.ndarray | None = None
) -> Any:
    """Add the steps read off the data to the rules that were declared."""
    rules = ReadingRules(**declared)
    found = {}
    if "line_step_deg" not in declared and table["line_deg"].notna().any():
        found["line_step_deg"] = common_step(table["line_deg"].to_numpy(), LINE_STEPS_DEG)
    if "roll_step_ft" not in declared and table["roll_ft"].notna().any():
        found["roll_step_ft"] = _roll_step(table["roll_ft"].to_numpy(), metric_rolls)
    return replace(rules, **found, source=dict(rules.source) | dict.fromkeys(found, READ_OFF))


def _roll_step(rolls_ft: Any, metric: Any) -> Any:
    """Return the coarser of the steps in feet and in metres that the roll-outs sit on."""
    if metric is None or not metric.any():
        return common_step(rolls_ft, ROLL_STEPS_FT)
    in_m = common_step(rolls_ft[metric] * M_PER_FT, ROLL_STEPS_M) / M_PER_FT
    rest = rolls_ft[~metric]
    if np.all(np.isnan(rest)):
        return in_m
    # One step serves the log; the coarser one never claims more than was read.
    return max(in_m, common_step(rest, ROLL_STEPS_FT))


def common_step(readings: np.ndarray, steps: Any) -> Any:
    """Return the greatest step that (nearly) all readings are multiples of."""
    present = readings[~np.isnan(readings)]
    for step in steps if present.size else ():
        off = np.abs(present / step - np.round(present / step))
        if np.mean(off < SLACK) >= ON_STEP:
            return step
    return 0.0
