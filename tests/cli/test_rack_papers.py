"""Papers of the rack: the QR code is read back by a decoder that shares no code with the printer of the labels."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from xml.etree import ElementTree

import numpy as np
import pypdfium2
import pytest

from cli.documents.canvas import EDGE, Words
from cli.documents.charts import Series, chart
from cli.documents.count_sheet import write_count_sheet
from cli.documents.labels import LabelPaper, write_labels
from cli.documents.rack_picture import rack_picture
from cli.documents.svg import svg
from inventory.ledger import Sheet, State
from nesting.faults import RackFault
from tests.inventory.sample import A1

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
WILD = ["A1", "R12345", "=1+1", "<script>alert(1)</script>", "größer ☃", "x" * 120]


def sheets(*numbers: str) -> list[Sheet]:
    return [Sheet(replace(A1, id=number, colour=number), State.ON_RACK, NOON) for number in numbers]


def pages(pdf: bytes) -> list[pypdfium2.PdfPage]:
    return list(pypdfium2.PdfDocument(pdf))


@pytest.mark.parametrize("paper", [LabelPaper(), LabelPaper(40, 24, 4, 10, "Letter"), LabelPaper(99, 57, 2, 5)])
def test_the_code_of_every_label_is_read_back(paper: LabelPaper) -> None:
    zxingcpp = pytest.importorskip("zxingcpp", reason="no independent decoder of QR codes")
    (page,) = pages(write_labels(sheets(*WILD), paper))
    picture = np.asarray(page.render(scale=4).to_pil().convert("L"))
    assert sorted(code.text for code in zxingcpp.read_barcodes(picture)) == sorted(WILD)


def test_a_sheet_of_labels_that_was_begun_is_used_up() -> None:
    pdf = pages(write_labels(sheets(*(f"A{n}" for n in range(30))), LabelPaper(), first=20))
    assert len(pdf) == 3
    assert "A3" in pdf[0].get_textpage().get_text_range() and "A4" not in pdf[0].get_textpage().get_text_range()


def test_a_label_tells_what_it_is_stuck_on() -> None:
    (page,) = pages(write_labels([Sheet(replace(A1, lot="", faces="top masked"), State.ON_RACK, NOON)], LabelPaper()))
    text = page.get_textpage().get_text_range()
    for words in ("A1", "acrylic opal", "5 mm", "600 × 700 mm", "lot unknown", "top masked", "2026-03-02", "bay 1"):
        assert words in text


def test_labels_larger_than_the_paper_are_refused() -> None:
    with pytest.raises(RackFault, match="larger than A4"):
        LabelPaper(110, 50, 2, 5)


def test_the_picture_shows_every_sheet_at_one_scale() -> None:
    wide = Sheet(replace(A1, id="A2", outline_mm=((0, 0), (1200, 0), (1200, 100), (0, 100))), State.ON_RACK, NOON)
    picture = rack_picture([*sheets("A1"), wide])
    widths = [max(v[0] for v in path.chains[0]) - min(v[0] for v in path.chains[0]) for path in picture.items[:8:4]]
    assert widths[1] == pytest.approx(2 * widths[0])
    ElementTree.fromstring(svg(rack_picture(sheets(*WILD))))


def test_a_long_number_is_told_whole_in_lines_that_end_at_its_seams() -> None:
    picture = rack_picture(sheets("opal-5mm_extra_long-from-the_hall", "A2"))
    lines = [item.text for item in picture.items if isinstance(item, Words) and item.bold]
    assert lines == ["A2", "opal-5mm_", "extra_long-", "from-the_hall"]
    assert max(item.y for item in picture.items if isinstance(item, Words)) < picture.height


def test_a_long_name_of_an_axis_goes_on_in_a_second_line() -> None:
    name = "acrylic_cast-extruded opal-white-translucent-light-diffusing 5 mm, EUR"
    picture = chart([Series("best", ((1.0, 3.0), (2.0, 2.0)), EDGE)], "rounds", name, "cost against rounds")
    said = [item for item in picture.items if isinstance(item, Words) and item.text[:4] in name]
    assert " ".join(item.text for item in said) == name
    assert len({item.y for item in said}) == 2


def test_an_empty_rack_is_drawn_and_counted_too() -> None:
    ElementTree.fromstring(svg(rack_picture([])))
    assert "0 sheets" in pages(write_count_sheet([], NOON))[0].get_textpage().get_text_range()


def test_the_count_sheet_has_a_page_for_each_place() -> None:
    elsewhere = Sheet(replace(A1, id="B1", place="bay 2"), State.ON_RACK, NOON)
    found = [
        page.get_textpage().get_text_range() for page in pages(write_count_sheet([elsewhere, *sheets("A1")], NOON))
    ]
    assert ["A1" in page for page in found] == [True, False]
    assert ["B1" in page for page in found] == [False, True]
