"""The source on a real store: what pages get, and that somebody's taking note is kept."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.watch.little_watch import START, STORM, bench, config_text, metar
from windwatch.board import faces
from windwatch.board.app import PAGES
from windwatch.board.faces import Asked
from windwatch.board.openapi import openapi
from windwatch.board.source import StoreSource
from windwatch.clock import HandClock
from windwatch.delivery.channels import ChannelBook
from windwatch.reports.raw import RawReport
from windwatch.settings.read import read_settings
from windwatch.store.store import open_database, open_store
from windwatch.watch import Watch

ADDRESSES = ("ops@larkspur.example", "owner@larkspur.example", "desk.larkspur.example")
PEOPLE = """
[[contact]]
name = "desk"
folder = "dropped"
[[contact]]
name = "owner"
email = "owner@larkspur.example"
[mail]
host = "mail.larkspur.example"
sender = "wind@larkspur.example"
"""


@pytest.fixture
def field(tmp_path):
    text = config_text(airfields=("XLKS", "XBRN"), people=PEOPLE)
    with bench(tmp_path, text) as b:
        b.take(STORM)
        yield b, StoreSource(b.settings, b.store)


def asked_of(b):
    [notice, *_] = b.store.notices()
    [episode, *_] = b.store.episodes()
    return [
        Asked(faces.OVERVIEW), Asked(faces.FIELD, "XLKS"), Asked(faces.KIOSK, "XLKS"),
        Asked(faces.CARD, "XLKS", "X-XLKS"), Asked(faces.EPISODE, episode.id),
        Asked(faces.NOTICES), Asked(faces.NOTICE, notice.notice.id), Asked(faces.ABOUT),
    ]  # fmt: skip


@pytest.mark.guard("board")
def test_no_page_shows_where_a_contact_is_reached(field):
    b, source = field
    for asked in asked_of(b):
        values = source.page(asked, START)
        said = repr(values) + repr(source.as_json(values))
        assert not [each for each in ADDRESSES if each in said], asked


@pytest.mark.parametrize(
    "asked",
    [Asked(faces.FIELD, "XXXX"), Asked(faces.CARD, "XLKS", "X-NONE"),
     Asked(faces.EPISODE, "0" * 24), Asked(faces.NOTICE, "%"), Asked("none")],
    ids=str,
)  # fmt: skip
def test_what_is_not_there_is_a_key_error(field, asked):
    _, source = field
    with pytest.raises(KeyError):
        source.page(asked, START)


def test_to_look_writes_nothing(field):
    b, source = field
    before = list(b.store.events()), b.store.acknowledgements()
    for asked in asked_of(b):
        source.page(asked, START)
    assert (list(b.store.events()), b.store.acknowledgements()) == before


def test_the_version_changes_when_somebody_takes_note(field):
    b, source = field
    [episode] = b.store.episodes()
    later = START + timedelta(seconds=1)
    before = source.version(START)
    source.acknowledge((episode.id,), "desk", "two moved", START)
    assert source.version(later) != before
    with pytest.raises(KeyError):
        source.acknowledge((episode.id, "0" * 24), "desk", "", later)
    assert len(b.store.acknowledgements()) == 1


def test_a_configuration_taken_while_it_runs_is_shown(field):
    b, source = field
    in_force = [b.settings]
    source.follow(lambda: in_force[0])
    assert source.sole_field() == ""
    fleet = replace(b.settings.fleet, airfields=b.settings.fleet.airfields[:1])
    in_force[0] = replace(b.settings, fleet=fleet)
    later = START + timedelta(seconds=1)
    assert [card.id for card in source.page(Asked(faces.OVERVIEW), later).cards] == ["XLKS"]
    assert source.sole_field() == "XLKS"


def test_another_store_can_be_read_from_now_on(field, tmp_path):
    b, source = field
    with open_store(tmp_path / "anew.db", b.clock, durable=False) as other:
        source.use(other)
        page = source.page(Asked(faces.FIELD, "XLKS"), START + timedelta(seconds=1))
    assert page.episodes == ()


def test_the_link_of_a_notice_says_how_it_stands(field):
    b, source = field
    for stored in b.store.notices():
        assert source.contact_of(stored.notice.id) == stored.notice.contact
    shown = source.link(b.store.notices()[0].notice.id, "desk", START)
    [words] = shown.episodes
    assert words.startswith("tie-down X-XLKS: ")
    assert source.contact_of("0" * 24) is None


@pytest.fixture
def database(postgres):
    lent = postgres.lend()
    yield lent
    postgres.give_back(lent)


def test_the_board_of_one_that_stands_by_takes_note_for_the_one_that_leads(database, tmp_path):
    path = tmp_path / "watch.toml"
    path.write_text(config_text())
    settings = read_settings([path], {})
    clock = HandClock(START)
    with (
        open_database(database, None, clock) as leads,
        open_database(database, None, clock) as stands_by,
        leads.hold("leader") as leadership,
    ):
        watch = Watch(settings, leads, None, ChannelBook({}), clock, leadership=leadership)
        watch.take([RawReport(metar(START, STORM), START, "test")])
        source = StoreSource(settings, stands_by)
        [episode] = source.page(Asked(faces.FIELD, "XLKS"), START).episodes
        source.acknowledge((episode.id,), "desk", "", START)
        clock.move(timedelta(seconds=15))
        watch.tick()
        [taken] = watch.books["XLKS"].state.acknowledged
    assert (taken.episode, taken.by) == (episode.id, "desk")


def test_the_document_describes_every_address_there_is():
    assert set(openapi()["paths"]) == {"/api" + page.rstrip("/") for page in PAGES}
