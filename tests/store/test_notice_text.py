"""Notices that share steps are written out from the same texts, byte for byte as one by one."""

from dataclasses import replace

from sqlalchemy import select

from tests.servers.samples import GUST_FRONT, a_content, a_notice, a_step
from windwatch.clock import HandClock
from windwatch.episodes.values import Step
from windwatch.notices.values import Notice
from windwatch.store.codec import to_json
from windwatch.store.store import open_store
from windwatch.store.tables import NOTICES, STEPS


def test_what_is_stored_is_what_the_codec_writes(tmp_path):
    steps = tuple(replace(a_step(n), reason='"steps":[] and \\ "') for n in range(3))
    # The same step, told otherwise to one contact.
    late = replace(steps[0], reason="told late")
    notices = [
        a_notice('"steps":[]', 1, steps=steps),
        a_notice("owner", 2, steps=(late, steps[1])),
        a_notice("nobody", 3, steps=()),
    ]
    with open_store(tmp_path / "watch.db", HandClock(GUST_FRONT)) as store:
        with store.transaction() as books:
            books.save_steps(steps)
            for notice in notices:
                books.enqueue(notice, a_content(), ["email"])
        with store.reading() as connection:
            written = dict(connection.execute(select(NOTICES.c.id, NOTICES.c.notice)).all())
            kept = dict(connection.execute(select(STEPS.c.id, STEPS.c.step)).all())
    assert written == {notice.id: to_json(notice, Notice) for notice in notices}
    assert kept == {step.id: to_json(step, Step) for step in steps}
