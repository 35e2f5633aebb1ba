"""`putlab trial`: how many putts to see a change, and in which order."""

from pathlib import Path
from typing import Annotated

import typer

from putlab.cli.compare import check_ending
from putlab.cli.options import DEFAULT_SEED, Output, Player, Seed
from putlab.errors import UsageError

Distances = Annotated[
    str, typer.Option("--distances", help="Lengths in feet, such as 5,10,20.")
]
Detect = Annotated[float, typer.Option("--detect", help="Cut of spread to be seen, percent.")]
Metric = Annotated[
    str, typer.Option("--metric", help="What the verdict will be on: line, pace or strokes.")
]
OwnLog = Annotated[
    Path | None,
    typer.Option("--log", metavar="LOG", help="A log of this golfer: own spread and readings."),
]
Before = Annotated[str, typer.Option("--before", help="Label of the condition now.")]
After = Annotated[str, typer.Option("--after", help="Label of the change.")]
Sessions = Annotated[int | None, typer.Option("--sessions", help="Visits, where fixed.")]
SessionPutts = Annotated[
    int, typer.Option("--session-putts", help="Putts of a visit, both arms together.")
]


def trial(
    distances: Distances,
    detect: Detect = 20.0,
    metric: Metric = "line",
    log: OwnLog = None,
    player: Player = None,
    before: Before = "A",
    after: After = "B",
    sessions: Sessions = None,
    session_putts: SessionPutts = 60,
    seed: Seed = DEFAULT_SEED,
    output: Output = None,
):
    """Design a trial: putts and visits to see a change, and a shuffled order of blocks.

    Both arms share every visit, so that a good day can't pose as a good putter. The sheet
    (-o FILE.csv) is a log with empty boxes: write the readings in, then `putlab compare`.

      putlab trial --distances 5,10,20 --detect 15 -o trial.csv

      putlab trial --distances 10 --detect 20 --metric pace --log data_demo --player alder
    """
    from putlab.cli.holeout import feet
    from putlab.writing import check_writable

    check_writable(output)
    check_ending(output, (".csv", ".json"))
    lengths = feet(distances)
    if before == after:
        raise UsageError(f"--before and --after are both {before!r}; name two conditions.")
    from putlab.trial import METRICS, design_trial
    from putlab.trials.blocks import schedule

    if metric not in METRICS:
        raise UsageError(f"--metric {metric}: expected one of {', '.join(METRICS)}.")
    golfer, rules = _golfer(log, player, seed)
    design = design_trial(
        lengths,
        detect,
        metric=metric,
        conditions=_conditions(metric, detect, lengths, golfer, rules),
        sessions=sessions,
        session_putts=session_putts,
        seed=seed,
    )
    who = golfer.player if golfer else player or "player"
    sheet = schedule(design, before=before, after=after, player=who)
    if output is None:
        _show(design, before, after)
    else:
        _write(design, sheet, output)


def _golfer(log, player, seed):
    """Return the fitted golfer and the rules of reading, or None twice."""
    if log is None:
        return None, None
    from putlab.cli import fitted
    from putlab.golfer import choose_player

    putts = fitted.read(log)
    choose_player(list(putts.putts["player"].unique()), player)
    return fitted.fit(putts, seed=seed).golfer(player), putts.rules


def _conditions(metric, detect, lengths, golfer, rules):
    if metric != "strokes" and golfer is None:
        return None
    from putlab.rounds import shipped_mix
    from putlab.trials.trial_golfer import conditions_of, strokes_conditions

    if metric == "strokes":
        own = {"golfer": golfer, "distances_ft": lengths, "rules": rules}
        return strokes_conditions(detect, shipped_mix(), **own)
    return conditions_of(golfer, lengths, metric, rules)


def _write(design, sheet, output):
    import json

    from putlab import __version__
    from putlab.writing import write_table, write_text

    if str(output) == "-" or output.suffix.lower() == ".csv":
        write_table(sheet, output)
        return
    whole = {"meta": {"putlab": __version__}, **design.to_dict()}
    whole["schedule"] = json.loads(sheet.to_json(orient="records"))
    write_text(output, json.dumps(whole, indent=2, ensure_ascii=False) + "\n")


def _show(design, before, after):
    from rich.console import Console
    from rich.table import Table

    console = Console()
    lines = [
        design.sentence,
        f"Allowed for: {design.conditions.source}.",
        f"One look at exact readings of one length would take {design.f_test_putts:,} putts an "
        "arm (exact F-test, two-sided 5 %, chance 80 %).",
        f"Then: putlab compare LOG --before {before} --after {after} --metric {design.metric} "
        f"--detect {design.detect_pct:g}",
    ]
    for line in lines:
        console.print(line, highlight=False, markup=False)
    shown = Table("Visits", "Putts an arm", "Chance of having seen it by then")
    for row in design.chances.itertuples():
        shown.add_row(str(row.sessions), f"{row.putts_an_arm:,}", f"{row.chance:.0%}")
    console.print(shown)
