"""Recording a visit on the page, step by step, up to the signature.

What is typed is kept as text in a draft (`drafts`), looked at as a whole after each entry (`looking.record_view`, which
gives a `view.RecordView`), and becomes a signed session by going through the same gate as any import (`signing.sign`).
`layout` says where readings go and `fields` what their boxes are called; `passes`, `noticing` and `moving` are a pass,
what does not fit in it and the moves after it; `asking` is what stands before the signature.
"""

from __future__ import annotations

from fleet.services.recording.beginning import BeginView, begin_view
from fleet.services.recording.drafts import Entry, KeptEntries, discard, draft_head, keep, open_drafts, start
from fleet.services.recording.errors import RecordingError
from fleet.services.recording.looking import record_view
from fleet.services.recording.signing import Signed, sign
from fleet.services.recording.view import DraftHead, RecordView

__all__ = [
    "BeginView",
    "DraftHead",
    "Entry",
    "KeptEntries",
    "RecordView",
    "RecordingError",
    "Signed",
    "begin_view",
    "discard",
    "draft_head",
    "keep",
    "open_drafts",
    "record_view",
    "sign",
    "start",
]
