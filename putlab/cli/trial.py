"""`putlab trial` and `compare`: how to find out whether a change helps, and whether it did."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from typer import Option

import putlab as pl
from putlab.base.errors import UsageError
from putlab.base.settings import SEED
from putlab.base.words import sure
from putlab.base.writing import write_json, write_table
from putlab.cli import options
from putlab.cli.console import in_words, progress, show, tell
from putlab.cli.options import Lengths, LogPath, Output, Player, Seed, Sheet, Units, number

if TYPE_CHECKING:
    from putlab.trial.comparison import Comparison
    from putlab.trial.design import TrialDesign


def trial(
    lengths: Lengths,
    detect: Annotated[float, number("Cut of spread to be seen, percent", 1, 90)] = 20.0,
    metric: Annotated[str, Option(help="Verdict on line, pace or strokes.")] = "line",
    log: Annotated[Path | None, Option(metavar="LOG", help="A log of this golfer.")] = None,
    player: Player = None,
    before: Annotated[str, Option(help="Label of the condition now.")] = "A",
    after: Annotated[str, Option(help="Label of the change.")] = "B",
    sessions: Annotated[int | None, number("Visits, where fixed", 1, 1000)] = None,
    session_putts: Annotated[int, number("Putts of a visit, both conditions", 2, 2000)] = 60,
    units: Units = None,
    seed: Seed = SEED,
    output: Sheet = None,
) -> None:
    """Design a trial: putts and visits to see a change, and a shuffled order of blocks."""
    if before == after:
        raise UsageError("--before and --after are the same; name two conditions.")
    read = None if log is None else options.read(log, player, units)
    unit = read.units if read else options.unit(units)
    asked = {"distances_ft": options.feet(lengths, unit), "detect_pct": detect, "metric": metric}
    asked |= {"sessions": sessions, "session_putts": session_putts, "seed": seed}
    # Without a log first: what cannot be designed is told before the fit.
    design = pl.design_trial(**asked)
    if read is not None:
        player = read.choose(player)
        golfer = options.fit(read, seed=seed).golfer(player)
        design = pl.design_trial(**asked, golfer=golfer, rules=read.rules)
    if output is None:
        _show_trial(design, before, after)
    else:
        sheet = design.schedule(before=before, after=after, player=player or "player")
        pl.write_sheet(sheet, output, units=unit)


def _show_trial(design: TrialDesign, before: str, after: str) -> None:
    tell(
        design.sentence,
        f"Allowed for: {design.assumptions.source}.",
        f"One check of exact readings of one length would take {design.f_test_putts:,} putts a "
        "condition (exact F-test, two-sided 5 %, chance 80 %).",
        f"Then: putlab compare LOG --before {before} --after {after} --metric {design.metric} "
        f"--detect {design.detect_pct:g}",
    )
    columns = {
        "sessions": ("Visits", "{}"),
        "putts_a_condition": ("Putts a condition", "{:,}"),
        "chance": ("Chance of having seen it by then", sure),
    }
    show(in_words(design.table, columns))


def compare(
    log: LogPath,
    before: Annotated[str, Option(help="Condition before the change; 'none' is no label.")],
    after: Annotated[str, Option(help="Condition after the change.")],
    player: Player = None,
    metric: Annotated[
        str | None, Option(help="Verdict on line, pace or strokes; choose beforehand.")
    ] = None,
    too_small: Annotated[float | None, number("Too small to matter, percent", 0.1, 90)] = None,
    too_small_strokes: Annotated[float | None, number("The same, strokes", 0.001, 10)] = None,
    detect: Annotated[float | None, number("Cut the trial was to see, percent", 1, 90)] = None,
    output: Output = None,
    seed: Seed = SEED,
) -> None:
    """Did a change of grip, putter or routine help? One verdict, with its reasons.

    It may be asked after every session: early checks ask for stronger evidence, so that
    checking often does not raise false alarms. A ratio below 1 is a narrower spread.

      putlab compare data_demo --before "usual routine" --after "new routine"

      putlab compare putts.csv --before A --after B --metric strokes -o change.json
    """
    read = options.read(log, player)
    asked = {"too_small_pct": too_small, "too_small_strokes": too_small_strokes}
    asked |= {"detect_pct": detect}
    sizes = {name: value for name, value in asked.items() if value is not None}
    progress(options.FITTING)
    found = pl.compare(read, before, after, player=player, metric=metric, seed=seed, **sizes)
    if output is None:
        _show_compare(found)
    elif output.suffix.lower() == ".csv":
        write_table(found.table, output)
    else:
        write_json(output, found.to_dict())


def _show_compare(found: Comparison) -> None:
    pair = found.conditions
    tell(found.sentence, *(f"- {c}" for c in found.cautions if c not in found.sentence))
    columns = {
        "change": ("Change", "{}"),
        "mean": ("Mean, 90 % interval", "{:.2f}"),
        "p_improved": ("Chance it improved", sure),
    }
    title = (
        f"{pair.player}: {pair.putts_before} putts before, {pair.putts_after} after, "
        f"{pair.sessions} visits ({pair.design})"
    )
    show(in_words(found.table.rename(columns={"lo": "mean_lo", "hi": "mean_hi"}), columns), title)
    if found.several is not None:
        columns = {
            "condition": ("Condition", "{}"),
            "putts": ("Putts", "{}"),
            "alone": ("Alone", "{:.2f}"),
            "ratio": ("Shrunk, 90 % interval", "{:.2f}"),
            "p_narrowest": ("Chance of being narrowest", sure),
        }
        title = "All conditions together, ratio of spreads"
        several = found.several.rename(columns={"lo": "ratio_lo", "hi": "ratio_hi"})
        show(in_words(several, columns), title)
    tell(*(f"{name}: {book.sentence}" for name, book in found.classical.items()))
