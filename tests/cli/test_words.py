"""Names from outside and figures as words."""

import doctest
import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from cli.documents import inches, words


def test_the_examples_hold():
    assert doctest.testmod(words).failed == 0
    assert doctest.testmod(inches).failed == 0


@given(st.text(max_size=300))
def test_a_name_is_one_short_line_without_hidden_characters(text):
    plain = words.plain(text)
    assert len(plain) <= words.LONGEST
    assert plain == plain.strip()
    assert not any(unicodedata.category(ch) in {"Cc", "Cf", "Zl", "Zp"} for ch in plain)


@given(st.text("ab -_5×m", max_size=60), st.integers(1, 12))
def test_lines_hold_all_of_a_text_and_break_inside_a_word_only_where_it_alone_is_too_long(text, room):
    lines = words.wrapped(text, room, len)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(len(line) <= room for line in lines)
    seams, at = {found.end() for found in words.SEAM.finditer(text)}, 0
    for line in lines[:-1]:
        at = text.index(line, at) + len(line)
        if at not in seams and text[at] != " ":
            spaces = [n for n, ch in enumerate(words.unbroken(text)) if ch == " "]
            starts, ends = (0, *seams, *(n + 1 for n in spaces)), (*seams, *spaces, len(text))
            assert min(end for end in ends if end > at) - max(start for start in starts if start < at) > room


def test_names_break_at_hyphens_and_underscores_and_figures_keep_their_unit():
    name = "acrylic-cast-opal-5mm_extra_long"
    assert words.wrapped(name, 14, len) == ["acrylic-cast-", "opal-5mm_", "extra_long"]
    assert words.wrapped("at x -5 mm", 7, len) == ["at x", "-5 mm"]
    assert words.wrapped("of 1220 × 610 mm", 14, len) == ["of", "1220 × 610 mm"]
    assert words.wrapped("unbreakableword", 6, len) == ["unbrea", "kablew", "ord"]


@given(st.text(max_size=50))
def test_a_file_name_leads_nowhere_else(text):
    name = words.file_name(text)
    assert name
    assert not set(name) & set("/\\.:")


@given(st.sets(st.integers(1, 60), max_size=30))
def test_ranges_tell_every_number_once(numbers):
    told = words.ranges(numbers)
    found: list[int] = []
    for part in told.removeprefix("pieces ").removeprefix("piece ").replace(" and ", ", ").split(", "):
        if part:
            low, *high = map(int, part.split(" to "))
            found += range(low, (high or [low])[0] + 1)
    assert found == sorted(numbers)
