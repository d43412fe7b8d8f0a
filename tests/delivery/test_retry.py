"""When to try again: the tables of reliability.md, section 3, row by row."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.servers.samples import GUST_FRONT
from windwatch.delivery.retry import (
    Rule,
    SendFailed,
    Verdict,
    http_rule,
    next_try,
    smtp_rule,
)
from windwatch.errors import DeliveryFailed
from windwatch.rules import USUAL

NOW = GUST_FRONT
DAY = timedelta(days=1)
S = timedelta(seconds=1)
M = timedelta(minutes=1)


def decide(failure, tries=1, urgent=True, jitter=0.0, valid_for=DAY, **kwargs):
    return next_try(urgent, tries, NOW, NOW + valid_for, jitter, failure, **kwargs)


def waits(rule, tries, *, urgent=True, jitter=0.0):
    failure = SendFailed("no", rule)
    found = [decide(failure, n, urgent, jitter).at for n in range(1, tries + 1)]
    return [None if at is None else at - NOW for at in found]


def test_urgent_ones_are_tried_by_the_urgent_schedule():
    assert waits(Rule.AGAIN, 9) == [
        5 * S,
        15 * S,
        30 * S,
        1 * M,
        2 * M,
        4 * M,
        5 * M,
        5 * M,
        5 * M,
    ]


def test_other_ones_are_tried_by_the_other_schedule():
    assert waits(Rule.AGAIN, 6, urgent=False) == [1 * M, 5 * M, 15 * M, 30 * M, 30 * M, 30 * M]


def test_greylisting_waits_as_greylisting_servers_expect():
    assert waits(Rule.GREYLISTED, 5) == [1 * M, 5 * M, 10 * M, 15 * M, 15 * M]


def test_a_blinking_endpoint_gets_three_tries_within_two_minutes():
    for jitter in (-1.0, 0.0, 1.0):
        found = waits(Rule.BLINK, 3, jitter=jitter)
        assert found[2] is None
        assert sum(found[:2], timedelta()) < 2 * M
    assert decide(SendFailed("404", Rule.BLINK), tries=3).verdict is Verdict.REFUSED


@given(
    st.sampled_from([rule for rule in Rule if rule not in (Rule.REFUSED, Rule.GONE)]),
    st.booleans(),
    st.integers(1, 40),
    st.floats(-1, 1),
)
def test_no_wait_differs_by_more_than_a_fifth_from_the_table(rule, urgent, tries, jitter):
    plain = decide(SendFailed("no", rule), tries, urgent, 0.0).at
    found = decide(SendFailed("no", rule), tries, urgent, jitter).at
    if plain is not None:
        assert 0.8 * (plain - NOW) <= found - NOW <= 1.2 * (plain - NOW)


@given(
    st.sampled_from(Rule),
    st.booleans(),
    st.integers(1, 40),
    st.floats(-1, 1),
    st.timedeltas(S, DAY),
    st.none() | st.timedeltas(timedelta(), DAY),
)
def test_nothing_is_planned_behind_the_validity(rule, urgent, tries, jitter, valid_for, asked):
    failure = SendFailed("no", rule, retry_after=asked)
    at = decide(failure, tries, urgent, jitter, valid_for).at
    assert at is None or NOW <= at <= NOW + valid_for


@pytest.mark.parametrize(
    ("asked", "waited"), [(0, 1), (1, 1), (7, 7), (300, 300), (301, 300), (3600, 300)]
)
def test_retry_after_is_honoured_between_a_second_and_five_minutes(asked, waited):
    failure = SendFailed("429", Rule.AGAIN, retry_after=asked * S)
    assert decide(failure, jitter=1.0).at == NOW + waited * S


def test_a_wait_longer_than_the_validity_starts_the_fall_back_now():
    failure = SendFailed("503", Rule.AGAIN, retry_after=300 * S)
    found = decide(failure, valid_for=4 * M)
    assert (found.at, found.fall_back) == (NOW + 4 * M, True)
    assert not decide(failure, valid_for=6 * M).fall_back


@pytest.mark.parametrize("status", [400, 401, 403, 404, 405, 413, 415, 422, 301, 302, 402, 451])
def test_a_misconfigured_endpoint_falls_under_blink(status):
    assert http_rule(status) is Rule.BLINK


@pytest.mark.parametrize("status", [408, 425, 429, 500, 502, 503, 504, 599])
def test_a_busy_or_broken_endpoint_is_tried_again(status):
    assert http_rule(status) is Rule.AGAIN


def test_a_gone_endpoint_is_off_at_once_with_fall_back_and_operator():
    found = decide(SendFailed("410", http_rule(410)))
    assert (found.verdict, found.fall_back, found.operator) == (Verdict.GONE, True, True)


@pytest.mark.parametrize(
    ("code", "rule"),
    [
        (421, Rule.NEW_SESSION),
        (450, Rule.GREYLISTED),
        (451, Rule.GREYLISTED),
        (452, Rule.GREYLISTED),
        (550, Rule.REFUSED),
        (551, Rule.REFUSED),
        (553, Rule.REFUSED),
        (552, Rule.PLAIN_ONCE),
        (554, Rule.PLAIN_ONCE),
        (530, Rule.CHANNEL_DOWN),
        (534, Rule.CHANNEL_DOWN),
        (535, Rule.CHANNEL_DOWN),
        (500, Rule.REFUSED),
    ],
)
def test_reply_codes_of_mail_servers_have_their_rows(code, rule):
    assert smtp_rule(code) is rule


def test_a_server_that_closes_gets_a_new_session_after_a_minute():
    assert waits(Rule.NEW_SESSION, 3) == [1 * M, 1 * M, 1 * M]


def test_a_refused_recipient_is_refused_and_the_operator_told():
    found = decide(SendFailed("550", Rule.REFUSED))
    assert (found.verdict, found.fall_back, found.operator) == (Verdict.REFUSED, True, True)


def test_a_refused_text_goes_once_more_as_plain_text_and_then_no_more():
    failure = SendFailed("554", Rule.PLAIN_ONCE)
    first = decide(failure)
    assert (first.verdict, first.at, first.plain) == (Verdict.RETRY, NOW, True)
    assert decide(failure, tries=2, plain=True).verdict is Verdict.REFUSED


def test_a_channel_that_is_down_waits_a_whole_minute_whatever_the_jitter():
    for jitter in (-1.0, 1.0):
        found = decide(SendFailed("535", Rule.CHANNEL_DOWN), jitter=jitter)
        assert (found.verdict, found.at, found.operator) == (Verdict.PUT_OFF, NOW + M, True)


def test_no_secure_connection_starts_the_fall_back_after_the_first_try():
    found = decide(SendFailed("certificate expired", Rule.INSECURE))
    assert (found.verdict, found.fall_back, found.operator) == (Verdict.RETRY, True, True)


def test_a_channel_without_rules_says_permanent_or_not():
    assert decide(DeliveryFailed("no", permanent=True)).verdict is Verdict.REFUSED
    assert decide(DeliveryFailed("later", permanent=False)).at == NOW + 5 * S


@pytest.mark.parametrize("rule", Rule)
def test_a_failure_says_whether_trying_again_can_help(rule):
    assert SendFailed("no", rule).permanent is (rule in (Rule.REFUSED, Rule.GONE))


# --- by the figures of a configuration -----------------------------------------------


def test_how_far_apart_tries_become_is_a_figure_of_the_rules():
    quicker = replace(USUAL, urgent_tries_apart=M, other_tries_apart=10 * M)
    failure = SendFailed("no", Rule.AGAIN)

    def waited(urgent, count):
        found = [decide(failure, n, urgent, rules=quicker).at for n in range(1, count + 1)]
        return [at - NOW for at in found]

    assert waited(True, 8) == [5 * S, 15 * S, 30 * S, M, M, M, M, M]
    assert waited(False, 5) == [M, 5 * M, 10 * M, 10 * M, 10 * M]
    slower = replace(USUAL, urgent_tries_apart=15 * M)
    assert decide(failure, 7, rules=slower).at == NOW + 15 * M


def test_how_long_others_are_left_alone_is_a_figure_of_the_rules():
    rules = replace(USUAL, channel_down_for=4 * M, retry_after_most=20 * M)
    assert decide(SendFailed("535", Rule.CHANNEL_DOWN), rules=rules).at == NOW + 4 * M
    asked = SendFailed("503", Rule.AGAIN, retry_after=DAY)
    assert decide(asked, rules=rules, valid_for=2 * DAY).at == NOW + 20 * M
