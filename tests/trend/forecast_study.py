"""Nine kinds of simulated fleets, foreseen and scored: the rows of forecast_scores.md.

`python tests/trend/forecast_study.py` writes the table anew; the marked test holds it against what the code does.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from study_fleets import AHEAD_DAYS, KINDS, StudyFleet, study_fleet
from study_rivals import last_position, last_rate, own_line
from study_scores import INTERVALS, Foresight, Known, coverage_error, scores

from fleet.trend import Ahead, forecast, intervals, outlook, pool_rates, posteriors
from fleet.values import FloatArray

DOCUMENT: Final = Path(__file__).with_name("forecast_scores.md")
N_LINES: Final = 2000
OURS: Final = "Asleft"
ORACLE: Final = "the parameters known"
RULES: Final = ("last position", "last rate", "own line")
NAMES: Final = (OURS, *RULES, ORACLE)
DECILES: Final = tuple(f"{low} to {low + 10}" for low in range(0, 100, 10))

HEADING: Final = f"""# How the forecast does on simulated fleets

Nine kinds of fleets of {N_LINES:,} lines, 4 stations, 2 axes, simulated by `study_fleets.py` with fixed seeds, sizes
told there. As-of lies up to four months after the newest visit; a survey is made 90, 180, 365 and 730 days after it.
Everything is foreseen from the simulated record alone, by Asleft, by three rules with honest spreads fitted on the
fleet's own past (`study_rivals.py`: what was left last with variance a + b dt; the last interval's rate with variance
c0 + c1 dt + c2 (dt / dt_prev)^2; a straight line through each station's own movements with Student's interval) and by
one who knows every line's rate, wander and jumps so far.

This file is written by `python tests/trend/forecast_study.py`; a test makes it anew and compares.

"""
COVERAGE: Final = f"""## Share of surveys inside the stated range, %

± is twice the bootstrap standard error over whole lines.

| fleet | range | {" | ".join(f"{days} days" for days in AHEAD_DAYS)} | all | ± |
| --- | --- | {" | ".join("---" for _ in AHEAD_DAYS)} | --- | --- |
"""
SCORES: Final = """## Scores, smaller is better

CRPS is the continuous ranked probability score in um, the log score is minus the log density per um, both averaged over
the four dates; the last column is the CRPS beside that with the parameters known.

| fleet | foreseen by | CRPS um | log score | of the best possible |
| --- | --- | --- | --- | --- |
"""
CHANCES: Final = """## Stated chances of passing the limit, and how often it came true, %

All series and dates by tenths of the stated chance; ± is twice the bootstrap standard error over whole lines.

| fleet | stated, % | series and dates | mean stated | came true | ± |
| --- | --- | --- | --- | --- | --- |
"""


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows of one kind of fleet in the three tables."""

    coverage: tuple[str, ...]
    scores: tuple[str, ...]
    chances: tuple[str, ...]


def _foreseen(fleet: StudyFleet) -> tuple[Foresight, FloatArray]:
    """Return the outlook on every date, and the chances of having passed by then."""
    found = intervals(fleet.visits)
    pooled = pool_rates(found, fleet.series)
    known = posteriors(fleet.visits, found, fleet.series, pooled, regime_now=fleet.regime_now)
    days = fleet.elapsed_days[:, None] + np.array(AHEAD_DAYS, dtype=np.float64)
    nothing = np.full(fleet.limit_um.shape, np.nan)
    ahead = Ahead(fleet.elapsed_years, fleet.elapsed_days, fleet.years_per_day, nothing, nothing, np.array([0.0]))
    got = forecast(known, ahead, target_um=0.0 * fleet.limit_um, limit_um=fleet.limit_um)
    return outlook(known, years=fleet.use_years, days=days), got.chance_over[:, 1:]


def rows_of(name: str, *, lines: int = N_LINES) -> Rows:
    """Simulate, foresee and score one kind of fleet."""
    fleet = study_fleet(KINDS[name], lines=lines, seed=100 + list(KINDS).index(name))
    ours, chance = _foreseen(fleet)
    rivals = dict(zip(RULES, (last_position(fleet), last_rate(fleet), own_line(fleet)), strict=True))
    everyone = {OURS: ours, **rivals, ORACLE: Known(fleet.oracle)}
    scored = {who: scores(foresight, fleet.measured_um) for who, foresight in everyone.items()}

    coverage = []
    for number, share in enumerate(INTERVALS):
        tail = np.array([(1.0 - share) / 2.0, (1.0 + share) / 2.0])
        low, high = np.moveaxis(ours.quantiles(tail), -1, 0)
        inside = (fleet.measured_um >= low) & (fleet.measured_um <= high)
        cells = [f"{100 * part:.1f}" for part in scored[OURS].covered[number]]
        error = 200 * coverage_error(inside, fleet.series.line)
        whole = 100 * float(inside.mean())
        coverage.append(f"| {name} | {100 * share:.0f} % | {' | '.join(cells)} | {whole:.1f} | {error:.1f} |")

    best = float(scored[ORACLE].crps_um.mean())
    told = [
        f"| {name} | {who} | {got.crps_um.mean():.2f} | {got.log_score.mean():.3f} | {got.crps_um.mean() / best:.3f} |"
        for who, got in scored.items()
    ]

    chances = []
    line = np.repeat(fleet.series.line[:, None], len(AHEAD_DAYS), axis=1)
    tenth = np.minimum((chance * 10).astype(np.int64), 9)
    for number, words in enumerate(DECILES):
        here = tenth == number
        if not np.any(here):
            continue
        true = fleet.passed[here]
        error = 200 * coverage_error(true, line[here])
        told_and_true = f"{100 * chance[here].mean():.1f} | {100 * true.mean():.1f}"
        chances.append(f"| {name} | {words} | {true.size} | {told_and_true} | {error:.1f} |")
    return Rows(tuple(coverage), tuple(told), tuple(chances))


def document(rows: list[Rows]) -> str:
    """Put the tables together."""
    parts = [
        COVERAGE + "\n".join(line for each in rows for line in each.coverage),
        SCORES + "\n".join(line for each in rows for line in each.scores),
        CHANCES + "\n".join(line for each in rows for line in each.chances),
    ]
    return HEADING + "\n\n".join(parts) + "\n"


if __name__ == "__main__":
    DOCUMENT.write_text(document([rows_of(name) for name in KINDS]), encoding="utf-8")
