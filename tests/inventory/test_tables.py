"""Tables of stock: every row has a fate, a repeat does no harm, and no cell turns into a formula."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.database import open_rack, reading, writing
from inventory.rack import on_hand
from inventory.tables import Fate, examine, export_sheets, import_sheets
from inventory.views import Wish, listing
from nesting.faults import RackFault

ANN = {"at": datetime(2026, 3, 2, 12, tzinfo=UTC), "who": "Ann"}
DEMO = Path(__file__).parents[2] / "demo_data" / "workshop" / "rack.csv"
HEAD = "id,material,colour,thickness_mm,length_mm,width_mm\n"


def load(rack: sa.Engine, path: Path) -> None:
    with writing(rack) as conn:
        import_sheets(conn, path, **ANN)


def fates(rack: sa.Engine, path: Path) -> tuple[Fate, ...]:
    with reading(rack) as conn:
        return examine(conn, path).fates


def test_the_demo_rack_is_a_dozen_offcuts_and_a_second_import_adds_none(rack: sa.Engine) -> None:
    load(rack, DEMO)
    load(rack, DEMO)
    with reading(rack) as conn:
        sheets = on_hand(conn)
    assert len(sheets) == 12
    assert {sheet.thickness_mm for sheet in sheets} == {5.0, 10.0}
    assert any(sheet.holes_mm for sheet in sheets) and any(len(sheet.outline_mm) == 6 for sheet in sheets)
    assert sum(sheet.book_value for sheet in sheets) == Decimal("144.20")


def test_every_row_is_told_its_fate_and_one_bad_row_keeps_all_out(rack: sa.Engine, tmp_path: Path) -> None:
    table = tmp_path / "stock.csv"
    rows = ["A1,acrylic,opal,5,600,400", "A2,acrylic,opal,five,600,400", "A1,acrylic,opal,5,1,2", "A3,,opal,5,600,nan"]
    table.write_text(HEAD + "\n".join(rows), encoding="utf-8")
    told = [(fate.row, fate.sheet, fate.verdict, fate.column) for fate in fates(rack, table)]
    assert told == [
        (2, "A1", "new", ""),
        (3, "A2", "refused", "thickness_mm"),
        (4, "A1", "refused", "id"),
        (5, "A3", "refused", "material"),
    ]
    with pytest.raises(RackFault, match="3 of 4 rows"):
        load(rack, table)
    with reading(rack) as conn:
        assert on_hand(conn) == ()


def test_inches_are_told_by_the_heading(rack: sa.Engine, tmp_path: Path) -> None:
    table = tmp_path / "stock.csv"
    table.write_text("material;colour;thickness_mm;length_in;width_in;;\nacrylic;opal;5;24;12,5;;\n", encoding="utf-8")
    load(rack, table)
    with reading(rack) as conn:
        (sheet,) = on_hand(conn)
    assert sheet.outline_mm[2] == (609.6, 317.5)
    assert sheet.id == "R1"


def test_a_table_says_which_sheets_are_known_to_be_square(rack: sa.Engine, tmp_path: Path) -> None:
    table, out = tmp_path / "stock.csv", tmp_path / "out.csv"
    head = HEAD.replace("\n", ",square\n")
    table.write_text(head + "A1,acrylic,opal,5,600,400,yes\nA2,acrylic,opal,5,600,400,\n", encoding="utf-8")
    load(rack, table)
    with reading(rack) as conn:
        assert [sheet.square for sheet in on_hand(conn)] == [True, False]
        export_sheets(listing(conn, Wish()).sheets, out)
    assert out.read_text("utf-8-sig").splitlines()[0].split(",").index("square") > 0
    table.write_text(head + "A3,acrylic,opal,5,600,400,perhaps\n", encoding="utf-8")
    assert [(fate.verdict, fate.column) for fate in fates(rack, table)] == [("refused", "square")]


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_what_goes_out_comes_in_the_same_and_is_never_a_formula(
    rack: sa.Engine, tmp_path: Path, ending: str, unit: str
) -> None:
    wild = ["=1+1", "+1", "-1", "@SUM(A1)", "'=1+1", "<script>", "a,b", '"', "O'Neil"]
    table = tmp_path / "stock.csv"
    quoted = [name.replace('"', '""') for name in wild]
    lines = [f'X{n},acrylic,"{name}",5,600,400' for n, name in enumerate(quoted)]
    table.write_text(HEAD + "\n".join(lines), encoding="utf-8")
    load(rack, DEMO)
    load(rack, table)
    with reading(rack) as conn:
        sheets = listing(conn, Wish()).sheets
        out = tmp_path / f"out.{ending}"
        export_sheets(sheets, out, unit=unit)
        assert {fate.verdict for fate in examine(conn, out).fates} == {"known"}
    if ending == "csv":
        cells = [c.strip('"') for line in out.read_text("utf-8-sig").splitlines() for c in line.split(",")]
        assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]


@pytest.mark.parametrize("content", [b"", b"\x00\x01", b"colour\nopal\n", b"PK\x03\x04broken", b"id,mass\n1,2\n"])
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_what_is_no_table_of_stock_is_told(rack: sa.Engine, tmp_path: Path, content: bytes, ending: str) -> None:
    table = tmp_path / f"stock.{ending}"
    table.write_bytes(content)
    with pytest.raises(RackFault):
        load(rack, table)


@pytest.mark.parametrize(
    "content",
    [
        HEAD + "A1,acrylic,opal,5,600,400,7\n",
        HEAD.replace("\n", ",width_in\n") + "A1,acrylic,opal,5,600,400,7\n",
        HEAD.replace("width_mm", "id") + "A1,acrylic,opal,5,600,400\n",
        "colour,material,thickness_mm,length_mm\nopal,acrylic,5,600\n",
    ],
)
def test_a_table_that_could_be_misread_is_refused(rack: sa.Engine, tmp_path: Path, content: str) -> None:
    table = tmp_path / "stock.csv"
    table.write_text(content, encoding="utf-8")
    with pytest.raises(RackFault):
        load(rack, table)


CELLS = st.one_of(
    st.text(max_size=12), st.sampled_from(["5", "600", "nan", "inf", "-1", "1e400", "0,0 9,0 9,9", "'=1", "0x10", ""])
)


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    cells=st.lists(st.lists(CELLS, min_size=9, max_size=9), max_size=4),
    noise=st.binary(max_size=30),
    at=st.integers(0, 200),
)
def test_whatever_a_file_holds_every_row_has_a_fate_or_the_file_is_refused(
    tmp_path: Path, cells: list[list[str]], noise: bytes, at: int
) -> None:
    table, head = (
        tmp_path / "stock.csv",
        "id,material,colour,thickness_mm,length_mm,width_mm,corners_mm,holes_mm,grain_deg",
    )
    out = io.StringIO()
    csv.writer(out).writerows([head.split(","), *cells])
    data = out.getvalue().encode("utf-8", errors="surrogatepass")
    table.write_bytes(data[:at] + noise + data[at:])
    engine = open_rack("sqlite://")
    try:
        with writing(engine) as conn:
            found = import_sheets(conn, table, **ANN)
            assert {fate.verdict for fate in found.fates} <= {"new", "known"}
            assert len(on_hand(conn)) == len(found.sheets)
    except RackFault as fault:
        assert fault.mend
    finally:
        engine.dispose()
