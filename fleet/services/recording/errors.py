"""What keeps a visit from going on, as sentences."""

from __future__ import annotations

from fleet.errors import FleetError


class RecordingError(FleetError):
    """A visit cannot go on or cannot be signed; `blocks` are the sentences that say why, its text is all of them."""

    def __init__(self, blocks: tuple[str, ...]) -> None:
        self.blocks = blocks
        super().__init__("\n".join(blocks))
