"""Which files make up a log."""

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

from putlab.errors import LogError
from putlab.intake.cells import printable
from putlab.intake.tables import ENDINGS, reading

PACKAGE = "datapackage.json"

# Programs that save tables in other forms, which a spreadsheet can save again.
OTHER_TABLES = (".xls", ".xlsm", ".xlsb", ".ods", ".numbers", ".gz", ".zip", ".pq", ".feather")


@dataclass
class LogFiles:
    """The files of a log, in reading order.

    Attributes
    ----------
    paths : list of pathlib.Path
        Files to read.
    root : pathlib.Path
        The folder that they are named from.
    options : dict of pathlib.Path to dict
        Encoding and separator where a data package states them.
    rules : dict of str to float
        Reading rules that a data package declares.
    notes : list of str
        What else lies in the folder and was left out.
    warnings : list of str
        What the user should look at.
    """

    paths: list
    root: Path
    options: dict = field(default_factory=dict)
    rules: dict = field(default_factory=dict)
    notes: list = field(default_factory=list)
    warnings: list = field(default_factory=list)

    def name_of(self, path):
        """Return what a file is called in messages and rejects.

        Parameters
        ----------
        path : pathlib.Path
            One of the files.

        Returns
        -------
        str
            Its path inside the log's folder.
        """
        # A name that is no valid text, or holds control characters, must not reach a terminal.
        return printable(path.relative_to(self.root).as_posix())


def find_files(path):
    """Find the files of a log.

    Parameters
    ----------
    path : path-like
        A file, a folder, or a ``datapackage.json``.

    Returns
    -------
    LogFiles
        Never empty.

    Raises
    ------
    LogError
        Nothing is there, or nothing that can be read.
    """
    path = Path(path)
    if path.name == PACKAGE:
        path = path.parent
    with reading(path):
        _must_exist(path)
        found = _of_folder(path) if path.is_dir() else _of_file(path)
    for file in found.paths:
        _must_be_file(file)
    return found


def _must_exist(path):
    if path.is_symlink() and not path.exists():
        raise LogError(f"{path} is a link that leads nowhere; give the log itself.")
    if not path.exists():
        raise LogError(
            f"{path} does not exist; give a log of putts ({', '.join(ENDINGS)}) or a folder."
        )


def _must_be_file(path):
    if path.is_symlink() and not path.exists():
        raise LogError(f"{path} is a link that leads nowhere; delete it or give it its file.")
    if not path.is_file():
        raise LogError(f"{path} is not a file; expected one of {', '.join(ENDINGS)}.")


def _of_file(path):
    if path.suffix.lower() not in ENDINGS:
        raise LogError(
            f"{path} cannot be read: its ending is {path.suffix or 'missing'}; expected one "
            f"of {', '.join(ENDINGS)}. Spreadsheets can save as .xlsx or .csv."
        )
    found = LogFiles([path], path.parent)
    package = path.parent / PACKAGE
    if package.is_file():
        _declared(found, package, only=path)
    return found


def _of_folder(folder):
    package = folder / PACKAGE
    found = LogFiles([], folder)
    if package.is_file():
        _declared(found, package)
    if not found.paths:
        found.paths = _log_files(folder, found)
    if not found.paths:
        raise LogError(
            f"{folder} holds no log; expected files that end in {', '.join(ENDINGS)} in the "
            "folder itself, not in folders inside it."
        )
    return found


def _declared(found, package, only=None):
    from putlab.datapackage import read_datapackage

    declared = read_datapackage(package)
    wanted = [r for r in declared.resources if only is None or only in r.paths]
    if only is None:
        found.paths = list(dict.fromkeys(p for resource in wanted for p in resource.paths))
        others = sorted(p.name for p in package.parent.iterdir() if _is_log(p))
        left = [name for name in others if name not in declared.listed]
        if found.paths and left:
            found.warnings.append(
                f"{', '.join(left)} not read: {PACKAGE} does not list them. Add them there, or "
                "take it away to read every file."
            )
    elif not wanted:
        found.notes.append(f"{PACKAGE} does not list {only.name}; its rules are not used.")
    for resource in wanted:
        found.options |= dict.fromkeys(resource.paths, resource.options)
    found.rules = declared.rules_of(wanted)
    found.warnings += declared.warnings


def _is_log(path):
    return path.suffix.lower() in ENDINGS and not _left_out(path)


def _left_out(path):
    name = path.name.lower()
    return name.startswith((".", "~$", "truth", "readme", "reject"))


def _log_files(folder, found):
    """Return the log files of a folder by name, and note what else is there."""
    inside = sorted(folder.iterdir(), key=lambda path: path.name)
    chosen = [path for path in inside if _is_log(path) and not path.is_dir()]
    for path in inside:
        if path in chosen or path.name.startswith(".") or path.name == PACKAGE:
            continue
        if path.suffix.lower() in OTHER_TABLES:
            found.warnings.append(
                f"{path.name} was not read: save it as .xlsx or .csv to include it."
            )
        else:
            found.notes.append(f"{path.name}{'/' if path.is_dir() else ''} is not read.")
    return chosen


def digest_of(path):
    """Return the SHA-256 of a file's content.

    Parameters
    ----------
    path : path-like
        The file.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    with reading(Path(path).name), Path(path).open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def joint_digest(digests):
    """Return one digest for the files of a log, in their order.

    Parameters
    ----------
    digests : sequence of str
        Digest of each file.

    Returns
    -------
    str
        The digest of a single file is its own.
    """
    digests = list(digests)
    if len(digests) == 1:
        return digests[0]
    return hashlib.sha256("\n".join(digests).encode()).hexdigest()
