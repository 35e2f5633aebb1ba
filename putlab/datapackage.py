"""The description beside a log: an open Frictionless Data Package (versions 1 and 2).

Each resource is a file of the log; its ``putlab`` key says how the readings were made:
``{"line_step_deg": 1, "roll_limit_ft": 36}``. The form is at https://datapackage.org.
"""

import json
import re
from dataclasses import dataclass, field
from pathlib import Path

from putlab.errors import LogError, OutputError, UsageError
from putlab.intake.files import PACKAGE
from putlab.intake.tables import ENDINGS, open_tables, reading
from putlab.rules import declared_rules
from putlab.schema import ACCEPTED_NAMES, COLUMN, M_PER_FT, tidy
from putlab.writing import write_text

VERSION_2 = "https://datapackage.org/profiles/2.0/datapackage.json"

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
    """A file, or several read as one, that a package lists.

    Attributes
    ----------
    name : str
        Its name in the package.
    paths : tuple of pathlib.Path
        Its files, inside the package's folder.
    rules : dict of str to float, or None
        Reading rules under its ``putlab`` key; None where it has no such key.
    options : dict
        Encoding and separator, where stated.
    """

    name: str
    paths: tuple
    rules: dict | None
    options: dict


@dataclass(frozen=True)
class Package:
    """What a ``datapackage.json`` says about a log.

    Attributes
    ----------
    path : pathlib.Path
        The file.
    resources : tuple of Resource
        Those that belong to the log.
    listed : frozenset of str
        Names of all files it mentions, of the log or not.
    warnings : tuple of str
        Resources left out that might have been meant.
    """

    path: Path
    resources: tuple
    listed: frozenset = frozenset()
    warnings: tuple = field(default=())

    def rules_of(self, resources):
        """Return the reading rules that hold for some of the resources.

        Parameters
        ----------
        resources : sequence of Resource
            Resources read together.

        Returns
        -------
        dict of str to float
            Their rules, as declared.

        Raises
        ------
        LogError
            Two resources declare different rules: one log has one set.
        """
        declared = [r for r in resources if r.rules]
        for resource in declared[1:]:
            if resource.rules != declared[0].rules:
                raise LogError(
                    f"{self.path}: resources {declared[0].name!r} and {resource.name!r} "
                    "declare different reading rules. Keep logs read by different displays "
                    "in separate folders."
                )
        return dict(declared[0].rules) if declared else {}


def read_datapackage(path):
    """Read which files belong to a log and how its readings were made.

    Parameters
    ----------
    path : path-like
        A ``datapackage.json``, version 1 or 2, or its folder.

    Returns
    -------
    Package
        The resources with a ``putlab`` key, or all tables where none has one.

    Raises
    ------
    LogError
        It is not a data package, leads outside its folder, or declares an unknown rule.
    """
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


def _load(path):
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


def _paths(resource):
    paths = resource.get("path")
    return paths if isinstance(paths, list) else [paths]


def _looks_like_table(resource):
    paths = _paths(resource)
    return bool(paths) and all(
        isinstance(p, str) and Path(p).suffix.lower() in ENDINGS for p in paths
    )


def _resource(package, resource):
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


def _inside(package, name, path):
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


def _options(package, name, resource):
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


def write_datapackage(folder, files, rules=None, *, name="putts", title="", description=""):
    """Write the ``datapackage.json`` of a log.

    Parameters
    ----------
    folder : path-like
        Folder of the log; the description is written into it.
    files : sequence of str
        The log's files, relative to the folder. Their headers are read.
    rules : ReadingRules or Mapping, optional
        How the readings were made; only declared rules are written.
    name : str
        Short name of the package: lower-case letters, digits, ``-``, ``_`` and ``.``.
    title, description : str
        For people.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    LogError
        A file cannot be read.
    UsageError
        A rule is unknown or cannot have its value.
    OutputError
        The file could not be written.
    """
    folder = Path(folder)
    declared = declared_rules(rules)
    package = {"$schema": VERSION_2, "name": name}
    package |= {k: v for k, v in (("title", title), ("description", description)) if v}
    package["resources"] = [_described(folder, Path(file), declared) for file in files]
    path = folder / PACKAGE
    if not folder.is_dir():
        raise OutputError(f"{folder} is no folder; make it first.")
    write_text(path, json.dumps(package, indent=2, ensure_ascii=False) + "\n")
    return path


def _described(folder, file, declared):
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


def _field(found):
    """Return the Table Schema field of one column of a file."""
    known = ACCEPTED_NAMES.get(tidy(found))
    if known is None:
        return {"name": found, "type": "any"}
    column = COLUMN[known]
    metric = tidy(found) == column.metric
    scale = M_PER_FT if metric else 1.0
    limits = {"required": True} if column.needed and not column.metric else {}
    if column.choices:
        limits["enum"] = list(column.choices)
    for end, value in (("minimum", column.least), ("maximum", column.most)):
        if value is not None:
            limits[end] = int(value) if column.kind == "whole" else round(value * scale, 6)
    described = {
        "name": found,
        "type": FIELD_TYPES[column.kind],
        "description": column.meaning
        + (f" In {_unit(column, metric)}." if column.unit else ""),
    }
    if column.kind == "flag":
        described |= {
            "trueValues": ["true", "True", "TRUE", "yes", "1"],
            "falseValues": ["false", "False", "FALSE", "no", "0"],
        }
    return described | ({"constraints": limits} if limits else {})


def _unit(column, metric):
    names = {"ft": "feet", "deg": "degrees", "%": "percent"}
    return "metres" if metric else names[column.unit]
