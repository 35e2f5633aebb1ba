"""Fits kept on disk by the hash of everything that determines them.

An entry is a plain ``.npz`` file: arrays only, never pickled objects. Its name is the hash
of the data, priors, settings and versions that made it, and the same hash stands inside, so
an entry that is cut short, altered or put there by something else is computed anew.
"""

import ast
import contextlib
import hashlib
import io
import json
import os
import platform
import zipfile
from collections.abc import Callable
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from putlab.base.errors import OutputError
from putlab.base.writing import write_bytes

FOLDER_VARIABLE = "PUTLAB_CACHE"

# The rooms in the order of the line; each imports from those before it only.
ROOMS = (
    "base", "log", "green", "model", "posterior", "rounds", "practice", "trial", "pages", "cli"
)  # fmt: skip
PACKAGE = Path(__file__).parents[1]
VERSIONS_OF = ("putlab", "pymc", "nutpie", "numpy", "pandas", "arviz", "scipy")


def versions() -> dict[str, str]:
    """Return the versions that a result rests on."""
    return {"python": platform.python_version()} | {name: version(name) for name in VERSIONS_OF}


def result_key(room: str, *inputs: Any) -> str:
    """Return the key of a result: the code that can matter to it, the versions, the inputs."""
    return content_key(code_digest(room), versions(), inputs)


@lru_cache
def code_digest(room: str, package: Path = PACKAGE) -> str:
    """Return the hash of the rooms up to one, docstrings and comments aside, data included."""
    digest = hashlib.sha256()
    for name in ROOMS[: ROOMS.index(room) + 1]:
        for path in sorted((package / name).rglob("*")):
            if path.suffix in (".py", ".csv"):
                digest.update(f"{path.relative_to(package).as_posix()}:".encode())
                digest.update(_what_runs(path))
    return digest.hexdigest()


def _what_runs(path: Path) -> bytes:
    if path.suffix != ".py":
        return path.read_bytes()
    tree = ast.parse(path.read_bytes())
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list) and body and _is_text(body[0]):
            body[0].value.value = ""
    return ast.dump(tree).encode()


def _is_text(node: ast.AST) -> bool:
    held = getattr(node, "value", None) if isinstance(node, ast.Expr) else None
    return isinstance(held, ast.Constant) and isinstance(held.value, str)


def cache_folder() -> Any:
    """Return the folder of kept fits, private to the user."""
    import platformdirs

    given = os.environ.get(FOLDER_VARIABLE)
    return Path(given) if given else Path(platformdirs.user_cache_dir("putlab", "putlab"))


def content_key(*parts: Any) -> Any:
    """Return the SHA-256 of arrays, numbers, texts and nested lists or dicts of them."""
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
    elif isinstance(part, list | tuple):
        digest.update(f"list:{len(part)}".encode())
        for item in part:
            _feed(digest, item)
    else:
        digest.update(f"{type(part).__name__}:{part!r};".encode())


def load_arrays(key: str) -> Any:
    """Return the arrays kept under a key, or None."""
    path = cache_folder() / f"{key}.npz"
    try:
        content = io.BytesIO(path.read_bytes())
        with np.load(content, allow_pickle=False) as file:
            arrays = {name: file[name] for name in file.files}
    except (OSError, ValueError, EOFError, KeyError, zipfile.BadZipFile):
        return None
    meta = arrays.pop("_meta", None)
    with contextlib.suppress(ValueError, TypeError, AttributeError):
        if json.loads(str(meta)) == _meta(key, arrays):
            return arrays
    return None


def _meta(key: Any, arrays: Any) -> dict:
    return {"key": key, "content": content_key(arrays)}


def save_arrays(key: str, arrays: dict) -> None:
    """Keep arrays under a key; a cache that can't be written is passed over."""
    buffer = io.BytesIO()
    np.savez_compressed(buffer, _meta=json.dumps(_meta(key, arrays)), **arrays)
    folder = cache_folder()
    with contextlib.suppress(OSError, OutputError):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_bytes(folder / f"{key}.npz", buffer.getvalue(), mode=0o600)


def kept_or_made(key: str, make: Callable) -> Any:
    """Return arrays from disk, or make and keep them."""
    arrays = load_arrays(key)
    if arrays is None:
        arrays = make()
        save_arrays(key, arrays)
    return arrays


def clear_cache() -> Any:
    """Remove every kept fit."""
    entries = [p for p in cache_folder().glob("*.npz") if len(p.stem) == 64]
    for entry in entries:
        entry.unlink(missing_ok=True)
    return len(entries)
