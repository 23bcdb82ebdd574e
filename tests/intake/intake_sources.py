"""A small sound source to be broken in many ways."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from types import MappingProxyType

TODAY = date(2026, 11, 1)
MILLS = Path(__file__).parents[1] / "data"

SOUND: Mapping[str, str] = MappingProxyType(
    {
        "sites": "site,name,time_zone\nLO,Lowfield works,Europe/London\n",
        "lines": "line,site,screw_diameter_mm\nX1,LO,90\nX2,LO,90\n",
        "barrels": "barrel,bore_mm\nB1,90\nB2,90\n",
        "placements": "line,asset_kind,asset,installed_on,removed_on\n"
        "X1,barrel,B1,2015-01-01,\nX2,barrel,B2,2015-01-01,\n",
        "supports": "line,support,distance_mm\nX1,U1,1500\n",
        "stations": "line,station,distance_mm,support,added_on\nX1,S1,1500,U1,2015-01-01\nX1,S2,2500,,2015-01-01\n"
        "X2,S1,1500,,\n",
        "instruments": "instrument,sense_v,sense_h\nI1,bore_from_beam,beam_from_bore\nI2,,\n",
        "tolerances": "line,station,axis,measure,from_on,watch_um,limit_um\nX1,,v,,,50,100\nX1,,h,,,50,100\n",
        "sessions": "session,line,started_at,instrument,corrects,correction_reason\n"
        "V1,X1,2020-06-01T08:00,I1,,\nV2,X1,2021-06-01T08:00,,,\nV3,X2,2022-06-01T08:00,,,\n",
        "surveys": "session,survey,phase\nV1,1,as_found\nV2,1,as_found\nV3,1,as_found\n",
        "readings": "session,survey,sequence,station,beam_roll_deg,v,h,unit\n"
        "V1,1,1,S1,0,0.10,0.02,mm\nV1,1,2,S1,180,-0.02,0.04,mm\n",
        "offsets": "session,survey,station,v,h,unit\n"
        "V2,1,S1,-3.5,0.4,thou\nV2,1,S2,-0.0035,0.001,in\nV3,1,S1,-12,7,um\n",
    }
)
