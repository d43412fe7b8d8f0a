"""What the kill tests share."""

import pytest

from tests.long.judged import Expected, expected_of


@pytest.fixture(scope="session")
def expected(root, tmp_path_factory) -> Expected:
    """The demo day's notices as `replay` gives them."""
    return expected_of(root, tmp_path_factory.mktemp("replay"))
