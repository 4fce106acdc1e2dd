"""What people hold in their hands, from a plan made by hand: it agrees with the plan, and hostile names do no harm."""

import csv
import dataclasses
import html.parser
import itertools
import math
import re
import xml.etree.ElementTree as ET
from decimal import Decimal
from pathlib import Path

import openpyxl
import pypdfium2
import pytest
from PIL import Image

from cli.documents import canvas as look
from cli.documents import pictures, rows, states, steps, words, write_documents, write_pictures
from cli.documents.pass_steps import pass_step
from cli.documents.pdf import write_pdf
from cli.documents.rows import Column, Table
from cli.documents.step import Step
from cli.documents.svg import svg
from nesting import curves
from nesting.hazards import weightiest_first
from nesting.model import EitherWay, Joint, Seat, Source, Split
from nesting.passes.overhang import overhang_warnings
from nesting.splitting.moving import split_warnings
from tests.cli.sample_plan import WORKSHOP, bought_sheet, hostile_plan, sample_plan, write

FILES = {"workpack.html", "workpack.pdf", "cut_list.csv", "trim_cuts.csv", "material_bill.csv", "tables.xlsx"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return write(tmp_path_factory.mktemp("plain"))


@pytest.fixture(scope="module")
def hostile(tmp_path_factory) -> Path:
    return write(tmp_path_factory.mktemp("hostile"), hostile_plan())


def pdf_text(path: Path) -> str:
    document = pypdfium2.PdfDocument(path)
    return "\n".join(page.get_textpage().get_text_bounded() for page in document).replace("\r", "")


class Page(html.parser.HTMLParser):
    """Tags and text of a page, scripts and styles left out of the text."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: dict[str, list[dict[str, str]]] = {}
        self.words: list[str] = [""]
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes.setdefault(tag, []).append({name: value or "" for name, value in attrs})
        assert not any(name.startswith("on") for name, _ in attrs), f"<{tag}> runs a script by itself"
        assert not any(name in {"src", "srcset"} for name, _ in attrs), f"<{tag}> loads something"

    def handle_data(self, data):
        if self.tags[-1:] == ["wbr"]:  # where a line may break; the word goes on
            self.tags.pop()
            self.words[-1] += data
        else:
            self.words.append(data)


def test_the_same_plan_gives_the_same_bytes(folder, tmp_path):
    again = write(tmp_path)
    assert {path.name for path in again.iterdir()} == FILES
    for name in FILES:
        assert (again / name).read_bytes() == (folder / name).read_bytes(), name


def test_every_step_is_one_page_of_print(folder):
    pack = steps.steps(sample_plan(), WORKSHOP)
    document = pypdfium2.PdfDocument(folder / "workpack.pdf")
    assert len(document) == len(pack)
    for step, page in zip(pack, document, strict=True):
        text = " ".join(page.get_textpage().get_text_bounded().split())
        assert step.title in text


def test_page_and_print_say_what_the_plan_says(folder):
    plan = sample_plan()
    page = " ".join(" ".join(Page(folder / "workpack.html").words).split())
    printed = " ".join(pdf_text(folder / "workpack.pdf").split())
    for text in (page, printed):
        for sheet in plan.sheets:
            assert words.source(sheet) in text
            assert all(trim.measure in text for trim in sheet.trims)
            for run in sheet.passes:
                assert run.file in text
                for join in run.joins:
                    assert f"J{join.number} {join.bed_mm[0]:.1f} {join.bed_mm[1]:.1f}" in text
        assert all(warning in text for warning in plan.warnings)
        assert all(value in text for value in ("7.6 mm/s", "90 %", "0.17 mm")), "feed, power, kerf for 5 mm acrylic"


def test_the_cover_has_job_cost_sheets_and_every_danger_however_much_there_is_to_mind():
    plan = sample_plan(job="Sign " * 23)
    split = Split(plan.pieces[0], (Seat(plan.pieces[0].id, 0.0, 0.0, 0.0),), 2, "it is too long")
    said = [f"warning {n}: {'the same again and again ' * (n % 14)}" for n in range(40)]
    *_, danger = split_warnings([split], plan.machine, WORKSHOP.material, None)
    more = [dataclasses.replace(plan.sheets[0], id=f"N{n}") for n in range(20)]
    more += [dataclasses.replace(plan.sheets[1], id=f"R{n}", source=Source(stock_id=f"R-{n:04}")) for n in range(9)]
    many = dataclasses.replace(plan, warnings=(*said, danger), notes=tuple(said), sheets=(*plan.sheets, *more))
    cover, to_mind, *_ = steps.steps(many, WORKSHOP)
    first, *others = [told(page) for page in pypdfium2.PdfDocument(write_pdf([cover, to_mind]))]
    for whole in (cover.title, "58.11 EUR", "21 × new sheet A5-1100", "R-0117", *(f"R-{n:04}" for n in range(9))):
        assert whole in first
    assert all(caution in first for caution in (danger, *steps.LASER_CAUTIONS, *steps.ALL_CAUTIONS))
    shown = sum(warning.strip() in first for warning in said)
    assert shown < 4 and f"{40 - shown} more to mind, on the next page: {to_mind.title}" in first
    assert all(" ".join(warning.split()) in " ".join(others) for warning in said), "nothing is lost"


def told(page: pypdfium2.PdfPage) -> str:
    return " ".join(page.get_textpage().get_text_bounded().split())


def test_what_may_fall_is_told_before_what_costs_an_edge():
    plan = sample_plan()
    sheets = (dataclasses.replace(plan.sheets[0], thickness_mm=3.0),)
    material = dataclasses.replace(WORKSHOP.material[0], modulus_gpa=3.0)
    hanging = overhang_warnings(sheets, dataclasses.replace(plan.machine, max_sag_mm=1.0), [material])
    assert hanging and weightiest_first(["an offer is out of stock", *hanging])[: len(hanging)] == hanging


@pytest.mark.parametrize("lengths", [(30, 4, 5), (150, 5), (3, 3, 3, 3, 3, 40), (11, 11, 11, 11, 11, 11, 11)])
def test_a_table_is_never_torn_from_its_head(lengths):
    columns = (Column("at"), Column("row"))
    tables = [
        Table(f"t{k}", f"T{k}", columns, tuple((f"t{k}", f"r{n}") for n in range(many)))
        for k, many in enumerate(lengths)
    ]
    found = dict.fromkeys(range(len(lengths)), 0)
    for page in pypdfium2.PdfDocument(write_pdf([Step("a", "a", "a", "a", tables=tuple(tables))])):
        for part in re.split(r"\bT(?=\d)", told(page).replace(" continued ", " "))[1:]:
            number, rows_there = int(re.match(r"\d+", part)[0]), [int(n) for n in re.findall(r"\br(\d+)\b", part)]
            assert " at row " in part and len(rows_there) >= 3
            assert rows_there == list(range(found[number], found[number] + len(rows_there)))
            found[number] += len(rows_there)
    assert tuple(found.values()) == lengths


def test_pieces_cut_alike_one_after_another_share_a_line_in_the_order_of_cutting():
    plan = sample_plan()
    sheet = plan.sheets[1]
    table = pass_step(plan, sheet, sheet.passes[0]).tables[-1]
    tags = rows.numbers(plan)
    cuts = states.cuts_on(plan, sheet, sheet.blanks[0].id)[1]
    order = [str(tags[piece]) for piece, _ in itertools.groupby(cuts, key=lambda cut: cut.piece)]
    assert ", ".join(str(row[1]) for row in table.rows).split(", ") == order
    assert len(table.rows) < len(order) and str(table.rows[-1][0]).split()[-1] == str(len(cuts))
    assert all(("of each" in str(row[2])) == (", " in str(row[1])) for row in table.rows)


LONG = "acrylic_cast-opal_5mm_extra_long_for_the_hall_behind-a-wall"


def test_a_long_name_breaks_at_its_seams_in_print_and_on_the_page(tmp_path):
    sheet = dataclasses.replace(bought_sheet(), source=Source(offer=LONG), colour=LONG)
    plan = dataclasses.replace(sample_plan(face=LONG), sheets=(sheet, *sample_plan().sheets[1:]))
    write(tmp_path, plan)
    # PDFium tells a hyphen at the end of a line as U+FFFE.
    told = re.findall(r"acrylic_[\w-]*", pdf_text(tmp_path / "workpack.pdf").replace("\ufffe", "-"))
    broken = [word for word in told if word != LONG]
    assert broken, "somewhere it is longer than its column"
    assert all(word[-1] in "-_" and LONG.startswith(word) for word in broken), broken
    assert "acrylic_<wbr>cast-<wbr>opal_<wbr>5mm_" in (tmp_path / "workpack.html").read_text(encoding="utf-8")


def test_notes_stay_with_the_drawing_and_what_goes_on_says_so():
    pack = steps.steps(sample_plan(), WORKSHOP)
    one = next(step for step in pack if "-pass" in step.key)
    order = dataclasses.replace(one.tables[-1], rows=one.tables[-1].rows * 60)
    long = dataclasses.replace(one, tables=(*one.tables[:-1], order), notes=("Mind the step.",))
    first, *more = pypdfium2.PdfDocument(write_pdf([long]))
    assert "Mind the step." in first.get_textpage().get_text_bounded()
    told = [" ".join(page.get_textpage().get_text_bounded().split()) for page in more]
    assert told and all(f"{long.kind} · {long.title}, continued" in text for text in told)


def test_a_letter_page_holds_one_step_as_well(tmp_path):
    write_documents(sample_plan(), tmp_path, WORKSHOP, paper="Letter")
    document = pypdfium2.PdfDocument(tmp_path / "workpack.pdf")
    assert len(document) == len(steps.steps(sample_plan(), WORKSHOP))
    assert document[0].get_size() == pytest.approx((612.0, 792.0), abs=0.1)
    assert "size: Letter" in (tmp_path / "workpack.html").read_text(encoding="utf-8")


def test_a_router_is_told_of_its_bit_and_not_of_a_beam():
    plan = sample_plan()
    router = dataclasses.replace(plan, machine=dataclasses.replace(plan.machine, kind="router"))
    told = [line for step in steps.steps(router, WORKSHOP) for line in (*step.todo, *step.cautions, *step.notes)]
    assert not any(word in line.lower() for line in told for word in ("beam", "laser-cut", "fume"))
    assert any("spindle" in line for line in told)


def test_segments_are_told_which_edges_meet_and_why_there_are_so_many():
    joint = Joint("face-1/1", (0.0, 0.0), (120.0, 0.0))
    plan = sample_plan()
    first, second, *rest = plan.pieces
    halves = (dataclasses.replace(first, joints=(joint,)), dataclasses.replace(second, joints=(joint,)))
    seats = (Seat(first.id, 0.0, 0.0, 0.0), Seat(second.id, 120.0, 0.0, 180.0))
    split = Split(dataclasses.replace(first, id="face-1", name="face"), seats, 2, "it is too long", gap_mm=2.8)
    parted = dataclasses.replace(plan, pieces=(*halves, *rest), splits=(split,))
    pack = {step.key: step for step in steps.steps(parted, WORKSHOP)}
    step = pack["assembly-face-1"]
    assert step.tables[0].rows == (("face-1/1", "1 and 2", 120.0),)
    assert step.notes[0] == "Fewer than 2 segments are impossible: it is too long."
    assert "2.8 mm of gap" in step.notes[1]
    assert "data sheet" in step.cautions[0]
    assert not any(step.key.startswith("assembly") for step in steps.steps(plan, WORKSHOP))


def test_what_the_other_way_would_cost_is_told():
    either = EitherWay("rail", True, Decimal("80.00"), Decimal("91.50"))
    pack = {step.key: step for step in steps.steps(dataclasses.replace(sample_plan(), either_way=(either,)), WORKSHOP)}
    said = "rail: in one piece; split the plan would cost 91.50 EUR instead of 80.00."
    assert said in pack["bill"].notes


def test_the_order_of_work(folder):
    kinds = [step.key for step in steps.steps(sample_plan(), WORKSHOP)]
    assert kinds == [
        "cover",
        *("S1-fetch", "S1-trim1", "S1-trim2", "S1-B1-pass1", "S1-B1-turn2", "S1-B1-pass2", "S1-back"),
        *("S2-fetch", "S2-B2-pass1", "S2-back"),
        *("pieces", "bill"),
    ]


def test_hostile_names_stay_names(hostile):
    page = Page(hostile / "workpack.html")
    assert page.tags.count("script") == 1, "our own"
    assert "img" not in page.tags
    text = (hostile / "workpack.html").read_text(encoding="utf-8")
    assert not any(ord(ch) < 32 and ch != "\n" for ch in text)
    assert "\u202e" not in text
    assert "x" * 100 not in text, "a name of 300 letters is shortened"
    assert '<script>alert("job")' in " ".join(page.words)
    assert '<script>alert("job")' in pdf_text(hostile / "workpack.pdf")


def test_no_cell_is_a_formula_but_our_totals(hostile):
    for name in ("cut_list.csv", "trim_cuts.csv", "material_bill.csv"):
        with (hostile / name).open(encoding="utf-8-sig", newline="") as file:
            for row in csv.reader(file):
                assert not any(cell.startswith(("=", "+", "-", "@")) and not _number(cell) for cell in row)
    for sheet in openpyxl.load_workbook(hostile / "tables.xlsx"):
        for line in sheet.iter_rows():
            for cell in line:
                assert cell.data_type != "f" or str(cell.value).startswith("=SUM(")
                assert cell.data_type != "s" or not str(cell.value).startswith("=")


def _number(cell: str) -> bool:
    try:
        return math.isfinite(float(cell))
    except ValueError:
        return False


def test_workbook_has_frozen_heads_units_and_totals_as_formulas(folder):
    book = openpyxl.load_workbook(folder / "tables.xlsx")
    assert book.sheetnames == ["Cut list", "Trim cuts", "Material bill", "Pieces by sheet", "Cost"]
    assert all(sheet.freeze_panes == "A2" for sheet in book)
    cost = book["Cost"]
    assert [cell.value for cell in cost[1]] == ["what", "quantity", "unit", "amount (EUR)"]
    last = cost.max_row
    assert cost.cell(last, 4).value == f"=SUM(D2:D{last - 1})"
    values = openpyxl.load_workbook(folder / "tables.xlsx", data_only=True)["Cost"]
    assert Decimal(str(values.cell(last, 4).value)) == sample_plan().cost.total


def test_csv_holds_every_piece_with_its_sheet_and_passes(folder):
    with (folder / "cut_list.csv").open(encoding="utf-8-sig", newline="") as file:
        table = list(csv.DictReader(file))
    assert len(table) == len(sample_plan().pieces)
    face = table[0]
    assert (face["piece"], face["sheet"], face["pass"]) == ("face", "S1", "1 + 2")
    assert (face["width (mm)"], face["height (mm)"]) == ("560.0", "720.0")


def test_the_frame_of_a_pass_holds_its_share_of_a_contour_and_its_marks():
    plan = sample_plan()
    sheet = plan.sheets[0]
    first, second = (run.frame_mm for run in sheet.passes)
    # Pass 1 runs the marks at y 6 and 582 (arms 3 mm) and the face from the join line at 370 to its end at 730.
    assert first == pytest.approx((595 - 585, 370 - 3 - 330, 595 - 3, 730 - 330))
    # Pass 2 runs the other half of the face alone: x 10 to 370, y 15 to 575.
    assert second == pytest.approx((15 + 5, 410 - 370, 575 + 5, 410 - 10))


def test_a_saw_takes_its_width_from_the_part_beyond():
    # Derived: of 610 mm, 590 mm are kept and 3 mm are sawdust: 17 mm are left, and the picture says so.
    plan = sample_plan()
    sheet = plan.sheets[0]
    sawn = dataclasses.replace(sheet.trims[1], kerf_mm=3.0)
    picture = pictures.trim_picture(dataclasses.replace(sheet, trims=(sheet.trims[0], sawn)), sawn)
    assert {word.text for word in picture.items if isinstance(word, look.Words) and word.is_mm} == {"590", "17"}
    after = dataclasses.replace(sawn, order=3)
    beyond = max(
        states.parts_before(dataclasses.replace(sheet, trims=(sheet.trims[0], sawn)), after),
        key=lambda part: part.bounds[1],
    )
    assert beyond.bounds == pytest.approx((0.0, 593.0, 740.0, 610.0))


def test_a_trim_parts_the_sheet_and_the_next_finds_its_part():
    sheet = sample_plan().sheets[0]
    first, second = sheet.trims
    assert [part.area for part in states.parts_before(sheet, first)] == [1100.0 * 610.0]
    parts = states.parts_before(sheet, second)
    assert sorted(part.area for part in parts) == [360.0 * 610.0, 740.0 * 610.0]
    assert states.part_cut(parts, second).bounds == (0.0, 0.0, 740.0, 610.0)


@pytest.mark.parametrize(("turn", "front"), [(0, "A"), (90, "D"), (180, "C"), (270, "B")])
def test_the_letter_at_the_front_is_the_edge_that_lies_there(turn, front):
    plan = sample_plan()
    x0, y0, x1, y1 = 0.0, 0.0, 740.0, 590.0
    middles = {"A": (370.0, y0), "B": (x1, 295.0), "C": (370.0, y1), "D": (x0, 295.0)}
    lying = {letter: curves.moved([(*at, 0.0)], 0.0, 0.0, turn)[0][1] for letter, at in middles.items()}
    assert min(lying, key=lying.__getitem__) == front == words.edge_at("front", turn)
    assert plan


def test_pictures_are_well_formed_and_bear_a_scale():
    plan = hostile_plan()
    for sheet in plan.sheets:
        root = ET.fromstring(svg(pictures.sheet_picture(plan, sheet)))
        texts = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
        assert "200 mm" in texts


def test_every_sheet_is_drawn_as_svg_and_png(tmp_path):
    write_pictures(sample_plan(), tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {
        f"{n}.{e}" for n in ("S1", "S2", "all-sheets") for e in ("svg", "png")
    }
    with Image.open(tmp_path / "S1.png") as image:
        colours = image.convert("RGB").getcolors(maxcolors=1 << 24)
    assert colours
    assert len(colours) > 10, "a picture, not an empty page"


@pytest.mark.parametrize("name", ["folder", "hostile"])
def test_the_page_can_be_read_aloud(name, request):
    """Language, labels, headings in order, ids used once: what an accessibility checker calls serious."""
    page = Page(request.getfixturevalue(name) / "workpack.html")
    levels = [int(tag[1]) for tag in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    assert page.attributes["html"][0]["lang"] == "en"
    ids = [attrs["id"] for found in page.attributes.values() for attrs in found if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert all(attrs["role"] == "img" and attrs["aria-label"] for attrs in page.attributes["svg"])
    assert all(attrs["scope"] == "col" for attrs in page.attributes["th"])
    assert page.tags.count("label") == page.tags.count("input")
    linked = [attrs["href"] for attrs in page.attributes["a"]]
    assert all(href.removeprefix("#") in ids for href in linked)


@pytest.mark.parametrize(
    ("text", "ground"), [(look.INK, "#ffffff"), ("#566066", "#ffffff"), ("#7a3308", "#f6f3ec"), (look.NOW, "#ffffff")]
)
def test_words_stand_out_from_their_ground(text, ground):
    # WCAG 2.1, 1.4.3: a contrast of at least 4.5 to 1; formula of relative luminance as given there.
    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        r, g, b = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    lighter, darker = luminance(ground), luminance(text)
    assert (lighter + 0.05) / (darker + 0.05) >= 4.5


def test_mass_of_a_sheet_is_area_times_thickness_times_density():
    # 1100 x 610 x 5 mm of acrylic, 1190 kg/m3 (ISO 1183 density 1.19 g/cm3).
    assert rows.mass_kg(WORKSHOP, sample_plan().sheets[0]) == pytest.approx(1.1 * 0.61 * 0.005 * 1190)
