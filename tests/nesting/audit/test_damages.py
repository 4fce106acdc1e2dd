"""Every damage done to a sound plan is caught, by the check that should catch it."""

from __future__ import annotations

import copy
from pathlib import Path

import pytest

from nesting.audit import audit_plan
from tests.nesting.audit.damages import DAMAGES, Damage
from tests.nesting.audit.folder import PlanFolder
from tests.nesting.audit.sample import entrance_sign


@pytest.fixture(scope="module")
def sound() -> PlanFolder:
    return entrance_sign()


@pytest.mark.parametrize("damage", DAMAGES, ids=lambda damage: damage.name)
def test_damage_is_caught_by_its_check(damage: Damage, sound: PlanFolder, tmp_path: Path) -> None:
    folder = copy.deepcopy(sound)
    damage.harm(folder)
    failed = {check.name: check for check in audit_plan(folder.write(tmp_path)) if not check.ok}
    assert damage.caught_by in failed, f"failed instead: {sorted(failed)}"
    assert failed[damage.caught_by].where and failed[damage.caught_by].words
