"""Words that fail, loop or have no end: bare facts within five seconds (promise 20, F54)."""

import itertools
import sys
import threading
import time
from dataclasses import replace
from functools import partial
from itertools import count

import jinja2
import pytest

import windwatch.record
from tests.servers.samples import a_content
from tests.watch.little_watch import STORM, bench, config_text
from windwatch.airmanship.cautions import CAUTION
from windwatch.notices import bounded, html
from windwatch.notices.bounded import (
    MOST_HTML,
    MOST_TEXT,
    Guard,
    NoWords,
    WordsTooSlow,
    within,
)
from windwatch.notices.compose import _said

CONTENT = a_content()


def for_ever():
    for number in itertools.count():
        if number < 0:
            return
    raise AssertionError


def short(rounds):
    for _ in range(rounds):
        pass
    return CONTENT


def stubborn():
    """Catches everything that it may."""
    while True:
        try:
            for_ever()
        except Exception:  # noqa: BLE001, S112 - so it is told
            continue


@pytest.fixture
def guard():
    return Guard(patience_s=0.05, pause_s=0.2)


def test_words_made_in_time_are_the_words(guard):
    assert guard.words(lambda: CONTENT) is CONTENT


def test_a_mistake_in_the_words_is_raised_as_it_is(guard):
    with pytest.raises(ZeroDivisionError):
        guard.words(lambda: 1 / 0)


@pytest.mark.parametrize("loop", [for_ever, stubborn])
def test_words_without_end_are_stopped_in_their_own_thread(guard, loop):
    began = time.monotonic()
    with pytest.raises(NoWords, match=r"longer than 0\.05 s"):
        guard.words(loop)
    assert time.monotonic() - began < 2
    # Nothing goes on behind, and nothing strikes later.
    time.sleep(0.3)
    assert guard.words(lambda: CONTENT) is CONTENT


def test_after_words_without_end_nobody_waits_again_for_a_while():
    guard = Guard(patience_s=0.05, pause_s=60)
    with pytest.raises(NoWords):
        guard.words(for_ever)
    with pytest.raises(NoWords, match="a moment ago"):
        guard.words(lambda: CONTENT)


def test_several_threads_have_their_words_at_once_and_only_the_slow_one_is_stopped(guard):
    made, failed = [], []

    def many():
        made.extend(guard.words(lambda: CONTENT) for _ in range(200))

    def endless():
        try:
            guard.words(for_ever)
        except NoWords as error:
            failed.append(error)

    # The pause after the slow one would stop the others trying: it is told apart here.
    guard._pause_s = 0
    threads = [threading.Thread(target=one) for one in (many, endless, many)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(5)
    assert len(made) == 400
    assert len(failed) == 1


def test_a_stop_given_at_the_very_end_does_not_strike_whoever_asked(monkeypatch):
    """The alarm, again and again, just while words come to an end by themselves."""
    monkeypatch.setattr(bounded, "ROUND_S", 0.0)
    made, stopped, escaped = [], [], []

    def ask():
        guard = Guard(patience_s=0.0, pause_s=0.0)
        try:
            for number in count():
                # Until some were stopped, too: that is up to the threads' turns.
                if number >= 20_000 and stopped:
                    break
                try:
                    made.append(guard.words(partial(short, number % 150)))
                except NoWords:
                    stopped.append(number)
        except WordsTooSlow as error:
            escaped.append(error)

    # A thread of its own: what strikes late must strike nobody else.
    asking = threading.Thread(target=ask, daemon=True)
    interval = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        asking.start()
        asking.join(20)
    finally:
        sys.setswitchinterval(interval)
    assert escaped == []
    assert not asking.is_alive(), "it waits for what was held when it was stopped"
    assert stopped
    assert len(made) + len(stopped) >= 20_000


@pytest.mark.parametrize(
    "content",
    [
        replace(CONTENT, text="x" * (MOST_TEXT + 1)),
        replace(CONTENT, html="x" * (MOST_HTML + 1)),
        replace(CONTENT, payload={"steps": [{"reason": "x" * MOST_TEXT}, "xx"]}),
    ],
    ids=["text", "html", "payload"],
)
def test_words_too_many_are_no_words(guard, content):
    with pytest.raises(NoWords, match="are the most"):
        guard.words(lambda: content)


def test_a_template_that_never_ends_is_left_once_it_is_too_long():
    asked = itertools.count()
    with pytest.raises(NoWords):
        within("x" * 1000 for _ in asked)
    assert next(asked) <= MOST_HTML / 1000 + 2


# --- in the watch ----------------------------------------------------------------------

BAD_TEMPLATES = {
    "raises": "{{ page.nothing.of.this }}",
    "loops": "{% for a in range(99999) %}{% for b in range(99999) %}{% endfor %}{% endfor %}",
    "50 MB": "{% for a in range(50000) %}" + "x" * 1000 + "{% endfor %}",
    "no end": "{% for a in range(99999) %}{% for b in range(99999) %}xxxx{% endfor %}{% endfor %}",
}


@pytest.mark.fault("F54")
@pytest.mark.promise(20)
@pytest.mark.parametrize("template", BAD_TEMPLATES.values(), ids=BAD_TEMPLATES)
def test_f54_a_bad_template_has_everybody_told_the_bare_facts_within_5_s(
    tmp_path, monkeypatch, template
):
    bad = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined).from_string(
        template
    )
    monkeypatch.setattr(html, "_template", lambda: bad)
    monkeypatch.setattr(windwatch.record, "GUARD", Guard(patience_s=0.2))
    html._around_footer.cache_clear()
    _said.cache_clear()
    people = "".join(
        f'\n[[contact]]\nname = "{name}"\nfolder = "dropped"\n' for name in ("desk", "owner")
    )
    with bench(tmp_path, config_text(people=people)) as b:
        began = time.monotonic()
        report = b.take(STORM)
        assert b.watch.deliver().accepted == 2
        assert time.monotonic() - began < 5
    for notice, content in report.notices:
        assert content.html == ""
        assert content.payload["plain"]
        assert "tie down 41 kt" in content.text
        assert "limit" in content.text
        assert CAUTION in content.text
        assert notice.id in content.text
    assert len(list((tmp_path / "dropped").glob("*.eml"))) == 2


def test_f54_the_watch_itself_waits_two_seconds_at_most():
    assert windwatch.record.GUARD._patience_s + 0.5 < 5
