"""A person who records a visit: types readings of a known truth into the boxes that the view offers, one by one.

The truth is geometry alone: where the bore lies at each station, and a beam that is off by an offset and a direction
and turns with the gearbox. An instrument that shows the bore from the beam reads bore minus beam.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from record_sources import MILLS, NOW, keep_rows

from fleet.services.importing import import_folder
from fleet.services.recording import Entry, KeptEntries, RecordView, keep, record_view
from fleet.services.recording.view import Slot
from fleet.store.engine import Store, open_store

LINES = ("C01", "C02", "C03")


def of_few_lines(sheet: str, row: Mapping[str, str]) -> bool:  # noqa: ARG001 - the filter of `keep_rows`
    """Return whether a row of a source is of the three lines, or of none."""
    code = row.get("line") or (row.get("session") or "").partition("-")[0]
    return not code or code in LINES


def few_lines(template: Path, folder: Path) -> Path:
    """Return a record that holds three lines of the small mill, its derived results made."""
    path = folder / "few.sqlite"
    shutil.copyfile(template, path)
    store = open_store(f"sqlite:///{path}")
    import_folder(store, keep_rows(MILLS / "mill-c", folder / "few", of_few_lines), who="tester", now=NOW)
    store.close()
    return path


Truth = Mapping[str, tuple[float, float]]
"""Where the bore lies by station, v and h from the gearbox axis. [um]"""


@dataclass
class Typist:
    """Types into one draft from one device; every entry a second after the one before."""

    store: Store
    key: str
    now: datetime
    device: str = "phone"
    noise_um: float = 4.0
    beam_um: tuple[float, float] = (8.0, -6.0)
    beam_um_per_m: tuple[float, float] = (2.0, 3.0)
    sequence: int = 0
    random: np.random.Generator = field(default_factory=lambda: np.random.default_rng(20261101))

    def send(self, *pairs: tuple[str, str]) -> KeptEntries:
        """Send entries of field and text."""
        entries = []
        for name, text in pairs:
            self.sequence += 1
            entries.append(Entry(name, text, self.sequence, self.now + timedelta(seconds=self.sequence)))
        return keep(self.store, self.key, entries, device=self.device, now=self.now)

    def view(self) -> RecordView:
        """Look at the visit as it stands."""
        return record_view(self.store, self.key, now=self.now)

    def texts(self, slot: Slot, truth: Truth) -> tuple[str, str]:
        """Return what an instrument that shows the bore from the beam reads there [mm], v and h, to a micrometre."""
        turned = {0: 1.0, 180: -1.0}[slot.roll_deg]
        off = np.array(self.beam_um) + np.array(self.beam_um_per_m) * slot.distance_mm / 1000.0
        read = np.array(truth[slot.station]) - turned * off + self.random.normal(0.0, self.noise_um, 2)
        v, h = (f"{um / 1000.0:.3f}" for um in read)
        return v, h

    def read(self, slots: Iterable[Slot], truth: Truth) -> dict[str, str]:
        """Type the readings of some slots and return what was typed by field."""
        typed: dict[str, str] = {}
        for slot in slots:
            v, h = self.texts(slot, truth)
            typed |= {slot.v.name: v, slot.h.name: h}
            self.send((slot.v.name, v), (slot.h.name, h))
        return typed

    def read_pass(self, number: int, truth: Truth, but: Sequence[str] = ()) -> dict[str, str]:
        """Type a whole pass, the first station again at the end; stations in `but` are left out."""
        view = self.view().passes[number - 1]
        slots = [slot for station in view.stations if station.station not in but for slot in station.slots]
        return self.read([*slots, *view.again], truth)

    def cold(self, number: int = 1) -> None:
        """Type the conditions of a cold line."""
        self.send((f"p{number}.barrel_c", "21"), (f"p{number}.gearbox_c", "21"), (f"p{number}.base_c", "20,5"))
