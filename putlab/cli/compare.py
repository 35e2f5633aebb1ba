"""`putlab compare`: did the change help?"""

from typing import Annotated

import typer

from putlab.cli.options import DEFAULT_SEED, Log, Output, Player, Seed
from putlab.errors import UsageError

Before = Annotated[
    str, typer.Option("--before", help="Condition before the change; 'none' is no label.")
]
After = Annotated[str, typer.Option("--after", help="Condition after the change.")]
Metric = Annotated[
    str | None,
    typer.Option(
        "--metric", help="What the verdict is on: line, pace or strokes; choose beforehand."
    ),
]
Region = Annotated[
    float | None,
    typer.Option("--region", help="Changes of spread under this percent don't matter."),
]
RegionStrokes = Annotated[
    float | None,
    typer.Option("--region-strokes", help="Changes under this many strokes don't matter."),
]
Detect = Annotated[
    float | None,
    typer.Option("--detect", help="Percent the trial was designed to see (`putlab trial`)."),
]


def compare(
    log: Log,
    before: Before,
    after: After,
    player: Player = None,
    metric: Metric = None,
    region: Region = None,
    region_strokes: RegionStrokes = None,
    detect: Detect = None,
    output: Output = None,
    seed: Seed = DEFAULT_SEED,
):
    """Did a change of grip, putter or routine help? One verdict, with its reasons.

    It may be asked after every session: early looks ask for stronger evidence, so that
    looking often does not raise false alarms. A ratio below 1 is a narrower spread.

      putlab compare data_demo --before "usual routine" --after "new routine"

      putlab compare putts.csv --before A --after B --metric strokes -o change.json
    """
    from putlab.cli import fitted
    from putlab.writing import check_writable

    check_writable(output)
    check_ending(output, (".json", ".csv"))
    putts = fitted.read(log)
    from putlab import change

    # Labels are looked up before the fit, so that a typing error costs no minute.
    arms = change.choose_arms(change.putt_counts(putts), before, after, player)
    given = {"region_pct": region, "region_strokes": region_strokes, "detect_pct": detect}
    given = {name: value for name, value in given.items() if value is not None}
    fit = fitted.fit(putts, seed=seed)
    found = change.compare(
        fit, before, after, player=arms.player, metric=metric, seed=seed, **given
    )
    if output is None:
        _show(found)
    else:
        _write(found, output, fit.meta() | {"log_sha256": putts.digest})


def check_ending(output, endings):
    """Refuse a file that can't be written, before the work is done.

    Parameters
    ----------
    output : pathlib.Path or None
        File to write; ``-`` is standard output.
    endings : tuple of str
        The endings that can be written.

    Raises
    ------
    UsageError
        The file has another ending.
    """
    if output is not None and str(output) != "-" and output.suffix.lower() not in endings:
        raise UsageError(f"{output}: written as {' or '.join(endings)}; choose one of these.")


def _write(found, output, meta):
    import json

    from putlab.writing import write_table, write_text

    if str(output) != "-" and output.suffix.lower() == ".csv":
        write_table(found.table(), output)
        return
    whole = found.to_dict() | {"meta": meta}
    text = json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False)
    write_text(output, text + "\n")


def _show(found):
    from rich.console import Console
    from rich.table import Table

    console = Console()
    console.print(found.sentence, highlight=False, markup=False)
    for caution in found.cautions:
        if caution not in found.sentence:
            console.print(f"- {caution}", highlight=False, markup=False)
    shown = Table("Change", "Mean", "90 % interval", "Improved", title=_title(found.arms))
    for row in found.table().itertuples():
        ends = f"{row.lo:.2f} to {row.hi:.2f}"
        improved = "" if row.p_improved != row.p_improved else f"{row.p_improved:.3f}"
        shown.add_row(row.change, f"{row.mean:.2f}", ends, improved)
    console.print(shown)
    if found.several is not None:
        _show_several(console, found.several)
    for name, twin in found.classical.items():
        if twin:
            console.print(f"{name}: {twin.sentence}", highlight=False, markup=False)


def _show_several(console, table):
    from rich.table import Table

    shown = Table(
        "Condition", "Putts", "Alone", "Shrunk", "90 % interval", "Narrowest of all",
        title="All conditions together, ratio of spreads",
    )  # fmt: skip
    for row in table.itertuples():
        ends = "" if row.lo != row.lo else f"{row.lo:.2f} to {row.hi:.2f}"
        numbers = (f"{row.alone:.2f}", f"{row.ratio:.2f}", ends, f"{row.p_narrowest:.2f}")
        shown.add_row(row.condition, str(row.putts), *numbers)
    console.print(shown)


def _title(arms):
    return (
        f"{arms.player}: {arms.putts_before} putts before, {arms.putts_after} after, "
        f"{arms.sessions} visits ({arms.design})"
    )
