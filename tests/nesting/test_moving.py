"""Gaps for warmth and cautions about cement."""

from dataclasses import replace

import pytest

from nesting.model import Material
from nesting.splitting import Question, split_all
from nesting.splitting.moving import expansion_per_k, fixed_apart_mm, gap_mm, split_warnings
from tests.nesting.test_splitting import ROOMS, oversize
from tests.shop import laser, rectangle


def rail(long: float):
    (found,) = split_all([Question(oversize(rectangle(long, 90), name="rail"), ROOMS)])
    assert found.split
    return found.split, {piece.id: piece for piece in found.segments}


def test_the_gap_is_a_l_dt_between_the_middles_of_segments():
    """At 7e-5 /K and 40 K, 500 mm between middles make 1.4 mm."""
    split, pieces = rail(1500)
    assert fixed_apart_mm(split, pieces) == pytest.approx(500)
    assert gap_mm(split, pieces, 7e-5, 40) == pytest.approx(1.4)
    assert gap_mm(split, pieces, None, 40) == gap_mm(split, pieces, 7e-5, None) == 0


def test_the_workshop_knows_better_than_the_default():
    assert expansion_per_k("acrylic", ()) == 7e-5
    assert expansion_per_k("acrylic", (Material("acrylic", 1190, expansion_per_k=8e-5),)) == 8e-5
    assert expansion_per_k("birch ply", ()) is None


def test_a_long_assembly_asks_for_its_temperature_span_and_a_laser_warns_of_solvent():
    split, _ = rail(1500)
    said = list(split_warnings([split], laser(), (), None))
    assert "temperature_span_k" in said[0]
    assert "crazes" in said[1] and "data sheet" in said[1]
    assert not any("crazes" in text for text in split_warnings([split], replace(laser(), kind="router"), (), None))
    assert list(split_warnings([], laser(), (), None)) == []
