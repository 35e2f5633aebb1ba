"""The advice: a table, a choice with its ties, and one sentence that says how sure it is."""

from dataclasses import dataclass, field

import pandas as pd

from putlab.pages.wording import minus, sure

# More options than this tied: nothing stands out, and a list of them would not help.
MOST_NAMED = 4

CAUTION = "This is statistics from one log, not coaching: a coach who sees you decides."

TITLES = {
    "distance_ft": "Distance, ft",
    "component": "Line or pace",
    "strokes_lost": "Strokes a round lost now",
    "saved_next_hour": "Strokes a round saved",
    "p_best": "Chance of being best",
    "expected_regret": "Costs if chosen, on average",
}


@dataclass(frozen=True)
class Advice:
    """Which distance deserves the time of one golfer.

    Attributes
    ----------
    player : str
        Label.
    minutes : float
        Time that the advice is about.
    table : pandas.DataFrame
        ``player, distance_ft, component, strokes_lost, ..._lo, ..._hi, saved_next_hour,
        ..._lo, ..._hi, p_best, expected_regret``; strokes a round of 18 holes, saved by
        `minutes` of practice on that option alone.
    choice : (float, str)
        Distance in feet and component that save most on average.
    ties : list of (float, str)
        Options the data cannot separate, the choice first.
    assumptions : pandas.DataFrame
        ``name, meaning, value, from, source``.
    reference : str
        Who strokes are lost to.
    worth : putlab.worth.Worth
        The draws behind the table.
    case : putlab.decision.setting.Case
        Golfer, learning, round and green: for what follows from the advice.
    """

    player: str
    minutes: float
    table: pd.DataFrame
    choice: tuple
    ties: list
    assumptions: pd.DataFrame
    reference: str
    worth: object = field(repr=False)
    case: object = field(repr=False)

    @property
    def row(self):
        """The choice's row of the table."""
        distance_ft, component = self.choice
        table = self.table
        return table[
            (table["distance_ft"] == distance_ft) & (table["component"] == component)
        ].iloc[0]

    @property
    def cost_if_wrong(self):
        """Strokes a round given away by the choice where it is not the best, on average."""
        row = self.row
        wrong = 1 - row["p_best"]
        return row["expected_regret"] / wrong if wrong > 0 else 0.0

    @property
    def sentence(self):
        """The answer in plain words, with its certainty."""
        return f"{self._which()} {self._gain()} {self._price()}"

    @property
    def lost_sentence(self):
        """Where most strokes are lost now, in plain words."""
        row = self.table.loc[self.table["strokes_lost"].idxmax()]
        ends = minus(f"{row['strokes_lost_lo']:.2f} to {row['strokes_lost_hi']:.2f}")
        option = (row["distance_ft"], row["component"])
        if row["strokes_lost"] <= 0:
            return f"Nowhere are strokes lost now to the {self.reference}."
        return (
            f"Most strokes are lost now to {named(option)}: {row['strokes_lost']:.2f} a round "
            f"({ends}) against the {self.reference}."
        )

    def _which(self):
        row, hour = self.row, time_words(self.minutes)
        if len(self.ties) == 1:
            return (
                f"{named(self.choice, start=True)} is the best use of the next {hour} with a "
                f"chance of {sure(row['p_best'])}."
            )
        if len(self.ties) <= MOST_NAMED:
            names = [named(option) for option in self.ties]
            names[0] = named(self.ties[0], start=True)
            which = " or ".join([", ".join(names[:-1]), names[-1]])
            return (
                f"{which}: {NUMBERS[len(names)]}; the data cannot separate them "
                f"(the first is the best use of the next {hour} with a chance of "
                f"{sure(row['p_best'])})."
            )
        return (
            f"Nothing stands out: {len(self.ties)} of {len(self.table)} choices cannot be "
            f"told apart. {named(self.choice, start=True)} has the edge, the best use of the "
            f"next {hour} with a chance of {sure(row['p_best'])}."
        )

    def _gain(self):
        row = self.row
        ends = f"{row['saved_next_hour_lo']:.2f} to {row['saved_next_hour_hi']:.2f}"
        return f"It saves about {row['saved_next_hour']:.2f} strokes a round ({ends})."

    def _price(self):
        if self.row["p_best"] >= 1:
            return "No draw puts another first."
        return (
            "Where another would have been better, it gives away "
            f"{at_least_shown(self.cost_if_wrong)} strokes a round on average."
        )

    def _repr_html_(self):
        from html import escape

        shown = shown_table(self.table)
        return (
            f"<p><strong>{escape(self.player)}</strong>: {escape(self.sentence)} "
            f"{escape(self.lost_sentence)}</p>"
            f"{shown.to_html(index=False, escape=True, border=0)}<p>{escape(CAUTION)}</p>"
        )


NUMBERS = {2: "either of the two", 3: "any of these three", 4: "any of these four"}


def named(option, *, start=False):
    """Return an option in words.

    Parameters
    ----------
    option : (float, str)
        Distance in feet and component.
    start : bool
        At the start of a sentence.

    Returns
    -------
    str
        Such as ``pace at 24 ft``.
    """
    distance_ft, component = option
    words = f"{component} at {distance_ft:g} ft"
    return words[0].upper() + words[1:] if start else words


def time_words(minutes):
    """Return a time in words.

    Parameters
    ----------
    minutes : float
        Time.

    Returns
    -------
    str
        Such as ``hour`` or ``40 minutes``.
    """
    if minutes == 60:
        return "hour"
    return f"{minutes / 60:g} hours" if minutes % 60 == 0 else f"{minutes:g} minutes"


def at_least_shown(strokes):
    """Return strokes to three places, never as none where there are some.

    Parameters
    ----------
    strokes : float
        Strokes a round.

    Returns
    -------
    str
        Such as ``0.013`` or ``under 0.001``.
    """
    return f"{strokes:.3f}" if strokes >= 0.001 else "under 0.001"


def shown_table(table):
    """Return the table as a person reads it: rounded, with intervals, best first.

    Parameters
    ----------
    table : pandas.DataFrame
        Of an `Advice`.

    Returns
    -------
    pandas.DataFrame
        Text in every cell.
    """
    table = table.sort_values("expected_regret")

    def with_interval(name):
        ends = zip(table[name], table[name + "_lo"], table[name + "_hi"], strict=True)
        return [minus(f"{mean:.3f} ({low:.3f} to {high:.3f})") for mean, low, high in ends]

    columns = {
        "distance_ft": [f"{d:g}" for d in table["distance_ft"]],
        "component": list(table["component"]),
        "strokes_lost": with_interval("strokes_lost"),
        "saved_next_hour": with_interval("saved_next_hour"),
        "p_best": [sure(p) for p in table["p_best"]],
        "expected_regret": [at_least_shown(r) for r in table["expected_regret"]],
    }
    return pd.DataFrame(columns).rename(columns=TITLES)
