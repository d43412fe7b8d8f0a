"""Push services through Apprise: checked addresses, short texts, no tries of its own."""

import contextlib
import json
import logging
import os
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.addresses import Refused
from windwatch.airmanship.cautions import CAUTION
from windwatch.delivery.push import MOST_LETTERS, PushChannel, PushTarget, short_text
from windwatch.delivery.retry import Rule, SendFailed
from windwatch.errors import DeliveryFailed
from windwatch.notices.outbox import new_delivery
from windwatch.push_schemes import PLAIN, SECURE, check_push

if not os.environ.get("WINDWATCH_NO_SKIP"):
    pytest.importorskip("apprise", reason="the extra `push` is not installed")

# Apprise looks for modules that Python is about to drop, and finds them here still.
pytestmark = pytest.mark.filterwarnings("ignore:.*:DeprecationWarning")
LOOPBACK = ("127.0.0.1/32",)


class Service:
    """A push service on this machine that keeps what it got."""

    def __init__(self) -> None:
        self.got: list[dict] = []
        self.status, self.headers, self.body = 200, {}, b"ok"
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                text = self.rfile.read(int(self.headers["Content-Length"]))
                service.got.append({"path": self.path, **json.loads(text)})
                self.send_response(service.status)
                for name, value in service.headers.items():
                    self.send_header(name, value)
                self.end_headers()
                # An endless answer is cut by us.
                with contextlib.suppress(OSError):
                    self.wfile.write(service.body)

            def do_GET(self) -> None:
                service.got.append({"path": self.path})
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.05,))
        self.thread.start()

    @property
    def url(self) -> str:
        return f"json://127.0.0.1:{self.server.server_port}/s3cr3t-key"

    def close(self) -> None:
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()


@pytest.fixture
def service():
    service = Service()
    yield service
    service.close()


def a_delivery():
    return new_delivery(a_notice(), a_content(), "push")


def send(service, *, allow=LOOPBACK, query=""):
    channel = PushChannel(PushTarget(service.url + query, allow))
    return channel.send(a_delivery(), GUST_FRONT)


def test_the_service_gets_the_subject_the_first_lines_and_the_caution(service):
    assert send(service).answer == "200 taken by the push service"
    content = a_content()
    (got,) = service.got
    assert got["title"] == content.subject
    assert got["message"].startswith(content.text.splitlines()[0])
    assert CAUTION in got["message"]
    assert len(got["message"]) <= MOST_LETTERS + len(CAUTION) + 10


def test_a_long_text_is_cut_after_a_whole_line():
    text = "".join(f"line {n} of the notice\n" for n in range(100))
    short = short_text(text)
    head = short.partition("\n…")[0]
    assert text.startswith(head + "\n")
    assert len(head) <= MOST_LETTERS
    assert short.endswith(CAUTION)


@pytest.mark.parametrize(
    ("status", "rule"),
    [(500, Rule.AGAIN), (429, Rule.AGAIN), (404, Rule.BLINK), (410, Rule.GONE), (301, Rule.BLINK)],
)
def test_what_the_service_answers_decides_as_for_a_webhook(service, status, rule):
    service.status = status
    with pytest.raises(SendFailed) as failed:
        send(service)
    assert failed.value.rule is rule
    assert failed.value.status == status
    assert "s3cr3t" not in str(failed.value)
    assert len(service.got) == 1, "no tries of its own"


def test_its_own_tries_stay_off_even_where_the_address_asks_for_them(service):
    service.status = 500
    with pytest.raises(SendFailed):
        send(service, query="?retry=5&wait=0.1")
    assert len(service.got) == 1


def test_a_redirect_is_not_followed_even_where_the_address_asks_for_it(service):
    service.status = 302
    service.headers = {"Location": f"http://127.0.0.1:{service.server.server_port}/elsewhere"}
    with pytest.raises(SendFailed):
        send(service, query="?redirect=yes")
    assert [got["path"] for got in service.got] == ["/s3cr3t-key"]


@pytest.mark.fault("F74")
def test_f74_an_endless_answer_is_cut_and_its_status_counts(service):
    service.body = b"x" * 50_000_000
    assert send(service).answer.startswith("200")


@pytest.mark.fault("F75")
@pytest.mark.guard("addresses")
def test_f75_a_private_address_is_refused_at_connect_unless_it_is_listed(service):
    with pytest.raises(SendFailed) as failed:
        send(service, allow=())
    assert failed.value.rule is Rule.BLINK
    assert "not a public address" in str(failed.value)
    assert "s3cr3t" not in str(failed.value)
    assert service.got == []


def test_nothing_listens(service):
    url = service.url
    service.close()
    channel = PushChannel(PushTarget(url, LOOPBACK))
    with pytest.raises(SendFailed) as failed:
        channel.send(a_delivery(), GUST_FRONT)
    assert failed.value.rule is Rule.AGAIN
    assert "refused the connection" in str(failed.value)


@pytest.mark.promise(22)
@pytest.mark.guard("secrets")
def test_promise_22_the_address_is_nowhere_to_be_read(service, caplog):
    caplog.set_level(logging.DEBUG)
    service.status = 500
    target = PushTarget(service.url, LOOPBACK)
    with pytest.raises(SendFailed) as failed:
        PushChannel(target).send(a_delivery(), GUST_FRONT)
    shown = " ".join((repr(target), str(failed.value), PushChannel(target).fingerprint))
    assert "s3cr3t" not in shown
    ours = [r for r in caplog.records if not r.name.startswith("urllib3")]
    assert "s3cr3t" not in " ".join(record.getMessage() for record in ours)


@pytest.mark.parametrize(
    "url",
    [
        "syslog://",
        "file:///etc/passwd",
        "dbus://",
        "windows://",
        "mailto://a:b@example.com",
        "mqtt://127.0.0.1/topic",
        "rsyslog://127.0.0.1",
        "json://desk.larkspur.example/wind",
        "json://8.8.8.8/wind",
        "gotify://push.larkspur.example/token",
        "ntfys://with a blank",
        "no address",
        "",
    ],
)
def test_what_is_not_on_the_list_is_refused_and_not_quoted(url):
    with pytest.raises(Refused) as refused:
        check_push(url)
    for part in ("passwd", "larkspur", "topic", "a:b@"):
        assert part not in str(refused.value)


SAMPLES = {
    "discord": "discord://1234567890/abcdefghijklmnop",
    "gchat": "gchat://workspace/key/token",
    "gotifys": "gotifys://push.larkspur.example/AbCdEfGhIjKlMnO",
    "jsons": "jsons://desk.larkspur.example/wind",
    "mmosts": "mmosts://chat.larkspur.example/abcdefghijklmnopqrstuvwxyz",
    "ntfys": "ntfys://larkspur-wind",
    "pbul": "pbul://abcdefghijklmnopqrstuvwxyzabcdef",
    "pover": "pover://uuuuuuuuuuuuuuuuuuuuuuuuuuuuuu@aaaaaaaaaaaaaaaaaaaaaaaaaaaaaa",
    "prowl": "prowl://abcdefghijklmnopqrstuvwxyzabcdefghijklmn",
    "slack": "slack://T1JJ3T3L2/A1BRTD4JD/TIiajkdnlazkcOXrIdevi7FQ/#wind",
    "tgram": "tgram://123456789:abcdefghijklmnopqrstuvwxyzabcdefghi/12315544",
    "twilio": f"twilio://AC{'a' * 32}:{'b' * 32}@15551234567/15557654321",
    "workflow": "workflow://prod-1.example.com:443/643e69f83c8944/iVn9DHWQ",
    "workflows": "workflows://prod-1.example.com:443/643e69f83c8944/iVn9DHWQ",
    "gotify": "gotify://127.0.0.1/AbCdEfGhIjKlMnO",
    "json": "json://127.0.0.1/wind",
    "mmost": "mmost://127.0.0.1/abcdefghijklmnopqrstuvwxyz",
}


@pytest.mark.parametrize("scheme", sorted(SECURE | PLAIN))
def test_every_service_on_the_list_goes_out_by_our_own_door(scheme, monkeypatch):
    from windwatch.delivery import push  # noqa: PLC0415

    called = []

    def no_way(target, method, url, how):
        called.append(url)
        raise Refused("stopped at the door")

    monkeypatch.setattr(push._Door, "_exchange", staticmethod(no_way))
    channel = PushChannel(PushTarget(SAMPLES[scheme]))
    with pytest.raises(DeliveryFailed, match="stopped at the door"):
        channel.send(a_delivery(), GUST_FRONT)
    assert called
    assert all(url.startswith("https://") or scheme in PLAIN for url in called)


def test_without_the_extra_the_channel_is_down_and_says_what_is_missing(service, monkeypatch):
    monkeypatch.setitem(sys.modules, "apprise", None)
    with pytest.raises(SendFailed, match=r"windwatch\[push\]") as failed:
        send(service)
    assert failed.value.rule is Rule.CHANNEL_DOWN


def test_apprise_is_loaded_only_where_something_is_pushed():
    code = "import sys, windwatch.delivery.push, windwatch.wiring; print('apprise' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
