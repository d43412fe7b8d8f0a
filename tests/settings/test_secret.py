"""A secret is never seen."""

import copy
import dataclasses
import json
import logging
import pickle
import traceback

import pytest

from windwatch.settings.running import MailValues, WebhookValues
from windwatch.settings.secret import Secret

TEXT = "hunter2"
MAIL = MailValues("mail.example", 587, "starttls", "a@b.example", "wind", Secret(TEXT))


@pytest.mark.promise(22)
@pytest.mark.guard("secrets")
@pytest.mark.parametrize(
    "shown",
    [
        str(Secret(TEXT)),
        repr(Secret(TEXT)),
        f"{Secret(TEXT)}",
        f"{Secret(TEXT)!r}",
        "%s %r" % (Secret(TEXT), Secret(TEXT)),  # noqa: UP031 - this is the way logging prints
        repr([Secret(TEXT)]),
        repr(MAIL),
        repr(dataclasses.asdict(MAIL)),
        repr(dataclasses.replace(MAIL, port=465)),
        repr(WebhookValues(f"https://hooks.example/{TEXT}", (Secret(TEXT),))),
        repr(copy.deepcopy(MAIL)),
    ],
)
def test_shown_as_dots(shown):
    assert TEXT not in shown


def test_revealed_only_when_asked():
    assert Secret(TEXT).reveal() == TEXT


@pytest.mark.guard("secrets")
def test_not_written_down_by_pickle_or_json():
    with pytest.raises(TypeError) as pickled:
        pickle.dumps(Secret(TEXT))
    with pytest.raises(TypeError) as dumped:
        json.dumps({"password": Secret(TEXT)})
    assert TEXT not in str(pickled.value) + str(dumped.value)


@pytest.mark.promise(22)
@pytest.mark.guard("secrets")
def test_not_in_a_log_nor_a_traceback(caplog):
    def broken(password: Secret) -> None:
        raise RuntimeError(f"login failed with {password}")

    with caplog.at_level(logging.INFO):
        try:
            broken(Secret(TEXT))
        except RuntimeError as error:
            logging.getLogger("test").exception("with %s", Secret(TEXT))
            trace = "".join(
                traceback.TracebackException.from_exception(error, capture_locals=True).format()
            )
    assert "•" in trace
    assert TEXT not in trace
    assert TEXT not in caplog.text


def test_equal_to_the_same_secret_only():
    assert Secret(TEXT) == Secret(TEXT)
    assert hash(Secret(TEXT)) == hash(Secret(TEXT))
    assert Secret(TEXT) != Secret("hunter3")
    assert Secret(TEXT) != TEXT
