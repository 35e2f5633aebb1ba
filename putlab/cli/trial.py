"""`putlab trial`: how many putts to see a change, and in which order."""

from pathlib import Path
from typing import Annotated, Any

import typer

from putlab.base.errors import UsageError
from putlab.cli.options import DEFAULT_SEED, LogPath, Output, Player, Seed

Distances = Annotated[str, typer.Option("--distances", help="Lengths in feet, such as 5,10,20.")]
TrialDetect = Annotated[float, typer.Option("--detect", help="Cut of spread to be seen, percent.")]
TrialMetric = Annotated[
    str, typer.Option("--metric", help="What the verdict will be on: line, pace or strokes.")
]
OwnLog = Annotated[
    Path | None,
    typer.Option("--log", metavar="LOG", help="A log of this golfer: own spread and readings."),
]
TrialBefore = Annotated[str, typer.Option("--before", help="Label of the condition now.")]
TrialAfter = Annotated[str, typer.Option("--after", help="Label of the change.")]
Sessions = Annotated[int | None, typer.Option("--sessions", help="Visits, where fixed.")]
SessionPutts = Annotated[
    int, typer.Option("--session-putts", help="Putts of a visit, both arms together.")
]


def trial(
    distances: Distances,
    detect: TrialDetect = 20.0,
    metric: TrialMetric = "line",
    log: OwnLog = None,
    player: Player = None,
    before: TrialBefore = "A",
    after: TrialAfter = "B",
    sessions: Sessions = None,
    session_putts: SessionPutts = 60,
    seed: Seed = DEFAULT_SEED,
    output: Output = None,
) -> None:
    """Design a trial: putts and visits to see a change, and a shuffled order of blocks."""
    from putlab.base.writing import check_writable
    from putlab.cli.skill import feet

    check_writable(output)
    check_ending(output, (".csv", ".json"))
    lengths = feet(distances)
    if before == after:
        raise UsageError(f"--before and --after are both {before!r}; name two conditions.")
    from putlab.trial.design import METRICS, design_trial

    if metric not in METRICS:
        raise UsageError(f"--metric {metric}: expected one of {', '.join(METRICS)}.")
    golfer, rules = _golfer(log, player, seed)
    design = design_trial(
        lengths,
        detect,
        metric=metric,
        golfer=golfer,
        rules=rules,
        sessions=sessions,
        session_putts=session_putts,
        seed=seed,
    )
    who = golfer.player if golfer else player or "player"
    sheet = design.schedule(before=before, after=after, player=who)
    if output is None:
        _show_trial(design, before, after)
    else:
        _write_trial(design, sheet, output)


def _golfer(log: Path | None, player: str | None, seed: int) -> tuple:
    """Return the fitted golfer and the rules of reading, or None twice."""
    if log is None:
        return None, None
    from putlab.cli import options as fitted
    from putlab.posterior.player import choose_player

    putts = fitted.read(log)
    choose_player(list(putts.putts["player"].unique()), player)
    return fitted.fit(putts, seed=seed).golfer(player), putts.rules


def _write_trial(design: Any, sheet: Any, output: Any) -> None:
    import json

    from putlab import __version__
    from putlab.base.writing import write_table, write_text

    if str(output) == "-" or output.suffix.lower() == ".csv":
        write_table(sheet, output)
        return
    whole = {"meta": {"putlab": __version__}, **design.to_dict()}
    whole["schedule"] = json.loads(sheet.to_json(orient="records"))
    write_text(output, json.dumps(whole, indent=2, ensure_ascii=False) + "\n")


def _show_trial(design: Any, before: Any, after: Any) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console()
    lines = [
        design.sentence,
        f"Allowed for: {design.assumptions.source}.",
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


# `putlab compare`: did the change help?


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
    log: LogPath,
    before: Before,
    after: After,
    player: Player = None,
    metric: Metric = None,
    region: Region = None,
    region_strokes: RegionStrokes = None,
    detect: Detect = None,
    output: Output = None,
    seed: Seed = DEFAULT_SEED,
) -> None:
    """Did a change of grip, putter or routine help? One verdict, with its reasons.

    It may be asked after every session: early looks ask for stronger evidence, so that
    looking often does not raise false alarms. A ratio below 1 is a narrower spread.

      putlab compare data_demo --before "usual routine" --after "new routine"

      putlab compare putts.csv --before A --after B --metric strokes -o change.json
    """
    from putlab.base.writing import check_writable
    from putlab.cli import options as fitted

    check_writable(output)
    check_ending(output, (".json", ".csv"))
    putts = fitted.read(log)
    from putlab.trial.compare import compare as compare_conditions
    from putlab.trial.conditions import choose_conditions, putt_counts

    # Labels are looked up before the fit, so that a typing error costs no minute.
    player = choose_conditions(putt_counts(putts), before, after, player).player
    given: dict[str, Any] = {
        "too_small_pct": region,
        "too_small_strokes": region_strokes,
        "detect_pct": detect,
    }
    given = {name: value for name, value in given.items() if value is not None}
    fit = fitted.fit(putts, seed=seed)
    found = compare_conditions(fit, before, after, player=player, metric=metric, seed=seed, **given)
    if output is None:
        _show_compare(found)
    else:
        _write_compare(found, output, fit.meta() | {"log_sha256": putts.digest})


def check_ending(output: Path | None, endings: tuple[str, ...]) -> None:
    """Refuse a file that can't be written, before the work is done."""
    if output is not None and str(output) != "-" and output.suffix.lower() not in endings:
        raise UsageError(f"{output}: written as {' or '.join(endings)}; choose one of these.")


def _write_compare(found: Any, output: Any, meta: Any) -> None:
    import json

    from putlab.base.writing import write_table, write_text

    if str(output) != "-" and output.suffix.lower() == ".csv":
        write_table(found.table, output)
        return
    whole = found.to_dict() | {"meta": meta}
    text = json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False)
    write_text(output, text + "\n")


def _show_compare(found: Any) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console()
    console.print(found.sentence, highlight=False, markup=False)
    for caution in found.cautions:
        if caution not in found.sentence:
            console.print(f"- {caution}", highlight=False, markup=False)
    shown = Table("Change", "Mean", "90 % interval", "Improved", title=_title(found.conditions))
    for row in found.table.itertuples():
        ends = f"{row.lo:.2f} to {row.hi:.2f}"
        improved = "" if row.p_improved != row.p_improved else f"{row.p_improved:.3f}"
        shown.add_row(row.change, f"{row.mean:.2f}", ends, improved)
    console.print(shown)
    if found.several is not None:
        _show_several(console, found.several)
    for name, textbook in found.classical.items():
        if textbook:
            console.print(f"{name}: {textbook.sentence}", highlight=False, markup=False)


def _show_several(console: Any, table: Any) -> None:
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


def _title(pair: Any) -> str:
    return (
        f"{pair.player}: {pair.putts_before} putts before, {pair.putts_after} after, "
        f"{pair.sessions} visits ({pair.design})"
    )
