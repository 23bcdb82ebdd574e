"""An invented fleet, written as an exchange folder from a seed, with its truth and stories worth finding.

Lines, people and sites exist nowhere. The records are made by physics of their own (growth from saddle geometry, drift
with wander about the flange, instruments with beam and target errors) and share no code with the estimators they are
shown by, so that what those find can be held against what was true.
"""

from seed_demo.company import write
from seed_demo.truth import LineTruth, Position, Story, Truth

__all__ = ["LineTruth", "Position", "Story", "Truth", "write"]
