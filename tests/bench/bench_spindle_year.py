"""What a year of weekly spindle checks says: false alarms with seasons, and how soon a change is found."""

import numpy as np

from tests.spindle_years import ACCELERATION, ONCE, louder, weeks_with_a_change

YEARS, FROM = 12, 30
CASES = {
    "nothing; 1.5 % a degree": {},
    "nothing; 3 % a degree": {"per_degree": 0.03},
    "nothing; −2 % a degree, ±11 °C": {"per_degree": -0.02, "season_c": 11.0},
    "once per turn 1.6 times from week 30": {"fault": louder(ONCE, FROM, 1.6)},
    "acceleration +0.35 dB a week from 30": {"fault": louder(ACCELERATION, FROM, 1.0, 0.35)},
}


def main():
    """Print the table."""
    print(f"{YEARS} years of 52 checks, 12 figures each, scatter 6 %, ±7.5 °C over the year")
    for name, options in CASES.items():
        years = [weeks_with_a_change(year, **options) for year in range(YEARS)]
        early = sum(any(week < FROM for week in weeks) for weeks in years)
        late = [min(after) - FROM for weeks in years if (after := [week for week in weeks if week >= FROM])]
        median = f"{np.median(late):.0f} weeks after" if late else "–"
        print(f"{name:40} alarm before week {FROM}: {early:2d}   from then: {len(late):2d}, median {median}")


if __name__ == "__main__":
    main()
