"""The rack against the outside world: each check names its published source, or says that there is none."""

from __future__ import annotations

import math

import pypdfium2
import pytest
import segno

from inventory.measures import ring_area_mm2, ring_length_mm
from inventory.tape import from_tape
from nesting.model import Ring


def test_out_of_square_by_one_millimetre_a_metre_shows_in_the_diagonals() -> None:
    """Common practice, no source: a sheet L x W that leans by e has diagonals sqrt((L + e)^2 + W^2) and
    sqrt((L - e)^2 + W^2); 2440 x 1220 leaning 1 mm a metre (e 1.22) differ by 2.182 mm."""
    long, short = math.hypot(2440 + 1.22, 1220), math.hypot(2440 - 1.22, 1220)
    assert long - short == pytest.approx(2.182, abs=0.001)
    side = math.hypot(1220, 1.22)
    found = from_tape(f"AB=2440 BC={side:.4f} CD=2440 DA={side:.4f} AC={long:.4f} BD={short:.4f}")
    assert found.out_of_square_mm_per_m == pytest.approx(1.0, abs=0.02)


def test_a_triangle_of_three_four_five_has_a_right_angle() -> None:
    """Euclid, Elements, book I, proposition 48."""
    assert from_tape("AB=400 BC=500 CA=300").askew_deg[0] == pytest.approx(0, abs=0.001)


def test_a_quarter_circle_on_a_chord_of_ten() -> None:
    """DXF reference, bulge = tan(sweep / 4): radius 7.07107, length 11.10721, segment 14.26991 (computed from it)."""
    half_circle_and_chord: Ring = ((0.0, 0.0, math.tan(math.pi / 8)), (10.0, 0.0, 0.0))
    assert ring_area_mm2(half_circle_and_chord) == pytest.approx(14.26991, abs=1e-5)
    assert ring_length_mm(half_circle_and_chord) == pytest.approx(11.10721 + 10, abs=1e-5)


def test_a_code_of_a_sheets_number_is_the_smallest_there_is() -> None:
    """ISO/IEC 18004:2015, from memory: version 1 is 21 x 21 modules, at level M for 20 alphanumeric characters."""
    assert segno.make("R12345", error="m", micro=False).symbol_size(border=0) == (21, 21)
    assert segno.make("R" * 20, error="m", micro=False, boost_error=False).symbol_size(border=0) == (21, 21)
    assert segno.make("R" * 21, error="m", micro=False, boost_error=False).symbol_size(border=0) == (25, 25)


def test_a4_is_210_by_297() -> None:
    """ISO 216, A series; a PDF counts in points of 1/72 inch (ISO 32000-1, 8.3.2.3)."""
    from cli.documents.labels import LabelPaper, write_labels
    from tests.cli.test_rack_papers import sheets

    page = pypdfium2.PdfDocument(write_labels(sheets("A1"), LabelPaper()))[0]
    assert [side / 72 * 25.4 for side in page.get_size()] == pytest.approx([210, 297], abs=0.05)
