"""The shape of a bore and how to change it: lines through profiles, movements taken apart, straightness, moves.

`line` lays the generalised least-squares line; `movement` takes a movement apart; `straightness` measures the zone
that holds a profile; `level` tells a tilting gearbox from a barrel; `response` learns how a line answers its supports;
`moves` plans what to do at them. Pure functions on arrays of one axis, at the stations of one bore.
"""

from fleet.profile.level import LevelSays, level_says
from fleet.profile.line import Line, fit_line
from fleet.profile.movement import Movement, Part, split_movement
from fleet.profile.moves import Move, Plan, SupportToMove, plan_moves
from fleet.profile.response import Response, Round, expected_response, learn_response
from fleet.profile.straightness import Straightness, straightness

__all__ = [
    "LevelSays",
    "Line",
    "Move",
    "Movement",
    "Part",
    "Plan",
    "Response",
    "Round",
    "Straightness",
    "SupportToMove",
    "expected_response",
    "fit_line",
    "learn_response",
    "level_says",
    "plan_moves",
    "split_movement",
    "straightness",
]
