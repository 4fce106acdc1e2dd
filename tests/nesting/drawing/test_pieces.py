"""The pieces of a job: ids, copies, frames, and refusals that name everything at once."""

import hashlib
from pathlib import Path

import pytest

from nesting import curves
from nesting.drawing.pieces import file_safe, read_order
from nesting.drawing.shapes import DrawnChain
from nesting.drawing.writing import write_drawing
from nesting.faults import DrawingFault, JobFault
from nesting.model import Job, JobFile, PieceOrder, Turn

STOCK = {"material": "acrylic", "colour": "opal", "thickness_mm": 5.0}
SQUARE = ((10.0, 10.0, 0.0), (40.0, 10.0, 0.0), (40.0, 40.0, 0.0), (10.0, 40.0, 0.0))


def job(*orders: PieceOrder, quantity: int = 1) -> JobFile:
    return JobFile(Job("sign", quantity=quantity), orders)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_drawing(tmp_path / "square.dxf", {"CUT": [DrawnChain(SQUARE, True)]})
    write_drawing(
        tmp_path / "open.dxf", {"CUT": [DrawnChain(SQUARE, False), DrawnChain(((99, 99, 0), (88, 88, 0)), False)]}
    )
    return tmp_path


def test_ids_are_readable_and_distinct_whatever_the_case(folder):
    pieces, _, _ = read_order(job(PieceOrder("letters", **STOCK, wording="PaPA", height_mm=100.0)), folder)
    assert [piece.id for piece in pieces] == ["letters-P-1", "letters-a-1", "letters-P-2", "letters-A-2"]
    assert len({piece.id.casefold() for piece in pieces}) == 4


def test_quantities_multiply_and_every_piece_starts_at_its_origin(folder):
    pieces, _, findings = read_order(
        job(PieceOrder("star", **STOCK, drawing="square.dxf", quantity=6), quantity=2), folder
    )
    assert [pieces[0].id, pieces[-1].id] == ["star-01", "star-12"]
    assert [piece.copy for piece in pieces] == list(range(1, 13))
    assert {curves.bounds([piece.outline]) for piece in pieces} == {(0.0, 0.0, 30.0, 30.0)}
    assert findings == ()


def test_every_open_outline_is_named_in_one_fault(folder):
    with pytest.raises(DrawingFault) as caught:
        read_order(job(PieceOrder("face", **STOCK, drawing="open.dxf")), folder)
    assert caught.value.what.count("outline open by") == 2
    assert caught.value.where[:2] == ("piece face", "open.dxf")


@pytest.mark.parametrize(
    "text, safe",
    [
        ("Base rail", "Base-rail"),
        ("Å", "A"),
        ("Ω", "u03a9"),
        ("&", "u0026"),
        ("../x", "x"),
        ("<script>", "script"),
        ("", "piece"),
    ],
)
def test_names_become_safe_file_names(text, safe):
    assert file_safe(text) == safe


def test_wording_tells_how_far_it_reads_what_is_parted_and_what_is_too_thin(folder):
    order = PieceOrder("fine print", "acrylic", "opal", 10.0, wording="iB", height_mm=30.0)
    *_, findings = read_order(job(order), folder)
    told = {finding.code: finding.text for finding in findings}
    assert "read well from 3.6 to 6 m away, by good eyes to 10.5 m" in told["reading"]
    assert "pieces of their own in i" in told["parts"]
    assert "narrower than 10 mm" in told["narrow"]
    assert all(finding.mended and finding.where.startswith("wording 'iB'") for finding in findings)


def test_all_letters_that_are_too_thin_share_a_warning(folder):
    order = PieceOrder(
        "fine print", "acrylic", "opal", 10.0, wording="HIHI and so on, in letters far too small for it", height_mm=20.0
    )
    *_, findings = read_order(job(order), folder)
    webs, counters = (f for f in findings if f.code == "narrow")
    assert webs.text.startswith("webs of H, I, a, n, d, ") and " more places" in webs.text
    assert counters.text.startswith("counters of ")
    assert webs.where.startswith("wording 'HIHI and so on, in letters far too smal…'")


def test_what_two_entries_share_is_told_once(folder):
    orders = [PieceOrder(name, **STOCK, wording="H", height_mm=220.0) for name in ("front", "back")]
    *_, findings = read_order(job(*orders), folder)
    assert [finding.code for finding in findings] == ["reading"]


def test_each_entry_demands_its_pieces_with_the_digest_of_its_drawing(folder):
    word = PieceOrder("word", **STOCK, wording="ON", height_mm=100.0, quantity=2, turn=Turn.HALF)
    star = PieceOrder("star", **STOCK, drawing="square.dxf", mirror=True)
    pieces, demands, _ = read_order(job(word, star, quantity=3), folder)
    assert [(demand.name, demand.quantity, demand.shapes) for demand in demands] == [("word", 6, 2), ("star", 3, 1)]
    assert [one for demand in demands for one in demand.pieces] == [piece.id for piece in pieces]
    assert [(demand.turn, demand.mirror) for demand in demands] == [(Turn.HALF, False), (Turn.ANY, True)]
    assert demands[1].digest == hashlib.sha256((folder / "square.dxf").read_bytes()).hexdigest()


def test_a_starting_job_that_was_not_filled_in_is_refused(folder):
    order = PieceOrder("square", "FILL IN", "opal", 0.0, drawing="square.dxf")
    with pytest.raises(JobFault, match="still to be filled in: `material`, `thickness_mm`"):
        read_order(job(order), folder)
