"""The published estimates of made putts, through the kit's own chance of holing and PyMC.

``python tests/calibration/holing_published.py`` samples both models and writes
``tests/results/holing_published.json``. The published figures and their assumptions:

- direction only, Berry's table: 1.53 degrees, 0.0266 rad, posterior sd 0.02 degrees
  (A. Gelman and D. Nolan, Teaching Statistics 24, 2002; A. Gelman, "Model building and
  expansion for golf putting", Stan case study, 2019);
- direction and distance, Broadie's table: 1.02 degrees, 0.080, and 0.003 for what the model
  leaves out of a rate; aimed 1 ft past, holed if it would roll 0 to 3 ft past (Gelman 2019).
"""

import nutpie
from hole_chances import PlainHole
from record import record
from table_model import build_table_model

from putlab.green.published import table
from putlab.model.hole_chance import FAR_FT

# In the units of `table_model.build_table_model`, each with half a unit of its last digit.
PUBLISHED = {
    "berry": {"line_sd_deg": (1.53, 0.005)},
    "broadie": {
        "line_sd_deg": (1.02, 0.005),
        "pace_sd_pct": (8.0, 0.05),
        "extra_sd": (0.003, 0.0005),
    },
}


def models():
    """Return the two models, each with the assumptions of its publication."""
    berry, broadie = (
        table(name).frame for name in ("putts_made_berry_1995", "putts_made_broadie_2018")
    )
    any_pace = PlainHole(shortest_ft=-FAR_FT, longest_ft=FAR_FT)
    return {
        "berry": build_table_model(berry, any_pace, pace_sd_pct=10.0),
        "broadie": build_table_model(broadie, PlainHole(), past_ft=1.0, extra=True),
    }


def main():
    """Sample, compare, record."""
    figures = {}
    for name, model in models().items():
        draws = nutpie.sample(
            nutpie.compile_pymc_model(model), draws=4000, tune=1000, chains=4, seed=1,
            progress_bar=False,
        ).posterior  # fmt: skip
        for parameter, (published, rounding) in PUBLISHED[name].items():
            mean, sd = (float(getattr(draws[parameter], of)()) for of in ("mean", "std"))
            agrees = abs(mean - published) <= rounding
            figures[f"{name} {parameter}"] = {
                "published": published, "rounding": rounding, "mean": mean, "sd": sd,
                "agrees": agrees,
            }  # fmt: skip
            print(f"{name} {parameter}: {mean:.4f} (sd {sd:.4f}), published {published}")
            assert agrees
    record(
        "holing_published",
        what="Posterior means of the published made-putt models; 4 chains of 4,000 draws.",
        **figures,
    )


if __name__ == "__main__":
    main()
