"""`putlab estimate`: spread, bias and putts of each player at each distance."""

from putlab.cli.options import DEFAULT_SEED, Log, Output, Player, Seed


def estimate(log: Log, player: Player = None, output: Output = None, seed: Seed = DEFAULT_SEED):
    """True line and pace spread by player and distance, each with its 90 % interval.

    Spread and bias are those within a visit, as on the player's last one. One putt, three
    putts and average putts are for a new day on a flat green whose line is known.

      putlab estimate data_demo

      putlab estimate data_demo --player birch -o birch.csv

      putlab estimate data_demo -o everybody.json
    """
    from putlab.cli import fitted
    from putlab.writing import check_writable, write_table

    check_writable(output)
    putts = fitted.read(log)
    from putlab.estimate import estimate_table
    from putlab.golfer import choose_player

    if player is not None:
        choose_player(list(putts.putts["player"].unique()), player)
    fit = fitted.fit(putts, seed=seed)
    players = [player] if player else fit.players
    table = estimate_table(fit, players)
    fitted.say_of_greens(fit, players)
    if output is None:
        _show(table)
    else:
        write_table(table, output, meta=fit.meta() | {"log_sha256": putts.digest})


def _show(table):
    from rich.console import Console
    from rich.table import Table

    shown = Table(title="Spread within a visit; putts on a new day (90 % intervals)")
    for name in ("Player", "Distance, ft", "Putts", "Line spread, °", "Line bias, °"):
        shown.add_column(name)
    for name in ("Pace spread, %", "Pace bias, %", "One putt", "Three putts", "Average putts"):
        shown.add_column(name)
    formats = {
        "line_sd_deg": "{:.2f}",
        "line_bias_deg": "{:+.2f}",
        "pace_sd_pct": "{:.1f}",
        "pace_bias_pct": "{:+.1f}",
        "one_putt": "{:.0%}",
        "three_putt": "{:.0%}",
        "average_putts": "{:.2f}",
    }
    for row in table.to_dict("records"):
        cells = [row["player"], f"{row['distance_ft']:g}", str(row["putts"])]
        cells += [_with_interval(row, name, form) for name, form in formats.items()]
        shown.add_row(*cells)
    Console().print(shown)


def _with_interval(row, name, form):
    value, low, high = (form.format(row[name + end]) for end in ("", "_lo", "_hi"))
    return f"{value}\n[{low}, {high}]"
