"""The report of a roster whose players are fitted alone, side by side."""

from dataclasses import dataclass, replace

from putlab.golfer import choose_player
from putlab.pages.findings import find
from putlab.report import render
from putlab.roster import TOLD, each_player, log_of_player
from putlab.settings import SEED
from putlab.verdict import PASS
from putlab.writing import write_text


@dataclass(frozen=True)
class FitsApart:
    """What the report's last section tells of many fits.

    Attributes
    ----------
    seed : int
        Seed of the roster.
    metas : dict of str to dict
        `putlab.golfer.SpreadFit.meta` by player.
    """

    seed: int
    metas: dict

    def meta(self):
        """Return what a reader needs to repeat the result.

        Returns
        -------
        dict
            As `putlab.golfer.SpreadFit.meta`; a check's sentence names the players who did
            not plainly pass it.
        """
        first = next(iter(self.metas.values()))
        checks = {
            component: {name: self._over_players(component, name) for name in names}
            for component, names in first["diagnostics"].items()
        }
        return first | {"seed": self.seed, "diagnostics": checks}

    def _over_players(self, component, name):
        found = {p: m["diagnostics"][component][name] for p, m in self.metas.items()}
        noted = {p: c for p, c in found.items() if c["result"] != PASS}
        passed = len(found) - len(noted)
        said = [f"{p}: {c['sentence']}" for p, c in list(noted.items())[:TOLD]]
        said += [f"And {len(noted) - TOLD} more."] * (len(noted) > TOLD)
        said.insert(0, f"{name}: {passed} of {len(found)} players pass.")
        results = {c["result"] for c in noted.values()} or {PASS}
        return {"result": sorted(results)[0], "sentence": " ".join(said)}


def told(log, fit):
    """Return what the report says of one player, and how the fit came about.

    Parameters
    ----------
    log : putlab.log.Log
        One player's log.
    fit : putlab.golfer.SpreadFit
        Its fit.

    Returns
    -------
    tuple of putlab.pages.findings.Findings and dict
        Ready to travel between processes.
    """
    return find(log, fit, fit.players[0]), fit.meta()


def write_roster_report(
    path, log, *, player=None, seed=SEED, workers=None, cluster=None, made=None, progress=None
):
    """Fit each player alone and write the report of all of them.

    Parameters
    ----------
    path : path-like
        HTML file to create or replace; ``-`` is standard output.
    log : putlab.log.Log
        The log.
    player : str, optional
        Only this player, with the same result as among the others.
    seed, workers, cluster, progress
        As for `putlab.roster.each_player`.
    made : datetime.datetime, optional
        When the report was made; default: now. Nothing else differs between two runs.

    Raises
    ------
    FitError
        One player or more has no result; the report of the others is written all the same.
    UsageError
        No such player, or the cluster can't be used.
    OutputError
        The file could not be written; what stood there before still does.
    """
    if player is not None:
        players = list(log.putts["player"].drop_duplicates())
        alone = log_of_player(log, choose_player(players, player))
        log = replace(log, putts=alone.putts)
    found = each_player(
        log, told, seed=seed, workers=workers, cluster=cluster, progress=progress
    )
    if found.results:
        fits = FitsApart(seed, {name: meta for name, (_, meta) in found.results.items()})
        everybody = [findings for findings, _ in found.results.values()]
        missing = [f"there is no result for {n}: {why}" for n, why in found.failed.items()]
        shown = replace(log, warnings=[*log.warnings, *missing])
        write_text(path, render(shown, fits, everybody, made=made))
    found.raise_failures()
