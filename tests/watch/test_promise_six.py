"""Promise 6: what opened and ended while nothing could be delivered is still told, once, as past.

Once because the mail server took nothing, for hours and for days; once because nobody watched.
"""

from datetime import timedelta

import pytest

from tests.servers.mail_server import MailServer
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text, said
from tests.watch.test_clock_doubt import HOUR, World, WrongClock
from tests.watch.test_late_delivery import body, with_mail


def hours_of(b, count, wind):
    """Let hours pass with a report in each, delivering what is due every half of them."""
    for _ in range(count):
        b.clock.move(30 * MINUTE)
        b.watch.tick()
        b.watch.deliver()
        b.clock.move(30 * MINUTE)
        b.take(wind)
        b.watch.deliver()


@pytest.mark.promise(6)
@pytest.mark.parametrize("hours", [3, 9, pytest.param(80, marks=pytest.mark.long)])
def test_however_long_no_mail_is_taken(tmp_path, hours):
    with MailServer() as mail, bench(tmp_path, with_mail(mail), MAIL_PASSWORD=mail.password) as b:
        mail.script("mail", *["451 4.3.0 later"] * 2000)
        b.take(STORM)
        b.watch.deliver()
        hours_of(b, hours, QUIET)
        assert not any(told.open for told in b.watch.books["XLKS"].state.ledger)
        assert mail.messages == []
        mail._script.clear()
        for _ in range(8):
            b.clock.move(5 * MINUTE)
            b.watch.tick()
            b.watch.deliver()
        assert len(mail.messages) == 1
        assert "past" in str(mail.messages[0]["Subject"])
        assert "41 kt" in body(mail.messages[0])
        hours_of(b, 3, QUIET)
        assert len(mail.messages) == 1, "once"


class Reaching(World):
    """A feed with a memory: back to when it is asked, and no further than it goes."""

    reach = 23 * HOUR

    def fetch(self, stations, now, *, since=None, fresh=False):
        self.asked_since = since
        back = self.now - min(self.reach, self.now - since if since else 2 * HOUR)
        kept, self.winds = self.winds, [(at, w) for at, w in self.winds if at >= back]
        try:
            return super().fetch(stations, now, since=since, fresh=fresh)
        finally:
            self.winds = kept


@pytest.mark.promise(6)
@pytest.mark.parametrize("hours", [3, 8, 22])
def test_however_long_nobody_watched_as_far_back_as_the_feed_goes(tmp_path, hours):
    with bench(tmp_path, config_text(), WrongClock(START)) as b:
        b.feed = Reaching(START)
        b.again()
        b.feed.winds.append((START, QUIET))
        b.watch.poll()
        b.clock.move(hours * HOUR)
        b.feed.now += hours * HOUR
        b.feed.winds += [(START + HOUR, STORM)]
        b.feed.winds += [(START + n * HOUR, QUIET) for n in range(2, hours + 1)]
        b.again()
        report = b.watch.poll()
        assert b.feed.asked_since == START
        assert said(report) == [("desk", "opened"), ("desk", "data_back")]
        [(notice, content)] = report.notices
        assert notice.steps[0].past
        text = " ".join(content.text.split())
        assert "41 kt" in text
        assert "not watched from" in text
        more = []
        for _ in range(90):
            b.clock.move(MINUTE)
            b.feed.now += MINUTE
            more += [step for step in said(b.watch.poll()) if step[1] == "opened"]
        assert more == [], "once"


@pytest.mark.promise(6)
def test_with_an_hour_of_reports_only_what_the_feed_has_is_judged(tmp_path):
    with bench(tmp_path, config_text(), WrongClock(START)) as b:
        b.feed = Reaching(START)
        b.feed.reach = timedelta(minutes=70)
        b.again()
        b.feed.winds.append((START, QUIET))
        b.watch.poll()
        b.clock.move(5 * HOUR)
        b.feed.now += 5 * HOUR
        b.feed.winds += [(START + HOUR, STORM), (START + 5 * HOUR, QUIET)]
        assert said(b.watch.poll()) == [("desk", "data_back")]
