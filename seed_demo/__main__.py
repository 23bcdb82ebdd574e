"""`python -m seed_demo FOLDER` writes the invented fleet as of today."""

from __future__ import annotations

import argparse
from datetime import UTC, date, datetime
from pathlib import Path

from seed_demo import write


def main() -> None:
    """Read the folder, seed and day from the command line and write."""
    parser = argparse.ArgumentParser(
        prog="python -m seed_demo", description="Write an invented fleet as an exchange folder."
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--today", type=date.fromisoformat, default=None, help="YYYY-MM-DD; today if left out")
    given = parser.parse_args()
    truth = write(given.folder, seed=given.seed, today=given.today or datetime.now(UTC).date())
    print(f"{given.folder}: " + ", ".join(f"{count} {table}" for table, count in truth.rows.items()))
    for story in truth.stories.values():
        print(f"{', '.join(story.lines)}: {story.text}")


if __name__ == "__main__":
    main()
