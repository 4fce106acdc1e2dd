"""What must never be lasered is refused for a laser alone."""

import dataclasses

import pytest

from nesting.faults import JobFault
from nesting.hazards import refuse_under_a_beam
from nesting.model import StockKey
from tests.cli.sample_plan import MACHINE

ROUTER = dataclasses.replace(MACHINE, kind="router")


@pytest.mark.parametrize("material", ["PVC", "pvc foam board", "Vinyl film", "ABS", "glass-fibre board", "polystyrene"])
def test_dangerous_materials_are_refused_on_a_laser_and_let_pass_on_a_router(material):
    stock = StockKey(material, "white", 3.0)
    with pytest.raises(JobFault, match="must not be cut on a laser"):
        refuse_under_a_beam(MACHINE, stock)
    refuse_under_a_beam(ROUTER, stock)


@pytest.mark.parametrize("material", ["acrylic", "birch plywood", "MDF", "absinthe green acrylic", "card"])
def test_others_are_let_pass(material):
    refuse_under_a_beam(MACHINE, StockKey(material, "clear", 5.0))


def test_polycarbonate_is_let_pass_up_to_a_millimetre():
    refuse_under_a_beam(MACHINE, StockKey("polycarbonate", "clear", 1.0))
    with pytest.raises(JobFault, match="browns"):
        refuse_under_a_beam(MACHINE, StockKey("polycarbonate", "clear", 2.0))
