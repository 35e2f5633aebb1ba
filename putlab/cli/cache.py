"""`putlab cache`: where fits are kept, and how to remove them."""

from typing import Annotated

import typer

Clear = Annotated[bool, typer.Option("--clear", help="Remove every kept fit.")]


def cache(clear: Clear = False):
    """Where fits are kept on this machine, for you alone; --clear removes them.

    A kept fit holds numbers and no names, and is found again by the hash of its data.

      putlab cache

      putlab cache --clear
    """
    from putlab.cache import cache_folder, clear_cache

    if clear:
        typer.echo(f"{clear_cache()} kept fits removed from {cache_folder()}.")
        return
    entries = list(cache_folder().glob("*.npz"))
    size_mb = sum(entry.stat().st_size for entry in entries) / 1e6
    typer.echo(f"{len(entries)} kept fits, {size_mb:.1f} MB, in {cache_folder()}.")
