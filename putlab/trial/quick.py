"""A quick answer to set beside a fit: the same story of one golfer, and a normal at its mode.

A comparison is wanted as it stood after every visit, and a fit a visit would take minutes. Here
the scales (of spots and visits, the share of mishits) are taken as the whole fit has them, the
rest of the story is solved for its mode, and the curvature there is the precision. The tests
and ``tests/calibration/trial_designs.py`` say how far it is from sampling.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import scipy
from scipy.linalg import block_diag

from putlab.base.settings import FAR
from putlab.model.design import Design, length_correlation, log_distance
from putlab.model.priors import by_name
from putlab.model.spread import chance_and_slopes
from putlab.posterior.fit import Fit
from putlab.trial.conditions import rows_of

# Draws that stand for the normal: their mean and covariance are its own, exactly.
DRAWS = 2000

# Step of the numerical curvature, in spreads and in log spread.
STEP = 1e-3

SCALES = ("spot_sd", "bias_spot_sd", "visit_bias_sd", "visit_form_sd", "mishit_share")


def quick_fit(fit: Fit, player: str, sessions: list[str]) -> Fit:
    """A player's part of a fit as it would stand after some of the visits, quickly."""
    golfer = fit.golfer(player)
    designs, posteriors = dict(fit.designs), dict(fit.posteriors)
    for name, design in fit.designs.items():
        rows = rows_of(fit, player, name)
        rows = rows[rows["session"].isin(sessions)]
        if len(rows):
            scales = {scale: float(golfer.draws(name, scale).mean()) for scale in SCALES}
            designs[name] = replace(design, rows=rows)
            posteriors[name] = {"posterior": quick_posterior(designs[name], player, scales)}  # type: ignore[assignment]
    return replace(fit, designs=designs, posteriors=posteriors)


def quick_posterior(design: Design, player: str, scales: dict[str, float]) -> dict[str, Any]:
    """Draws of what a comparison needs, (1, draws, ...), from one player's rows of a design."""
    held, one = design.conditions["player"] == player, np.array(design.players) == player
    own = dict.fromkeys(("effect", "effect_slope", "shift"), held.to_numpy()) | {"trend": one}
    found = {name: np.zeros((1, DRAWS, places.size)) for name, places in own.items()}
    for name, draws in story_of(design, player, scales).drawn(list(own)).items():
        found[name][0][:, own[name]] = draws
    return found


def story_of(design: Design, player: str, scales: dict[str, float]) -> "Story":
    """The story of one player's rows of a design."""
    rows = design.rows
    names = design.conditions.query("player == @player")["condition"]
    visits = design.sessions.query("player == @player").set_index("session")
    practised = rows["session"].map(visits["practised"]).to_numpy()
    length, visit = (pd.get_dummies(rows[n]).to_numpy(float) for n in ("length", "session"))
    return Story(
        by_name(design.data["priors"]),
        scales,
        log_distance(design.lengths_ft[np.sort(rows["length"].unique())]),
        length,
        visit,
        (rows["condition"].to_numpy()[:, None] == names.to_numpy()).astype(float),
        np.stack([practised, rows["warm_up"], rows["counted"]]).T.astype(float),
        rows[["lo", "hi", "noise", "count"]].clip(-FAR, FAR).to_numpy(float).T,
    )


class Story:
    """One player's rows, the linear terms behind each, and what is believed of these."""

    def __init__(
        self,
        prior: dict[str, float],
        scales: dict[str, float],
        x: np.ndarray,  # log distance of each length
        length: np.ndarray,  # (rows, lengths), 1 where a row is at it; so the next two
        visit: np.ndarray,
        changed: np.ndarray,
        covariates: np.ndarray,  # (rows, 3): practised, warming up, counted
        readings: np.ndarray,  # (4, rows): lo, hi, noise, count
    ) -> None:
        near, level = length_correlation(x, x), np.outer(x, x) * prior["slope_sd"] ** 2
        visits, held = np.eye(visit.shape[1]), np.eye(changed.shape[1])
        covariances = {
            "level": prior["sd_log_sd"] ** 2 + level + scales["spot_sd"] ** 2 * near,
            "visit_form": visits * scales["visit_form_sd"] ** 2,
            "trend": np.array(prior["trend_sd"] ** 2),
            "warm_up": np.array(prior["warm_up_sd"] ** 2),
            "counted": np.array(prior["counted_sd"] ** 2),
            "effect": held * prior["effect_sd"] ** 2,
            "effect_slope": held * prior["effect_slope_sd"] ** 2,
            "bias": prior["bias_sd"] ** 2 + scales["bias_spot_sd"] ** 2 * near,
            "visit_bias": visits * scales["visit_bias_sd"] ** 2,
            "shift": held * prior["shift_sd"] ** 2,
        }
        size = [block.shape[0] if block.ndim else 1 for block in covariances.values()]
        places = np.split(np.arange(sum(size)), np.cumsum(size)[:-1])
        self.places = dict(zip(covariances, places, strict=True))  # of each kind of term
        # Terms of the log sd come first, then those of the mean: (rows, terms) each.
        slope = changed * (length @ x)[:, None]
        self.spread = np.hstack([length, visit, covariates, changed, slope])
        self.middle = np.hstack([length, visit, changed])
        self.prior_mean = np.repeat([np.log(prior["sd_median"]), 0.0], [len(x), sum(size) - len(x)])
        self.prior_precision = np.linalg.inv(block_diag(*covariances.values()))
        self.readings, self.mishit_share = readings, scales["mishit_share"]

    def drawn(self, names: Sequence[str]) -> dict[str, np.ndarray]:
        """Draws of some kinds of term, (draws, terms) each."""
        mode, covariance = self.solved()
        places = [self.places[name] for name in names]
        wanted = np.concatenate(places)
        noise = np.random.default_rng(0).standard_normal((DRAWS, wanted.size))
        q, r = np.linalg.qr(noise - noise.mean(axis=0))
        noise = q * np.sign(np.diag(r)) * np.sqrt(DRAWS - 1)
        root = np.linalg.cholesky(covariance[np.ix_(wanted, wanted)])
        ends = np.cumsum([len(place) for place in places])[:-1]
        return dict(zip(names, np.split(mode[wanted] + noise @ root.T, ends, 1), strict=True))

    def solved(self) -> tuple[np.ndarray, np.ndarray]:
        """The mode of all terms, and the inverse of the curvature there."""
        found = scipy.optimize.minimize(
            self.surprise, self.prior_mean, jac=True, hess=self.curvature, method="trust-exact"
        )
        return found.x, np.linalg.inv(self.curvature(found.x))

    def surprise(self, terms: np.ndarray) -> tuple[float, np.ndarray]:
        """Minus the log posterior and its gradient."""
        off = terms - self.prior_mean
        pulled = self.prior_precision @ off
        logp, by_mean, by_log_sd = self._rows(*self._at(terms))
        gradient = np.concatenate([by_log_sd @ self.spread, by_mean @ self.middle])
        return float(off @ pulled / 2 - logp.sum()), pulled - gradient

    def curvature(self, terms: np.ndarray) -> np.ndarray:
        """Second derivatives of `surprise`."""
        at, slopes = self._at(terms), []
        for i, size in enumerate((STEP * np.exp(at[1]), STEP)):
            step = np.zeros_like(at)
            step[i] = size
            change = self._rows(*(at + step))[1:] - self._rows(*(at - step))[1:]
            slopes.append((change / (2 * size))[..., None])
        (mean, across), (back, log_sd) = slopes
        cross = self.spread.T @ ((across + back) / 2 * self.middle)
        spread = self.spread.T @ (log_sd * self.spread)
        middle = self.middle.T @ (mean * self.middle)
        return self.prior_precision - np.block([[spread, cross], [cross.T, middle]])

    def _at(self, terms: np.ndarray) -> np.ndarray:
        """Mean and log sd of every row."""
        first = self.spread.shape[1]
        return np.stack([self.middle @ terms[first:], self.spread @ terms[:first]])

    def _rows(self, mean: np.ndarray, log_sd: np.ndarray) -> np.ndarray:
        """Log probability of every row, times its count, and its slopes by mean and log sd."""
        lo, hi, noise, count = self.readings
        at = lo - mean, hi - mean, np.exp(log_sd), noise, self.mishit_share
        p, *slopes = chance_and_slopes(*at)
        p = p + 1e-300
        return count * np.stack([np.log(p), *(slope / p for slope in slopes)])
