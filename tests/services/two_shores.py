"""A small source with a line east and a line west of UTC, and ways to break it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType

from record_sources import write_source

LATE = datetime(2026, 11, 1, 23, 30, tzinfo=UTC)
"""2 Nov, 08:30 in Tokyo (UTC+9); 1 Nov, 15:30 in Los Angeles (UTC-8, its summer time ended that morning)."""

SOUND: Mapping[str, str] = MappingProxyType(
    {
        "sites": "site,name,time_zone\nEA,East works,Asia/Tokyo\nWE,West works,America/Los_Angeles\n",
        "lines": "line,site,screw_diameter_mm\nE1,EA,90\nW1,WE,90\n",
        "barrels": "barrel,bore_mm\nB1,90\n",
        "placements": "line,asset_kind,asset,installed_on\nE1,barrel,B1,2015-01-01\n",
        "stations": "line,station,distance_mm\nE1,S1,1500\nE1,S2,2500\nW1,S1,1500\n",
        "sessions": "session,line,started_at,corrects,correction_reason\n"
        "V1,E1,2020-06-01T08:00,,\nV2,W1,2021-06-01T08:00,,\n",
        "surveys": "session,survey,phase,barrel_c,gearbox_c\nV1,1,as_found,21,20\nV2,1,as_found,21,20\n",
        "offsets": "session,survey,station,v,h,unit\nV1,1,S1,-0.10,0.02,mm\nV1,1,S2,-0.12,0.03,mm\nV2,1,S1,4,0,thou\n",
        "meters": "line,read_at,running_hours\nE1,2020-06-01T08:00,20388\nE1,2021-06-01T08:00,26000\n",
        "running_checks": "line,checked_at,station,v_rise,h_rise,unit,u,barrel_c\n"
        "E1,2020-07-01T10:00,S1,0.26,-0.01,mm,0.01,200\n",
        "events": "line,happened_at,kind,note,resets_trend\nE1,2020-09-01T10:00,struck,by a truck,no\n",
        "tolerances": "line,axis,from_on,watch_um,limit_um\nE1,v,2019-01-01,100,200\n",
        "wear": "asset_kind,asset,measured_at,distance_mm,diameter_v,unit\nbarrel,B1,2020-06-01,400,90.05,mm\n",
        "findings": "session,item,value,unit\nV1,soft foot,0.12,mm\n",
    }
)


def laid(folder: Path, changed: Mapping[str, str | None] | None = None) -> Path:
    """Write the sound source with some files replaced, or (None) left away."""
    files = {**SOUND, **(changed or {})}
    return write_source(folder, {name: text for name, text in files.items() if text is not None})


BROKEN: Mapping[str, str] = MappingProxyType(
    {
        "offsets": "session,survey,station,v,h,unit\nV1,1,S1,-0.10,0.02,mm\nV1,1,S2,-0.12,0.03,mm\nV2,1,S1,4,0,thous\n"
        "V2,1,S9,4,0,thou\n",
    }
)
"""Rows 4 and 5 of offsets.csv stand in the way; both are of session V2."""
