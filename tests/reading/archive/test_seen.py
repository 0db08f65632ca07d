"""What was seen comes back whole, whatever it was."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from reading.archive.seen import pack, unpack
from tests.reading.archive import quick
from vision.reasons import reason
from vision.scale import Scale
from vision.sighting import Alternative, Evidence, Refusal

SIGHTING = quick.sighting(7)
REFUSAL = Refusal(
    (reason("too_small", 2.1, 2.4), reason("blurred")),
    Scale(Decimal("0.025"), 25, "in", Decimal(0), 10, True),
    (Alternative(-1, 24.5, 0.4),),
    3.25,
    SIGHTING.evidence,
)


@pytest.mark.parametrize("seen", [SIGHTING, REFUSAL, Refusal((reason("no_gauge"),))])
def test_with_all_evidence(seen):
    back = unpack(pack(seen, evidence=True))
    assert back == seen
    assert back.evidence == seen.evidence  # left out of equality


@pytest.mark.parametrize("seen", [SIGHTING, REFUSAL])
def test_without_evidence(seen):
    back = unpack(pack(seen, evidence=False))
    assert back == seen
    assert back.evidence == Evidence()


def test_numbers_of_numpy_are_kept_to_the_last_bit():
    seen = replace(SIGHTING, division=np.float64(0.1) * 3, confidence=np.float32(0.3))
    back = unpack(pack(seen, evidence=False))
    assert back.division == 0.1 * 3
    assert back.confidence == float(np.float32(0.3))
