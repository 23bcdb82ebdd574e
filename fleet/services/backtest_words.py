"""How a backtest is said: the verdict in a sentence, its ranges, stretches and rules in a few words."""

from __future__ import annotations

from typing import Final

from fleet.trend.reliability import Reliability, Verdict
from fleet.words import NBSP

VERDICT_WORDS: Final[dict[Verdict, str]] = {
    "few": "too few to say",
    "holds": "holds",
    "too_narrow": "too narrow",
    "too_wide": "too wide",
}
RULE_WORDS: Final = {"as_left": "found as it was left last", "own_rate": "goes on as over its last interval"}
SCORE_MEANING: Final = "how far off on average, the width of the range counted too; less is better"
STRETCH_WORDS: Final = (
    f"up to 180{NBSP}days",
    f"180{NBSP}days to 1{NBSP}year",
    f"1 to 2{NBSP}years",
    f"longer than 2{NBSP}years",
)
"""In the order of `fleet.trend.reliability.STRETCHES_DAYS`."""
_MEANING: Final[dict[Verdict, str]] = {
    "holds": "the ranges hold. Chances and dates may be taken as they stand.",
    "too_narrow": (
        "the ranges are too narrow. Lines are found farther from what was expected than the forecast says: some will "
        "be over earlier than the earliest dates shown, so leave more room than they ask for."
    ),
    "too_wide": (
        "the ranges are too wide. Lines are found nearer to what was expected than the forecast says: the earliest "
        "dates shown are on the safe side."
    ),
}


_MANY_OUTSIDE: Final = 0.90
"""Below this share inside, more than twice as many values as stated lay outside their 95 % range."""
_TAILS_A_LITTLE: Final = (
    f"the ranges are a little too narrow at their ends. Most visits come out as expected (the 80{NBSP}% ranges hold); "
    "surprises are somewhat more frequent than the forecast says: leave a little more room than its earliest dates ask "
    "for."
)
_TAILS: Final = (
    f"the ends of the ranges are too narrow. Most visits come out as expected (the 80{NBSP}% ranges hold), but large "
    "surprises are more frequent than the forecast says: leave more room than the earliest dates ask for."
)


def verdict_sentence(judged: Reliability) -> str:
    """Return how far the forecast is to be trusted, in words, from the 95 % range; no share where it would pretend."""
    wide = judged.coverages[-1]
    if wide.n == 0:
        return "No as-found could be held against a forecast yet: that takes a second visit to the same station."
    of_visits = f"{judged.visits} visit{'s' if judged.visits != 1 else ''}"
    if wide.verdict == "few":
        return (
            f"Only {count(wide.n)} as-found values of {of_visits} could be held against a forecast so far, "
            f"{count(wide.inside)} of them inside their 95{NBSP}% range: too few to say how far to trust it."
        )
    counted = (
        f"Of {count(wide.n)} as-found values of {of_visits}, {count(wide.inside)} "
        f"({percent(wide.inside / wide.n)}) lay inside their 95{NBSP}% range "
        f"(expected {count(wide.fewest)} to {count(wide.most)})"
    )
    if wide.verdict == "too_narrow" and judged.coverages[-2].verdict == "holds":
        return f"{counted}: {_TAILS if wide.inside < _MANY_OUTSIDE * wide.n else _TAILS_A_LITTLE}"
    return f"{counted}: {_MEANING[wide.verdict]}"


def count(number: int) -> str:
    """Return a whole number with its thousands set apart."""
    return f"{number:,}".replace(",", NBSP)


def percent(share: float) -> str:
    """Return a share that was counted, in whole per cent."""
    return f"{100.0 * share:.0f}{NBSP}%"
