"""What is written out is what was typed, and reading it back and writing it again changes no byte."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_sources import MILLS, SOUND, TODAY
from sqlalchemy import select, update

from fleet.intake import IntakeError, export, take
from fleet.intake.layout import SHEET, SHEETS
from fleet.store import Line, RunningCheck, Site, VisitSession
from fleet.store.engine import Store, open_store

Folder = Callable[..., Path]


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def read(path: Path, separator: str = ",") -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file, delimiter=separator))


def second_store(template: Path, tmp_path: Path) -> Store:
    path = tmp_path / "second.sqlite"
    path.write_bytes(template.read_bytes())
    return open_store(f"sqlite:///{path}")


def test_an_export_taken_into_an_empty_store_is_exported_byte_for_byte_the_same(
    sqlite_store: Store, sqlite_template: Path, tmp_path: Path
) -> None:
    for mill in ("mill-a", "mill-b", "mill-c"):
        take(sqlite_store, MILLS / mill, who="ann", today=TODAY)
    export(sqlite_store, tmp_path / "one")
    other = second_store(sqlite_template, tmp_path)
    result = take(other, tmp_path / "one", who="bob", today=TODAY)
    written = export(other, tmp_path / "two")
    other.close()
    assert dict(result.taken) == dict(written.rows)
    assert set(written.rows) == set(SHEET)
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


@pytest.mark.postgres
def test_mill_c_goes_through_postgresql_and_comes_out_the_same_as_through_sqlite(
    sqlite_store: Store, postgres_store: Store, tmp_path: Path
) -> None:
    take(sqlite_store, MILLS / "mill-c", who="ann", today=TODAY)
    export(sqlite_store, tmp_path / "one")
    take(postgres_store, tmp_path / "one", who="bob", today=TODAY)
    assert take(postgres_store, MILLS / "mill-c", who="bob", today=TODAY).nothing_new
    export(postgres_store, tmp_path / "two")
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


@pytest.mark.parametrize("mill", ["mill-a", "mill-b", "mill-c"])
def test_an_export_holds_every_cell_of_the_source_as_it_was_typed(
    mill: str, sqlite_store: Store, tmp_path: Path
) -> None:
    take(sqlite_store, MILLS / mill, who="ann", today=TODAY)
    export(sqlite_store, tmp_path / "out")
    assert {path.name for path in (tmp_path / "out").iterdir()} == {path.name for path in (MILLS / mill).iterdir()}
    for path in (MILLS / mill).iterdir():
        semicolons = mill == "mill-c" and path.stem == "offsets"
        given_rows = read(path, ";" if semicolons else ",")
        names = [column.name for column in SHEET[path.stem].columns]
        shield = re.compile(r"'*[=+@-]")
        expected = []
        for row in given_rows:
            cells = [row.get(name, "") for name in names]
            if semicolons:
                cells = [cell.replace(",", ".") for cell in cells]
            texts = [SHEET[path.stem].by_name[name].kind in ("text", "code") for name in names]
            expected.append(
                tuple("'" + c if text and shield.match(c) else c for c, text in zip(cells, texts, strict=True))
            )
        got = [tuple(row[name] for name in names) for row in read(tmp_path / "out" / path.name)]
        assert sorted(got) == sorted(expected), path.name


def test_rows_stand_in_the_order_of_their_keys_whatever_order_they_came_in(
    folder: Folder, sqlite_store: Store, sqlite_template: Path, tmp_path: Path
) -> None:
    take(sqlite_store, folder(), who="ann", today=TODAY)
    export(sqlite_store, tmp_path / "one")
    other = second_store(sqlite_template, tmp_path)
    turned = {}
    for name, text in SOUND.items():
        header, *rows = text.splitlines()
        turned[name] = "\n".join([header, *reversed(rows)]) + "\n"
    take(other, folder(turned), who="ann", today=TODAY)
    export(other, tmp_path / "two")
    other.close()
    assert contents(tmp_path / "one") == contents(tmp_path / "two")
    assert [row["sequence"] for row in read(tmp_path / "one" / "readings.csv")] == ["1", "2"]


ODD = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40) | st.sampled_from(
    [
        '=HYPERLINK("x")',
        "'=1",
        "''+1",
        "-2 thou",
        "@SUM",
        "'",
        "''",
        "a,b;c\td",
        'say ""',
        '"',
        "\r",
        "\n",
        "\r\n",
        "line\r\nbreak",
        " space ",
        "\ufeffmark",
        "בדיקה טובה",
        "\u202eright to left",
        "👍🏽",
        "<script>x</script>",
        "' OR 1=1 --",
        "\u2028",
        "\x1f",
        "0.10",
        "+5",
        "NULL",
        "#N/A",
        "café",
        "cafe\u0301",
    ]
)


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(texts=st.lists(ODD, min_size=20, max_size=60))
def test_text_keeps_every_character_there_and_back(
    texts: list[str], sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    place = tmp_path_factory.mktemp("odd")
    source = place / "source"
    source.mkdir()

    def written(text: str) -> str:
        # What a careful writer does: shield what looks like a formula, with the standard library's own quotes
        return "'" + text if re.match(r"'*[=+@-]", text) else text

    with (source / "lines.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, quoting=csv.QUOTE_ALL)
        writer.writerow(["line", "description"])
        writer.writerows([f"X{at:03}", written(text)] for at, text in enumerate(texts))
    with (source / "sessions.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, quoting=csv.QUOTE_ALL)
        writer.writerow(["session", "line", "started_at", "remarks"])
        writer.writerows([f"V{at:03}", "X000", "2020-01-01T08:00", written(text)] for at, text in enumerate(texts))
    outs = []
    for number in (1, 2):
        path = place / f"{number}.sqlite"
        path.write_bytes(sqlite_template.read_bytes())
        store = open_store(f"sqlite:///{path}")
        take(store, source if number == 1 else outs[0], who="ann", today=TODAY)
        with store.read() as session:
            described = session.execute(select(Line.description).order_by(Line.code)).scalars().all()
            remarked = session.execute(select(VisitSession.remarks).order_by(VisitSession.code)).scalars().all()
        assert [text or "" for text in described] == texts
        assert [text or "" for text in remarked] == texts
        outs.append(place / f"out{number}")
        export(store, outs[-1])
        store.close()
    assert contents(outs[0]) == contents(outs[1])


def test_only_signed_sessions_and_facts_in_force_leave(folder: Folder, sqlite_store: Store, tmp_path: Path) -> None:
    checks = "line,checked_at,station,v_rise,unit\nX1,2020-01-01T07:00,S1,30,um\nX1,2021-01-01T07:00,S1,31,um\n"
    temperatures = (
        "session,survey,line,checked_at,support,barrel_c\n,,X1,2020-01-01T07:00,U1,180\n,,X1,2021-01-01T07:00,U1,181\n"
    )
    take(
        sqlite_store,
        folder({"running_checks": checks, "support_temperatures": temperatures}),
        who="ann",
        today=TODAY,
    )
    with sqlite_store.write() as session:
        line = session.execute(select(Line.id).where(Line.code == "X1")).scalar_one()
        session.add(VisitSession(code="D1", line_id=line, started_at=datetime(2024, 1, 1, tzinfo=UTC)))
        session.execute(
            update(RunningCheck)
            .where(RunningCheck.v_rise_um == 30)
            .values(withdrawn_at=datetime(2026, 1, 1, tzinfo=UTC), withdrawn_by="ann", withdrawn_why="misread")
        )
    export(sqlite_store, tmp_path / "out")
    assert [row["session"] for row in read(tmp_path / "out" / "sessions.csv")] == ["V1", "V2", "V3"]
    assert [row["v_rise"] for row in read(tmp_path / "out" / "running_checks.csv")] == ["31"]
    # The temperature of the withdrawn check has lost what it belongs to: taken in again it would be refused
    assert [row["barrel_c"] for row in read(tmp_path / "out" / "support_temperatures.csv")] == ["181"]


def test_a_time_whose_zone_was_changed_since_leaves_as_the_moment_it_was(
    folder: Folder, sqlite_store: Store, tmp_path: Path
) -> None:
    take(sqlite_store, folder(), who="ann", today=TODAY)
    with sqlite_store.write() as session:
        session.execute(update(Site).values(time_zone="Asia/Kolkata"))
    export(sqlite_store, tmp_path / "out")
    # 08:00 of a London June was 07:00 UTC and stays so
    assert [row["started_at"] for row in read(tmp_path / "out" / "sessions.csv")] == [
        "2020-06-01T07:00Z",
        "2021-06-01T07:00Z",
        "2022-06-01T07:00Z",
    ]


def test_what_was_never_typed_is_written_as_plain_numbers_and_times_in_utc(
    folder: Folder, sqlite_store: Store, sqlite_template: Path, tmp_path: Path
) -> None:
    take(sqlite_store, folder(), who="ann", today=TODAY)
    with sqlite_store.write() as session:
        session.execute(update(Line).where(Line.code == "X1").values(weight=1.5, visit_hours=0.00001, typed="{}"))
    export(sqlite_store, tmp_path / "out")
    row = read(tmp_path / "out" / "lines.csv")[0]
    assert (row["screw_diameter_mm"], row["weight"], row["visit_hours"], row["cold_reference_c"]) == (
        "90",
        "1.5",
        "0.00001",
        "",
    )
    assert Decimal(row["visit_hours"]) == Decimal("0.00001")
    other = second_store(sqlite_template, tmp_path)
    take(other, tmp_path / "out", who="ann", today=TODAY)
    export(other, tmp_path / "two")
    other.close()
    assert contents(tmp_path / "out") == contents(tmp_path / "two")


def test_an_as_left_with_loose_bolts_leaves_as_it_was_typed(
    folder: Folder, sqlite_store: Store, tmp_path: Path
) -> None:
    surveys = "session,survey,phase,bolts\nV1,1,as_found,\nV2,1,as_left,loose\nV3,1,as_found,\n"
    source = folder({"surveys": surveys})
    take(sqlite_store, source, who="ann", today=TODAY)
    assert take(sqlite_store, source, who="ann", today=TODAY).nothing_new
    export(sqlite_store, tmp_path / "out")
    assert [row["phase"] for row in read(tmp_path / "out" / "surveys.csv")] == ["as_found", "as_left", "as_found"]


def test_an_empty_record_leaves_no_files_and_a_folder_with_files_is_refused(
    sqlite_store: Store, folder: Folder, tmp_path: Path
) -> None:
    assert dict(export(sqlite_store, tmp_path / "out").rows) == {}
    assert list((tmp_path / "out").iterdir()) == []
    taken = folder()
    before = contents(taken)
    with pytest.raises(IntakeError) as refused:
        export(sqlite_store, taken)
    assert str(refused.value) == f"{taken}: there are CSV files in this folder already; name an empty one"
    assert contents(taken) == before
    (tmp_path / "file").write_text("x")
    with pytest.raises(IntakeError, match="this is not a folder"):
        export(sqlite_store, tmp_path / "file")


def test_files_have_the_columns_of_the_format_and_lf_line_ends(
    folder: Folder, sqlite_store: Store, tmp_path: Path
) -> None:
    take(sqlite_store, folder(), who="ann", today=TODAY)
    export(sqlite_store, tmp_path / "out")
    assert (tmp_path / "out" / "offsets.csv").read_bytes() == (
        b"session,survey,station,v,h,unit,u_v,u_h\n"
        b"V2,1,S1,-3.5,0.4,thou,,\nV2,1,S2,-0.0035,0.001,in,,\nV3,1,S1,-12,7,um,,\n"
    )
    assert {path.stem for path in (tmp_path / "out").iterdir()} <= {sheet.name for sheet in SHEETS}
