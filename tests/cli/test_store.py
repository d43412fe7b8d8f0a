import json
import os
import stat

import pytest

from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.clock import HandClock
from windwatch.store.store import open_store

NOW = GUST_FRONT
GONE = "Vesna Quillfeather"


@pytest.fixture
def config(root, tmp_path):
    file = tmp_path / "field.toml"
    text = (root / "config" / "minimal.toml").read_text()
    assert "[store]" not in text
    file.write_text(text + '\n[store]\npath = "books.db"\n')
    return file


@pytest.fixture
def books(config):
    """A store with notices to one contact who is configured no more."""
    path = config.with_name("books.db")
    with open_store(path, HandClock(NOW)) as store, store.transaction() as written:
        for number in range(3):
            written.enqueue(a_notice(GONE, number), a_content(), ["email"])
    return path


def test_a_backup_is_made_for_its_owner_and_never_over_another_file(run, config, books, flat):
    copy = config.with_name("copy.db")
    result = run("store", str(config), "backup", str(copy))
    assert result.exit_code == 0, result.stderr
    assert "copy.db is a whole copy of the store" in flat(result.stdout)
    if os.name == "posix":
        assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    again = run("store", str(config), "backup", str(copy))
    assert again.exit_code == 2
    assert "--force" in again.stderr
    assert run("store", str(config), "backup", str(copy), "--force").exit_code == 0


def test_a_check_says_what_is_there_and_how_it_is_kept(run, config, books, flat):
    said = flat(run("store", str(config), "check").stdout)
    assert "Nothing is damaged." in said
    assert "notices 3" in said
    assert "Kept by " in said
    assert "synchronous" in said


def test_a_check_in_json_is_one_document(answer, config, books):
    found = answer("store", str(config), "check")
    assert found["problems"] == []
    assert found["counts"]["notices"] == 3
    assert found["version"] == found["newest"]
    assert found["leader"] is None


def test_a_damaged_store_is_reported_with_status_2_and_left_alone(run, config, books):
    content = bytearray(books.read_bytes())
    for page in range(1, len(content) // 4096):
        content[page * 4096 : page * 4096 + 200] = b"\xa5" * 200
    books.write_bytes(content)
    result = run("store", str(config), "check")
    assert result.exit_code == 2
    assert "damaged" in result.stderr
    assert books.read_bytes() == content


def test_a_contact_is_forgotten(run, config, books, flat):
    result = run("store", str(config), "forget", GONE)
    assert result.exit_code == 0, result.stderr
    assert "3 notices are gone" in flat(result.stdout)
    assert b"Quillfeather" not in books.read_bytes()


def test_a_contact_who_is_still_configured_is_not_forgotten(run, config, books):
    from windwatch.cli.show import load_settings  # noqa: PLC0415

    name = load_settings([config], require_secrets=False).fleet.contacts[0].name
    result = run("store", str(config), "forget", name)
    assert result.exit_code == 2
    assert "take the contact" in " ".join(result.stderr.split())


def test_nobody_is_forgotten_under_a_watch_that_would_write_it_again(run, config, books):
    with open_store(books, HandClock(NOW)) as store, store.hold("the watch"):
        result = run("store", str(config), "forget", GONE)
        assert result.exit_code == 2
        assert "in use by the watch" in " ".join(result.stderr.split())
        assert len(store.notices()) == 3


def test_where_there_is_no_store_none_is_made(run, config):
    for words in (("check",), ("backup", "copy.db"), ("forget", GONE)):
        result = run("store", str(config), *words)
        assert result.exit_code == 2
        assert "there is no store yet" in " ".join(result.stderr.split())
    assert not config.with_name("books.db").exists()


def test_a_database_is_backed_up_by_its_server(run, config, postgres):
    text = config.read_text().replace('path = "books.db"', f'url = "{postgres.database()}"')
    config.write_text(text)
    result = run("store", str(config), "backup", "copy.db")
    assert result.exit_code == 2
    assert "pg_dump" in result.stderr
    found = run("store", str(config), "check", "--json")
    assert json.loads(found.stdout)["journal"].startswith("PostgreSQL ")
