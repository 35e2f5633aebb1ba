"""A quick answer to set beside a fit: the same story of one golfer, and a normal at its mode.

A comparison is wanted as it stood after every visit, and a fit a visit would take minutes. Here
the scales (of spots and visits, the share of mishits) are taken as the whole fit has them, the
rest of the story is solved for its mode, and the curvature there is the precision. The tests
and ``tests/calibration/trials.py`` say how far it is from sampling.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.linalg import block_diag
from scipy.optimize import minimize
from scipy.special import ndtr

from putlab.base.settings import FAR
from putlab.model.design import Design, length_correlation, log_distance
from putlab.model.priors import by_name
from putlab.model.spread import MISHIT_TIMES
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
    story = Story(design, player, scales)
    mode, covariance = story.solved()
    places = {name: story.places[name] for name in ("effect", "effect_slope", "shift", "trend")}
    wanted = np.concatenate(list(places.values()))
    noise = np.random.default_rng(0).standard_normal((DRAWS, wanted.size))
    noise -= noise.mean(axis=0)
    noise = noise @ np.linalg.inv(np.linalg.cholesky(np.atleast_2d(np.cov(noise, rowvar=False)))).T
    root = np.linalg.cholesky(covariance[np.ix_(wanted, wanted)])
    draws = np.split(mode[wanted] + noise @ root.T, np.cumsum([len(p) for p in places.values()]), 1)
    found = dict(zip(places, draws[:-1], strict=True))
    own = (design.conditions["player"] == player).to_numpy()
    for name, values in found.items():
        whole = np.zeros((1, DRAWS, len(design.players) if name == "trend" else own.size))
        whole[0][:, design.players.index(player) if name == "trend" else own] = (
            values[:, 0] if name == "trend" else values
        )
        found[name] = whole
    return found


@dataclass
class Story:
    """One player's rows, the linear terms behind each, and what is believed of these."""

    design: Design
    player: str
    scales: dict[str, float]

    def __post_init__(self) -> None:
        rows = self.design.rows
        names = self.design.conditions.query("player == @self.player")["condition"]
        visits = self.design.sessions.query("player == @self.player").set_index("session")
        practised = rows["session"].map(visits["practised"]).to_numpy()
        length, visit = (pd.get_dummies(rows[n]).to_numpy(float) for n in ("length", "session"))
        changed = (rows["condition"].to_numpy()[:, None] == names.to_numpy()).astype(float)
        at_ft = self.design.lengths_ft[np.sort(rows["length"].unique())]
        x = log_distance(at_ft)
        slope = changed * log_distance(self.design.lengths_ft[rows["length"]])[:, None]
        covariates = np.stack([practised, rows["warm_up"], rows["counted"]]).T.astype(float)
        prior, s, near = by_name(self.design.data["priors"]), self.scales, length_correlation(x, x)
        base = prior["sd_log_sd"] ** 2 + prior["slope_sd"] ** 2 * np.outer(x, x)
        level, bias = base + s["spot_sd"] ** 2 * near, s["bias_spot_sd"] ** 2 * near
        n, c = visit.shape[1], changed.shape[1]
        covariances = [
            level, np.eye(n) * s["visit_form_sd"] ** 2,
            np.diag([prior[f"{name}_sd"] ** 2 for name in ("trend", "warm_up", "counted")]),
            np.eye(c) * prior["effect_sd"] ** 2, np.eye(c) * prior["effect_slope_sd"] ** 2,
            bias + prior["bias_sd"] ** 2, np.eye(n) * s["visit_bias_sd"] ** 2,
            np.eye(c) * prior["shift_sd"] ** 2,
        ]  # fmt: skip
        parts = [
            "level",
            "visit_form",
            "covariates",
            "effect",
            "effect_slope",
            "bias",
            "visit_bias",
            "shift",
        ]
        ends = np.cumsum([len(block) for block in covariances])
        self.places = {
            name: np.arange(end - len(block), end)
            for name, block, end in zip(parts, covariances, ends, strict=True)
        }
        self.places["trend"] = self.places["covariates"][:1]
        spread = np.hstack([length, visit, covariates, changed, slope])
        middle = np.hstack([length, visit, changed])
        self.to_log_sd = np.hstack([spread, np.zeros_like(middle)])
        self.to_mean = np.hstack([np.zeros_like(spread), middle])
        self.prior_mean = np.zeros(ends[-1])
        self.prior_mean[: len(x)] = np.log(prior["sd_median"])
        self.prior_precision = np.linalg.inv(block_diag(*covariances))
        columns = rows[["lo", "hi", "noise", "count"]].clip(-FAR, FAR).to_numpy(float)
        self.lo, self.hi, self.noise, self.count = columns.T

    def solved(self) -> tuple[np.ndarray, np.ndarray]:
        """The mode of all terms, and the inverse of the curvature there."""
        found = minimize(
            self.surprise, self.prior_mean, jac=True, hess=self.curvature, method="trust-exact"
        )
        return found.x, np.linalg.inv(self.curvature(found.x))

    def surprise(self, terms: np.ndarray) -> tuple[float, np.ndarray]:
        """Minus the log posterior and its gradient."""
        off = terms - self.prior_mean
        pulled = self.prior_precision @ off
        logp, by_mean, by_log_sd = self._rows(self.to_mean @ terms, self.to_log_sd @ terms)
        gradient = self.to_mean.T @ by_mean + self.to_log_sd.T @ by_log_sd
        return float(off @ pulled / 2 - logp.sum()), pulled - gradient

    def curvature(self, terms: np.ndarray) -> np.ndarray:
        """Second derivatives of `surprise`."""
        mean, log_sd = self.to_mean @ terms, self.to_log_sd @ terms
        whole = self.prior_precision.copy()
        to, sizes = (
            (self.to_mean, self.to_log_sd),
            (STEP * np.exp(log_sd), np.full(len(mean), STEP)),
        )
        for i, (across, size) in enumerate(zip(to, sizes, strict=True)):
            moved = [
                self._rows(mean + sign * size * (i == 0), log_sd + sign * size * (i == 1))[1:]
                for sign in (1, -1)
            ]
            for along, up, down in zip(to, *moved, strict=True):
                whole -= along.T @ (((up - down) / (2 * size))[:, None] * across)
        return (whole + whole.T) / 2

    def _rows(self, mean: np.ndarray, log_sd: np.ndarray) -> tuple[np.ndarray, ...]:
        """Log probability of every row, times its count, and its slopes by mean and log sd."""
        total = np.zeros((3, len(mean)))
        share = self.scales["mishit_share"]
        for weight, times in ((1 - share, 1.0), (share, MISHIT_TIMES)):
            own = times * np.exp(log_sd)
            sd = np.hypot(own, self.noise)
            a, b = (self.lo - mean) / sd, (self.hi - mean) / sd
            # The nearer tail, where a probability keeps its digits.
            flip = np.where(a + b > 0, -1, 1)
            p = flip * (ndtr(flip * b) - ndtr(flip * a))
            at_a, at_b = (np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi) for z in (a, b))
            by_log_sd = (a * at_a - b * at_b) * (own / sd) ** 2
            total += weight * np.stack([p, (at_a - at_b) / sd, by_log_sd])
        p, by_mean, by_log_sd = total
        p = p + 1e-300
        return self.count * np.log(p), self.count * by_mean / p, self.count * by_log_sd / p
