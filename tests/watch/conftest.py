"""What the tests of a changed configuration share."""

import pytest

from tests.watch.reloaded import running


@pytest.fixture
def r(tmp_path):
    with running(tmp_path) as found:
        yield found
