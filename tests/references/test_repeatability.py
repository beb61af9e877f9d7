"""The committed studies of repeats are those that their program makes."""

import json

from make_repeatability import VECTORS, vectors
from test_vectors import assert_close


def test_the_studies_are_current() -> None:
    assert_close(json.loads(VECTORS.read_text()), vectors(), "repeatability")
