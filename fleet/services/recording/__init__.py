"""Recording a visit on the page, step by step, up to the signature.

What is typed is kept as text in a draft (`drafts`), looked at as a whole after each entry (`looking.record_view`, which
gives a `view.RecordView`), and becomes a signed session by going through the same gate as any import (`signing.sign`).
Field names are built in `fields`.

- `start(store, line, *, author, client_key, now, corrects=None, fields) -> DraftHead`
- `keep(store, client_key, entries, *, device, now) -> KeptEntries(sequence, version, stored, refused)`; an entry is
  `Entry(field, value, sequence, typed_at)`
- `open_drafts(store, line=None) -> tuple[DraftHead, ...]`, `discard(store, client_key, *, who, now)`
- `record_view(store, client_key, *, now=None) -> RecordView`
- `sign(store, client_key, *, name, version, now=None) -> Signed(session, line, sentences)`; raises `RecordingError`
  whose `blocks` are sentences
"""
