"""[board]: its running values, what of it is secret, and when a change of it counts."""

from dataclasses import replace

import pytest

from tests.watch.little_watch import config_text
from windwatch.reload_words import in_force, waits_for_restart, what_changed
from windwatch.settings.read import read_settings
from windwatch.settings.running import BoardValues
from windwatch.wiring import hidden_texts

SECRET = "a secret that nobody else has, at all"
HASH = "scrypt:16384:8:5:kC4hL0bYtqTnF1mWv7uZgA:3sN8pJrXo2eQdI6yKcVfBaGhTlMwUzR5x9nPj4qLs0E"


@pytest.fixture
def read(tmp_path):
    def settings(rim=""):
        path = tmp_path / "field.toml"
        path.write_text(config_text(rim=rim))
        return read_settings([path], {"BOARD": SECRET})

    return settings


def test_without_the_table_there_is_no_board(read):
    assert read().board is None


def test_an_empty_table_is_a_board_on_this_machine_alone(read):
    settings = read("[board]\n")
    assert settings.board == BoardValues()
    assert settings.board.listen == "127.0.0.1"
    assert settings.warnings == ()


def test_everything_that_can_be_said_of_it(read):
    board = read(
        f'[board]\nlisten = "0.0.0.0"\nport = 9000\naddress = "https://board.larkspur.example/"\n'
        f'names = ["Wind.larkspur.example"]\npassword_hash = "{HASH}"\n'
        f'viewer_password_hash = "{HASH}"\ntrusted_proxy = ["10.0.0.5/32"]\n'
        'proxy_lets = "take note"\nsecret_env = "BOARD"\nwith_watch = false\n'
    ).board
    assert (board.listen, board.port, board.with_watch) == ("0.0.0.0", 9000, False)  # noqa: S104
    assert board.address == "https://board.larkspur.example"
    assert board.names == ("wind.larkspur.example",)
    assert board.trusted_proxy == ("10.0.0.5/32",)
    assert board.proxy_may_acknowledge
    assert board.secret.reveal() == SECRET


@pytest.mark.guard("secrets")
def test_neither_secret_nor_hash_is_shown(read):
    settings = read(f'[board]\npassword_hash = "{HASH}"\nsecret_env = "BOARD"\n')
    assert SECRET not in repr(settings)
    assert HASH not in repr(settings)
    assert {SECRET, HASH} <= set(hidden_texts(settings))


@pytest.mark.parametrize(
    ("rim", "said"),
    [('address = "http://board.larkspur.example"', "it is not encrypted"),
     ('address = "https://board.larkspur.example"', "notices bear no links")],
)  # fmt: skip
def test_what_is_allowed_but_should_be_looked_at(read, rim, said):
    assert any(said in warning for warning in read(f"[board]\n{rim}\n").warnings)


def test_a_change_of_it_counts_from_the_next_start(read):
    was, new = read(), read("[board]\nport = 9000\n")
    assert in_force(was, new).board is None
    assert waits_for_restart(was, new).endswith(
        "field.toml: board: what is changed counts from the next start of the watch on"
    )
    assert what_changed(was, in_force(was, new)) == ()
    other = replace(new, store=replace(new.store, path=None))
    assert "store.path and board" in waits_for_restart(was, other)
