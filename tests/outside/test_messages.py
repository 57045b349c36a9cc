"""Messages against general software: a real SMTP server with faults (aiosmtpd), Python's own mail parser (email,
policy.default), and a second implementation of the webhook's signature."""

import base64
import email
import email.mime.base
import email.mime.message
import email.mime.multipart
import email.mime.text
import email.policy
import hashlib
import hmac
import http.server
import json
import os
import pathlib
import selectors
import shutil
import socket
import subprocess
import tempfile
import threading
import time
import urllib.error
import urllib.request

import pytest
from aiosmtpd.controller import Controller

from binary import BINARY

LIMIT_S = 90
SECRET = "whsec_" + base64.b64encode(bytes(range(32))).decode()


class Server:
    """A mail server that fails as it is told: a list of acts, one a message, then "take"."""

    def __init__(self):
        self.acts, self.taken, self.tries = [], [], []

    async def handle_RCPT(self, server, session, envelope, address, options):
        act = self.acts[0] if self.acts else "take"
        self.tries.append((act, address))
        if act == "no such user":
            self.acts.pop(0)
            return "550 5.1.1 no such user"
        if act == "policy":
            self.acts.pop(0)
            return "550 5.7.1 refused by policy"
        if act == "greylist":
            self.acts.pop(0)
            return "451 4.7.1 come back later"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        act = self.acts.pop(0) if self.acts else "take"
        if act == "slow":
            time.sleep(2)
        self.taken.append((envelope.mail_from, envelope.rcpt_tos, envelope.content))
        if act == "cut":  # taken, and the line is cut before the answer: the sender cannot know
            server.transport.abort()
        return "250 OK"


class Hook(http.server.BaseHTTPRequestHandler):
    """The salon's own service for text messages."""

    got, answers = [], []

    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"]))
        Hook.got.append((dict(self.headers), body))
        self.send_response(Hook.answers.pop(0) if Hook.answers else 204)
        self.end_headers()

    def log_message(self, *args):
        pass


class Salon:
    """The demo salon, its program sending to the two servers above."""

    def __init__(self, mail, hook):
        self.root = pathlib.Path(tempfile.mkdtemp(prefix="rb-", dir="/tmp"))
        self.root.chmod(0o755)
        self.data = self.root / "data"
        self.process = subprocess.Popen(
            [os.path.abspath(BINARY), "serve", "--listen", "127.0.0.1:0", "--data", str(self.data), "--mail", mail, "--text-hook", hook],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, cwd="/",
            env={"PATH": os.environ.get("PATH", "/usr/bin:/bin"), "RINSEBELL_TEXT_HOOK_SECRET": SECRET},
        )
        waiting = selectors.DefaultSelector()
        waiting.register(self.process.stdout, selectors.EVENT_READ)
        assert waiting.select(LIMIT_S), "no line in time"
        line = self.process.stdout.readline().decode()
        self.origin = next(word for word in line.split() if word.startswith("http")).rstrip("/.,")
        self.sql("insert into post (salon_id, from_address, reply_phone, link_key) select salon_id, 'desk@salon.example', '+33 6 39 98 00 00', "
                 "sha256('a key for tests')::bytea from salon on conflict (salon_id) do update set from_address = excluded.from_address")
        # Whatever the hour of this machine, it is never quiet here.
        self.sql("update salon set quiet_from = '00:00', quiet_until = '00:00', quiet_weekdays = '{}'")
        self.n = 0

    def sql(self, text):
        secret = (self.data / "secrets" / "rinsebell_owner").read_text().strip()
        done = subprocess.run(
            ["psql", "-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", "-h", str(self.data / "sock"),
             "-U", "rinsebell_owner", "-d", "rinsebell", "-c", text],
            env={**os.environ, "PGPASSWORD": secret}, capture_output=True, text=True, timeout=LIMIT_S, check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def write(self, channel="email", subject="Your next visit", body="Hello Zoë,\n\n.\nchoose here:\n{link}\n"):
        """A message in the outbox to an address of its own; its number."""
        self.n += 1
        address = f"client{self.n}@client.example" if channel == "email" else f"+33 6 39 98 02 {self.n:02}.test"
        return self.sql(f"""
            with who as (select c.salon_id, c.client_id, (select min(person_id) from person p where p.salon_id = c.salon_id) as by
                from client c order by c.client_id offset {self.n} limit 1),
            told as (insert into contact_wish (salon_id, client_id, channel, agreed, by) select salon_id, client_id, '{channel}', true, by from who)
            insert into client_link (salon_id, client_id, opens, protocol, made_by, expires_at)
                select salon_id, client_id, 'openings', 'curl-retouch', by, date_trunc('second', rinsebell_now()) + interval '30 days' from who;
            insert into message (salon_id, client_id, kind, channel, language, address, subject, body, message_ref, link_id, next_at)
                select salon_id, client_id, 'due', '{channel}', 'en', '{address}', $$ {subject} $$, $${body}$$,
                    'ref-{self.n}@salon.example', link_id, rinsebell_now() from client_link order by link_id desc limit 1 returning message_id""")

    def state(self, number):
        return self.sql(f"select state, tries, said from message where message_id = {number}").split("|", 2)

    def until(self, number, holds, limit_s=40):
        end = time.monotonic() + limit_s
        while True:
            state = self.state(number)
            if holds(state):
                return state
            assert time.monotonic() < end, f"message {number} stays {state}"
            time.sleep(0.2)

    def now(self, number):
        """The next try's time has come."""
        self.sql(f"update message set next_at = rinsebell_now() where message_id = {number} and state = 'waiting'")

    def close(self):
        self.process.terminate()
        self.process.wait(LIMIT_S)
        self.process.stdout.close()
        shutil.rmtree(self.root, ignore_errors=True)


@pytest.fixture(scope="module")
def mail():
    server = Server()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        server.port = free.getsockname()[1]
    controller = Controller(server, hostname="127.0.0.1", port=server.port)
    controller.start()
    yield server
    controller.stop()


@pytest.fixture(scope="module")
def hook():
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Hook)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()


@pytest.fixture(scope="module")
def salon(mail, hook):
    salon = Salon(f"smtp://127.0.0.1:{mail.port}", f"http://127.0.0.1:{hook.server_address[1]}/texts")
    yield salon
    salon.close()


def parsed(content):
    return email.message_from_bytes(content, policy=email.policy.default)


def test_a_mail_is_what_a_general_parser_reads(salon, mail):
    number = salon.write(subject="Zoë’s next visit — à bientôt, " + "très " * 8)
    salon.until(number, lambda s: s[0] == "sent")
    sender, to, content = mail.taken[-1]
    assert (sender, to) == ("desk@salon.example", [f"client{salon.n}@client.example"])
    message = parsed(content)
    assert not message.defects and not any(h.defects for h in message.values() if hasattr(h, "defects"))
    assert message["subject"].strip().startswith("Zoë’s next visit — à bientôt, très")
    assert message["message-id"] == f"<ref-{salon.n}@salon.example>"
    assert message["auto-submitted"] == "auto-generated"
    assert message["date"].datetime.tzinfo is not None
    assert message.get_content_type() == "text/plain"
    text = message.get_content().replace("\r\n", "\n")
    assert text.startswith("Hello Zoë,\n\n.\nchoose here:\nhttp://127.0.0.1:"), text
    # RFC 8058 §3.1: https in life; the header names one address, the second header asks for one click.
    stop = message["list-unsubscribe"].strip("<>")
    assert message["list-unsubscribe-post"] == "List-Unsubscribe=One-Click"
    assert stop.startswith(salon.origin) and stop in text
    # RFC 5322 §2.1.1, §2.3: no line over 998, nothing but ASCII, CRLF alone.
    for line in content.replace(b"\r\n", b"\n").split(b"\n"):
        assert len(line) <= 998 and line.isascii() and b"\r" not in line


def test_one_click_stops_the_address(salon, mail):
    number = salon.write()
    salon.until(number, lambda s: s[0] == "sent")
    stop = parsed(mail.taken[-1][2])["list-unsubscribe"].strip("<>")
    request = urllib.request.Request(stop, data=b"List-Unsubscribe=One-Click", method="POST")
    with urllib.request.urlopen(request, timeout=20) as answer:  # no cookie, no redirect (RFC 8058 §3.2)
        assert answer.status == 200 and answer.geturl() == stop
    agreed = salon.sql("select agreed, by is null from contact_wish order by wish_id desc limit 1")
    assert agreed == "f|t"
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(urllib.request.Request(stop[:-3] + "AAA", data=b"x", method="POST"), timeout=20)
    assert refused.value.code == 404


def test_a_greylisted_mail_waits_half_an_hour_and_comes_under_the_same_name(salon, mail):
    mail.acts = ["greylist"]
    number = salon.write()
    salon.until(number, lambda s: s[0] == "waiting" and s[1] == "1" and "451" in s[2])
    wait = float(salon.sql(f"select extract(epoch from next_at - first_try_at) / 60 from message where message_id = {number}"))
    assert 30 <= wait < 32, "RFC 5321 §4.5.4.1: at least 30 minutes"
    before = len(mail.taken)
    salon.now(number)
    salon.until(number, lambda s: s[0] == "sent")
    assert len(mail.taken) == before + 1


def test_an_address_nobody_has_is_stopped_and_one_refused_by_policy_is_not(salon, mail):
    mail.acts = ["no such user"]
    number = salon.write()
    assert "5.1.1" in salon.until(number, lambda s: s[0] == "failed")[2]
    assert salon.sql("select reason from address_stop order by at desc limit 1") == "bounced"
    stops = salon.sql("select count(*) from address_stop")
    mail.acts = ["policy"]
    number = salon.write()
    salon.until(number, lambda s: s[0] == "failed")
    assert salon.sql("select count(*) from address_stop") == stops


def test_a_line_cut_after_the_last_word_sends_twice_under_one_name(salon, mail):
    mail.acts = ["cut"]
    before = len(mail.taken)
    number = salon.write()
    salon.until(number, lambda s: s[0] == "waiting" and s[1] == "1" and s[2] != "")
    salon.now(number)
    salon.until(number, lambda s: s[0] == "sent")
    ids = [parsed(content)["message-id"] for _, _, content in mail.taken[before:]]
    assert len(ids) == 2 and len(set(ids)) == 1, "at least once, and a receiver can tell"


def test_a_slow_server_is_waited_for(salon, mail):
    mail.acts = ["slow"]
    number = salon.write()
    assert salon.until(number, lambda s: s[0] == "sent")[1] == "1"


def test_a_text_is_a_signed_post(salon, hook):
    Hook.answers = [503]
    number = salon.write(channel="text", body="Hello: {link}")
    salon.until(number, lambda s: s[0] == "waiting" and s[1] == "1" and "503" in s[2])
    salon.now(number)
    salon.until(number, lambda s: s[0] == "sent")
    assert len(Hook.got) == 2
    for headers, body in Hook.got:
        # Standard Webhooks 1.0.0, "Verifying signatures": HMAC-SHA-256 of id.timestamp.body under the decoded secret.
        headers = {k.lower(): v for k, v in headers.items()}
        signed = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
        key = base64.b64decode(SECRET.removeprefix("whsec_"))
        mac = base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
        assert headers["webhook-signature"] == f"v1,{mac}"
        assert abs(time.time() - int(headers["webhook-timestamp"])) < 300
        data = json.loads(body)["data"]
        assert data["text"].startswith("Hello: http") and data["stop"] in data["text"]
    assert len({dict((k.lower(), v) for k, v in h.items())["webhook-id"] for h, _ in Hook.got}) == 1


def report(original, kind, fields):
    """A report as a mail server writes it, put together by Python's own email package: RFC 6522 multipart/report with the
    fields of RFC 3464 or RFC 5965 and the message itself given back."""
    outer = email.mime.multipart.MIMEMultipart("report", **{"report-type": kind})
    outer["From"], outer["To"], outer["Subject"] = "mailer-daemon@client.example", "desk@salon.example", "Returned mail"
    outer.attach(email.mime.text.MIMEText("Your message came back – voilà.", "plain", "utf-8"))
    blocks = email.mime.base.MIMEBase("message", kind)
    del blocks["MIME-Version"]
    blocks.set_payload([email.message_from_string("".join(f"{name}: {value}\n" for name, value in block)) for block in fields])
    outer.attach(blocks)
    outer.attach(email.mime.message.MIMEMessage(email.message_from_bytes(original)))
    return outer.as_bytes()


def returned(salon, mail_bytes):
    done = subprocess.run([os.path.abspath(BINARY), "returned", "--data", str(salon.data)], input=mail_bytes, capture_output=True,
                          timeout=LIMIT_S, check=False, cwd="/", env={"PATH": os.environ.get("PATH", "/usr/bin:/bin")})
    assert done.returncode == 0, done.stderr
    return done.stdout.decode().strip()


def test_mail_that_comes_back_days_later_stops_its_address(salon, mail):
    def stops():
        return salon.sql("select reason from address_stop order by at").split()

    number = salon.write()
    salon.until(number, lambda s: s[0] == "sent")
    original, before = mail.taken[-1][2], stops()

    def delivery(status, action="failed"):
        first = [("Reporting-MTA", "dns; mx.client.example")]
        second = [("Final-Recipient", f"rfc822; client{salon.n}@client.example"), ("Action", action), ("Status", status),
                  ("Diagnostic-Code", f"smtp; 550 {status} as told")]
        return report(original, "delivery-status", [first, second])

    # RFC 3463: a full mailbox, a policy, a delay may pass.
    for status, action in [("5.2.2", "failed"), ("5.7.1", "failed"), ("4.4.1", "delayed")]:
        assert returned(salon, delivery(status, action)).startswith("Nothing is stopped"), status
    assert stops() == before
    for _ in range(2):
        assert returned(salon, delivery("5.1.1")) == "The address is written to no more."
    assert stops() == [*before, "bounced"], "twice is once"
    # A report about somebody else's message stops nobody.
    forged = delivery("5.1.1").replace(b"ref-", b"nor-")
    assert "no message of a salon here" in returned(salon, forged)
    assert returned(salon, b"From: a@b.example\n\nHello\n").startswith("Nothing is stopped")


def test_a_complaint_takes_consent_back(salon, mail):
    number = salon.write()
    salon.until(number, lambda s: s[0] == "sent")
    fields = [[("Feedback-Type", "abuse"), ("User-Agent", "Loop/1.0"), ("Version", "1")]]
    assert returned(salon, report(mail.taken[-1][2], "feedback-report", fields)) == "The address is written to no more."
    assert salon.sql("select reason from address_stop order by at desc limit 1") == "complained"
    assert salon.sql("select agreed, by is null from contact_wish order by wish_id desc limit 1") == "f|t"
    with pytest.raises(AssertionError, match="message:"):
        salon.sql(f"insert into message (salon_id, client_id, kind, channel, language, address, subject, body, message_ref, link_id, next_at) "
                  f"select salon_id, client_id, kind, channel, language, address, subject, body, 'again@x', link_id, next_at from message where message_id = {number}")
