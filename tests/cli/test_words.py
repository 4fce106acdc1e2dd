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
