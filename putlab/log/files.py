"""Which files make up a log, and the open Data Package that may lie beside them.

The package (Frictionless, versions 1 and 2; https://datapackage.org) lists files as
resources. The ``putlab`` key of a resource says how its readings were made:
``{"line_step_deg": 1, "roll_limit_ft": 36}``; that of the package itself says it of all files,
listed or not, and what their headings mean: ``{"columns": {"Direction": "line_deg"}}``.
"""

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PureWindowsPath
from typing import Any

from putlab.base.errors import LogError, UsageError
from putlab.base.words import printable
from putlab.base.writing import write_json
from putlab.log.headings import checked_columns
from putlab.log.rules import declared_rules
from putlab.log.tables import ENDINGS

EXPECTED = ", ".join(ENDINGS)

PACKAGE = "datapackage.json"
KEY = "putlab"

# Programs that save tables in other forms, which a spreadsheet can save again.
OTHER_TABLES = (".xls", ".xlsm", ".xlsb", ".ods", ".numbers", ".gz", ".zip", ".pq", ".feather")


@dataclass
class LogFiles:
    """The files of a log in reading order, named from a folder, and what was noticed there."""

    paths: list[Path]
    root: Path
    encodings: dict[Path, str | None] = field(default_factory=dict)
    rules: dict[str, float] = field(default_factory=dict)
    columns: dict[str, str] = field(default_factory=dict)  # by heading
    notes: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def name_of(self, path: Path) -> str:
        """Return what a file is called in messages and rejects."""
        # A name that is no valid text, or holds control characters, must not reach a terminal.
        return printable(path.relative_to(self.root).as_posix())


def find_files(path: str | Path) -> LogFiles:
    """Find the files of a log: a file, a folder, or a ``datapackage.json``; never none."""
    path = Path(path)
    if path.name == PACKAGE:
        path = path.parent
    with reading(path):
        found = _found(path)
        for file in found.paths:
            if not file.is_file():
                raise LogError(
                    f"{file} does not exist, is not a file, or is a link that leads nowhere; "
                    f"expected a log of putts ({EXPECTED}) or a folder."
                )
    return found


def _found(path: Path) -> LogFiles:
    if path.is_dir():
        found = LogFiles([], path)
    elif path.suffix.lower() in ENDINGS:
        found = LogFiles([path], path.parent)
    else:
        raise LogError(
            f"{path} is no folder, and its ending is {path.suffix or 'missing'}; expected one "
            f"of {EXPECTED}. Spreadsheets can save as .xlsx or .csv."
        )
    if (found.root / PACKAGE).is_file():
        _use_package(found.root / PACKAGE, found)
    found.paths = found.paths or _log_files(found)
    if not found.paths:
        raise LogError(
            f"{path} holds no log; expected files that end in {EXPECTED} in the folder itself, "
            "not in folders inside it."
        )
    return found


def _use_package(package: Path, found: LogFiles) -> None:
    """Take what a package says of the one file found, or of all its files where none is.

    Those of the log are the resources with a ``putlab`` key, or all tables where none has one.
    """
    whole = _package_of(package)
    every = whole["resources"]
    tables = [r for r in every if KEY in r] or [r for r in every if _looks_like_table(r)]
    told = {_inside(package, _name(r), path): r for r in tables for path in _paths(r)}
    if found.paths:
        told = {path: r for path, r in told.items() if path in found.paths}
        if not told and KEY not in whole:
            name = found.paths[0].name
            found.notes.append(f"{PACKAGE} does not list {name}; its rules are not used.")
    elif told and KEY not in whole:
        mentioned = {str(path) for r in every for path in _paths(r)}
        left = sorted({p.name for p in found.root.iterdir() if _is_log(p)} - mentioned)
        found.paths = list(told)
        found.warnings += left and [
            f"{', '.join(left)} not read: {PACKAGE} does not list them. Add them there, or "
            "take it away to read every file."
        ]
    found.encodings = {path: _encoding(r) for path, r in told.items()}
    own = whole.get(KEY, {})
    columns = own.pop("columns", {}) if isinstance(own, dict) else {}
    found.columns = _checked(package, "columns", columns, checked_columns)
    found.rules = _checked(package, KEY, own, declared_rules) | _common_rules(package, told)


def _common_rules(package: Path, told: dict[Path, dict[str, Any]]) -> dict[str, float]:
    """Return the reading rules of files read together, which must be the same."""
    common: dict[str, float] = {}
    for resource in told.values():
        rules = _checked(package, _name(resource), resource.get(KEY), declared_rules)
        if rules and common and rules != common:
            raise LogError(
                f"{package}: {_name(resource)} declares other reading rules than those before "
                "it. Keep logs read by different displays in separate folders."
            )
        common = rules or common
    return common


def _is_log(path: Path) -> bool:
    left_out = (".", "~$", "truth", "readme", "reject")
    return path.suffix.lower() in ENDINGS and not path.name.lower().startswith(left_out)


def _log_files(found: LogFiles) -> list[Path]:
    """Return the log files of a folder by name, and note what else is there."""
    chosen = []
    for path in sorted(found.root.iterdir(), key=lambda path: path.name):
        name = path.name
        if _is_log(path) and not path.is_dir():
            chosen.append(path)
        elif name.startswith(".") or name == PACKAGE:
            continue
        elif path.suffix.lower() in OTHER_TABLES:
            found.warnings.append(f"{name} was not read: save it as .xlsx or .csv to include it.")
        else:
            found.notes.append(f"{name}{'/' if path.is_dir() else ''} is not read.")
    return chosen


@contextmanager
def reading(name: str | Path) -> Iterator[None]:
    """Turn what the system says about a file that cannot be read into a `LogError`."""
    try:
        yield
    except OSError as error:
        raise LogError(
            f"{name} could not be read: {error.strerror or error}. Check the file and its "
            "permissions."
        ) from error


def content_of(path: Path, name: str) -> bytes:
    """Return the whole of a file that nobody is writing at this moment."""
    with reading(name):
        before = path.stat()
        content = path.read_bytes()
        after = path.stat()
    same = (before.st_size, before.st_mtime_ns) == (after.st_size, after.st_mtime_ns)
    if not same or len(content) != after.st_size:
        raise LogError(f"{name} changed while it was read; run the same command again.")
    return content


def digest_of(content: bytes) -> str:
    """Return the SHA-256 of a file's content, 64 hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()


def joint_digest(digests: Iterable[str]) -> str:
    """Return one digest for the files of a log, in their order; that of one file is its own."""
    first, *others = digests
    return digest_of("\n".join([first, *others]).encode()) if others else first


# The Data Package: what it lists and says.


def _package_of(package: Path) -> dict[str, Any]:
    try:
        with reading(package):
            found = json.loads(package.read_bytes())
    except (ValueError, RecursionError) as error:
        told = isinstance(error, json.JSONDecodeError)
        why = str(error)[:120] if told else "not text, or a number too long or lists too deep"
        raise LogError(
            f"{package} is not JSON that can be read ({why}). Correct it, or take it away to read "
            "the log without it."
        ) from error
    resources = found.get("resources") if isinstance(found, dict) else None
    if not isinstance(resources, list) or not all(isinstance(r, dict) for r in resources):
        raise LogError(f"{package} is no data package: expected a list under 'resources'.")
    return found


def _paths(resource: dict[str, Any]) -> list[Any]:
    paths = resource.get("path")
    return paths if isinstance(paths, list) and paths else [paths]


def _looks_like_table(resource: dict[str, Any]) -> bool:
    endings = {Path(str(path)).suffix.lower() for path in _paths(resource)}
    return "data" in resource or endings <= set(ENDINGS)


def _name(resource: dict[str, Any]) -> str:
    return f"resource {str(resource.get('name', 'unnamed'))[:60]!r}"


def _encoding(resource: dict[str, Any]) -> str | None:
    # A byte-order mark settles the encoding better than a descriptor that says utf-8.
    given = resource.get("encoding")
    return None if str(given).lower().replace("-", "") == "utf8" else given


def _checked(package: Path, place: str, said: Any, check: Callable[[Any], Any]) -> Any:
    try:
        return check(said)
    except UsageError as error:
        raise LogError(f"{package}, {place}: {error}") from error


def _inside(package: Path, name: str, path: Any) -> Path:
    """Return a resource's file; it must lie in the package's own folder."""
    if not isinstance(path, str) or not path:
        raise LogError(f"{package}: {name} needs the name of a file under 'path'.")
    where = f"{package}: {name} lists {path[:100]!r}"
    # Windows' reading of a path knows every separator, and drives.
    parts = PureWindowsPath(path)
    if parts.anchor or ".." in parts.parts or re.match(r"~|.*\0|[a-zA-Z][\w+.-]+:", path, re.S):
        raise LogError(f"{where}, which leads outside the folder of the package. Save it there.")
    file = package.parent / path
    if not file.exists():
        raise LogError(f"{where}, which is not there.")
    return file


def keep_columns(path: str | Path, columns: Mapping[str, str], **rules: float) -> Path:
    """Keep what headings mean in the ``datapackage.json`` beside a log, for visits to come.

    Parameters
    ----------
    path : path-like
        The log: a file or a folder.
    columns : Mapping
        What headings are read as, as `read_log` takes them.
    **rules : float
        Reading rules to declare for all files, such as ``aim_past_ft=1``.

    Returns
    -------
    Path
        The package written; what else it held stays.

    Raises
    ------
    LogError
        The log or its package cannot be read.
    UsageError
        A column or rule is unknown.
    """
    found = find_files(path)
    package = found.root / PACKAGE
    listed = [{"name": file.stem, "path": file.name} for file in found.paths]
    whole: dict[str, Any] = {"resources": listed}
    whole |= _package_of(package) if package.exists() else {}
    said = found.columns | checked_columns(columns)
    whole[KEY] = whole.get(KEY, {}) | declared_rules(rules) | {"columns": said}
    write_json(package, whole)
    return package
