"""A store that is locked is waited for once a turn."""

import pytest

from windwatch.errors import StoreError
from windwatch.upkeep.patience import Patience


def use(patience, kind=None):
    with patience:
        if kind is not None:
            raise StoreError(f"it is {kind}", kind)


@pytest.mark.parametrize("kind", ["busy", "unreachable"])
def test_after_waiting_in_vain_it_fails_at_once_until_the_next_turn(kind):
    patience, used = Patience(), []
    with pytest.raises(StoreError, match=f"it is {kind}"):
        use(patience, kind)
    with pytest.raises(StoreError, match=f"it is {kind}") as again, patience:
        used.append(1)
    assert again.value.kind == kind
    assert used == []
    patience.turn()
    use(patience)


@pytest.mark.parametrize("kind", ["full", "read-only", "other"])
def test_what_fails_at_once_is_tried_each_time(kind):
    patience = Patience()
    for _ in range(2):
        with pytest.raises(StoreError, match=f"it is {kind}"):
            use(patience, kind)
    use(patience)
