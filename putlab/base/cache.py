"""Fits, and what was made of them, kept on disk by the hash of everything that determines them.

An entry is a plain ``.npz`` file: arrays only, never pickled objects. Its name is the hash
of the code, the data, priors, settings and versions that made it, and the same hash stands
inside, so an entry that is cut short, altered or put there by something else is computed anew;
so is one that another user owns or may write to.
"""

import contextlib
import hashlib
import io
import json
import marshal
import os
import platform
import stat
from collections.abc import Callable
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from types import CodeType
from typing import Any

import numpy as np

from putlab.base.errors import OutputError
from putlab.base.settings import PACKAGE
from putlab.base.writing import write_bytes

# The rooms in the order of the line; each imports from those before it only.
ROOMS = (
    "base", "log", "green", "model", "posterior", "rounds", "practice", "trial", "pages", "cli"
)  # fmt: skip
VERSIONS_OF = ("putlab", "pymc", "nutpie", "numpy", "pandas", "arviz", "scipy")


@lru_cache
def versions() -> dict[str, str]:
    """Return the versions that a result rests on."""
    return {"python": platform.python_version()} | {name: version(name) for name in VERSIONS_OF}


def result_key(room: str, *inputs: Any) -> str:
    """Return the key of a result: the code that can matter to it, the versions, the inputs."""
    return content_key(code_digest(room), versions(), inputs)


@lru_cache
def code_digest(room: str, package: Path = PACKAGE) -> str:
    """Return the hash of the rooms up to one, docstrings and comments aside, data included."""
    # A room imports from earlier rooms only, so this is all the code that can matter to it.
    before = ROOMS[: ROOMS.index(room)]
    digest = hashlib.sha256(code_digest(before[-1], package).encode() if before else b"")
    for path in sorted((package / room).rglob("*")):
        if path.is_file() and path.suffix != ".pyc":
            digest.update(f"{path.relative_to(package).as_posix()}:".encode())
            digest.update(_what_runs(path))
    return digest.hexdigest()


def _what_runs(path: Path) -> bytes:
    if path.suffix != ".py":
        return path.read_bytes()
    # Optimized so far, code holds no docstrings; format 2 writes the same code the same way.
    code = compile(path.read_bytes(), "", "exec", dont_inherit=True, optimize=2)
    return marshal.dumps(_anywhere(code), 2)


def _anywhere(code: CodeType) -> CodeType:
    """Return code without the lines on which it stands."""
    inner = [_anywhere(part) if isinstance(part, CodeType) else part for part in code.co_consts]
    return code.replace(co_consts=tuple(inner), co_firstlineno=1, co_linetable=b"")


def cache_folder() -> Path:
    """Return the folder of kept fits, private to the user: $PUTLAB_CACHE or the platform's."""
    import platformdirs

    given = os.environ.get("PUTLAB_CACHE")
    return Path(given or platformdirs.user_cache_dir("putlab", "putlab"))


def content_key(*parts: Any) -> str:
    """Return the SHA-256 of arrays, tables, numbers, texts and nested lists or dicts of them."""
    digest = hashlib.sha256()
    _feed(digest, parts)
    return digest.hexdigest()


def _feed(digest: Any, part: Any) -> None:
    if isinstance(part, np.ndarray):
        digest.update(f"{part.dtype.str}{part.shape}".encode())
        digest.update(np.ascontiguousarray(part).tobytes())
    elif isinstance(part, dict):
        for key in sorted(part):
            digest.update(f"key:{key}".encode())
            _feed(digest, part[key])
    elif hasattr(part, "to_csv"):  # a table of pandas, which need not be loaded to know none
        digest.update(f"table:{part.to_csv()}".encode())
    elif isinstance(part, list | tuple):
        digest.update(f"list:{len(part)}".encode())
        for item in part:
            _feed(digest, item)
    else:
        digest.update(f"{type(part).__name__}:{part!r};".encode())


def load_arrays(key: str) -> dict[str, np.ndarray] | None:
    """Return the arrays kept under a key; None where there are none that can be trusted."""
    try:
        with np.load(io.BytesIO(_own_bytes(key)), allow_pickle=False) as file:
            arrays = {name: file[name] for name in file.files}
        meta = json.loads(str(arrays.pop("_meta")))
        return arrays if meta == _meta(key, arrays) else None
    except Exception:  # damage shows as an error of zip, zlib, struct, numpy or JSON
        return None


def _own_bytes(key: str) -> bytes:
    """Return an entry that nobody but this user can have written."""
    # A pipe must not be waited for, and a link could lead anywhere.
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0)
    flags |= getattr(os, "O_BINARY", 0)
    with open(os.open(cache_folder() / f"{key}.npz", flags), "rb") as stream:
        found = os.fstat(stream.fileno())
        if not stat.S_ISREG(found.st_mode) or not _of_this_user_alone(found):
            raise OutputError("an entry that somebody else could have written")
        return stream.read()


def _of_this_user_alone(found: os.stat_result) -> bool:
    # Windows keeps users apart by other means.
    return os.name == "nt" or (found.st_uid == os.getuid() and not found.st_mode & 0o022)


def _meta(key: str, arrays: dict[str, np.ndarray]) -> dict[str, str]:
    return {"key": key, "content": content_key(arrays)}


def save_arrays(key: str, arrays: dict[str, np.ndarray]) -> None:
    """Keep arrays under a key; a cache that can't be written is passed over."""
    buffer = io.BytesIO()
    np.savez_compressed(buffer, _meta=json.dumps(_meta(key, arrays)), **arrays)  # type: ignore
    folder = cache_folder()
    with contextlib.suppress(OSError, OutputError):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_bytes(folder / f"{key}.npz", buffer.getvalue(), mode=0o600)


def kept_or_made(key: str, make: Callable[[], dict[str, np.ndarray]]) -> dict[str, np.ndarray]:
    """Return arrays from disk, or make and keep them."""
    arrays = load_arrays(key)
    if arrays is None:
        arrays = make()
        save_arrays(key, arrays)
    return arrays


def kept_plain(key: str, make: Callable[[], Any]) -> Any:
    """Return plain values, such as JSON has, from disk, or make and keep them."""
    kept = kept_or_made(key, lambda: {"plain": np.array(json.dumps(make()))})
    return json.loads(str(kept["plain"]))


def clear_cache() -> int:
    """Remove every kept fit and return how many there were."""
    entries = kept_entries()
    for entry in entries:
        entry.unlink(missing_ok=True)
    return len(entries)


def kept_entries() -> list[Path]:
    """Return the files of kept fits, and links where one should be."""
    found = (p for p in cache_folder().glob("*.npz") if len(p.stem) == 64)
    return [p for p in found if p.is_symlink() or p.is_file()]


def open_to_others() -> bool:
    """Return whether somebody else could put files into the folder of kept fits."""
    folder = cache_folder()
    return folder.is_dir() and not _of_this_user_alone(folder.stat())
