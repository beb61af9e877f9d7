"""The committed cases of the propagation of uncertainties are current."""

import json

from make_propagation import VECTORS, vectors
from test_vectors import assert_close


def test_the_cases_of_propagation_are_current() -> None:
    assert_close(json.loads(VECTORS.read_text()), vectors(), "propagation")
